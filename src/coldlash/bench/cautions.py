"""Cautions, each tied to the step where the harm is. Usual practice; the maker's manual and local rules first.

Text of the cautions: common practice of the trade.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

from coldlash.language import mark, table

Step = Literal[
    "ready", "turn", "turn_against", "measure", "set", "close_up", "run", "compression", "leakdown", "listen"
]

MAKER_FIRST = mark("The maker's manual and local rules come before anything said here.")


@dataclass(frozen=True, slots=True)
class Caution:
    """One sentence, and the step at which it is said. ``key`` names it for pages and tests."""

    key: str
    step: Step
    text: str


CAUTIONS: tuple[Caution, ...] = (
    Caution(
        "battery", "ready", mark("Ignition off and battery disconnected before the engine is turned by hand.")
    ),
    Caution("rolling", "ready", mark("Gearbox in neutral, brake on, wheels chocked.")),
    Caution("jack", "ready", mark("Never work under a vehicle that stands on a jack alone.")),
    Caution("hot", "ready", mark("Hot parts and oil burn: let it cool, which the gaps need as well.")),
    Caution(
        "hands",
        "turn",
        mark("Nobody touches the starter or the ignition while a hand or spanner is on the pulley."),
    ),
    Caution(
        "pulley_bolt",
        "turn_against",
        mark(
            "Turning backwards with a spanner can loosen the pulley bolt, and some makers forbid it: go "
            "a little past and finish every move with the engine's rotation."
        ),
    ),
    Caution(
        "force",
        "measure",
        mark("A blade passes without force; a forced blade reads wrong and marks the faces."),
    ),
    Caution(
        "lock_nut",
        "set",
        mark(
            "Hold the screw while the lock-nut is tightened to the maker's torque, then measure again: "
            "it moves."
        ),
    ),
    Caution("tools", "close_up", mark("Count blades, spanners and rags before the covers go on.")),
    Caution("waste", "close_up", mark("Old oil and gaskets go to a collection point.")),
    Caution(
        "fuel",
        "run",
        mark("Look for fuel leaks before starting: on an air-cooled engine a fuel leak is a fire."),
    ),
    Caution("exhaust", "run", mark("Exhaust gas kills: run the engine only in the open.")),
    Caution("fan", "run", mark("Keep hands, clothes, hair and leads clear of belt and fan while it runs.")),
    Caution(
        "crank_spray",
        "compression",
        mark("The test cranks the engine and sprays fuel: disable the coil, keep flames and faces away."),
    ),
    Caution(
        "crank_spin",
        "leakdown",
        mark(
            "The air can spin the crank: exact firing TDC, crank braced and never held by hand, pressure "
            "raised slowly, stand clear of the pulley."
        ),
    ),
    Caution(
        "probe",
        "listen",
        mark(
            "In the open, ear protection on; no stethoscope, lead or sleeve near belt, fan or ignition leads."
        ),
    ),
)


def cautions_at(step: Step) -> tuple[Caution, ...]:
    """The cautions said at this step, in order, in the language of the moment."""
    return tuple(replace(caution, text=table(caution.text)) for caution in CAUTIONS if caution.step == step)
