"""Which way a gap moves, and by how much: the gap from three heights and the ratio, and the causes that follow.

Heights are measured outward along the cylinder, from the camshaft of a pushrod engine (crankshaft to rocker
cover is "outward"); an overhead camshaft lies outward of the valves and its heights count from the head joint,
in the same direction. The three names hold for every train:

* ``p`` pivot: the rocker pivot; of a finger follower its fixed end; a direct train has none.
* ``q`` pushrod: the cam side: the pushrod's end; overhead, the underside of the cam's base circle.
* ``v`` valve: the valve tip (with the bucket and shim on it, where there are any).

Gap at the valve, base circle towards the train (lever geometry, small angles):

* pushrod: g = (1 + r) p - r q - v: the rocker's pivot lies between its ends, r = valve side / pushrod side;
* finger: g = (1 - r) p + r q - v: the pivot is one end, r = pivot to valve / pivot to cam;
* direct: g = q - v: no lever, the ratio plays no part.

A rocker with its pivot in the middle that rides straight on an overhead cam is a "pushrod" train whose
pushrod has no length. Where the blade goes between cam and finger, the gap there is g / r.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Literal, NamedTuple

from coldlash.engine.spec import Engine, Linkage, Valve
from coldlash.errors import InputError
from coldlash.language import number, say

Cause = Literal[
    "seat_recession_or_stretch",
    "valve_train_wear",
    "shared_lobe_wear",
    "head_settling",
    "head_lifting_or_stand_loose",
    "bent_pushrod",
    "dropped_seat",
    "dirt_under_valve",
]
Direction = Literal["tighter", "looser", "unchanged"]

LOBE_SPREAD = 0.30
"""How differently a failing shared lobe eats its two followers, relative sd (judgement, no source)."""


class Sensitivity(NamedTuple):
    """Gap change in mm per mm of each height: dg = dp dP + dq dQ + dv dV. The three sum to 0."""

    dp: float
    dq: float
    dv: float

    def of(self, dp: float = 0.0, dq: float = 0.0, dv: float = 0.0) -> float:
        """Gap change, mm, for these changes of the heights, mm."""
        return self.dp * dp + self.dq * dq + self.dv * dv


def sensitivity(linkage: Linkage) -> Sensitivity:
    """dg/dp, dg/dq, dg/dv of this train (see the module's formulas, differentiated)."""
    r = linkage.rocker_ratio
    if linkage.train == "pushrod":
        return Sensitivity(1 + r, -r, -1.0)
    if linkage.train == "finger":
        return Sensitivity(1 - r, r, -1.0)
    return Sensitivity(0.0, 1.0, -1.0)


def gap_from_heights(linkage: Linkage, p: float, q: float, v: float) -> float:
    """Gap at the valve, mm, from pivot, cam-side and valve-tip heights, mm. Negative = held open."""
    return sensitivity(linkage).of(p, q, v)


# ---------------------------------------------------------------------------------------------- screw


def screw_gap_per_mm(linkage: Linkage) -> float:
    """Size of the gap change, mm, per mm that the adjusting screw moves along its axis.

    Valve side: 1. Pushrod side: the ratio r. Finger on its pivot screw ("pushrod" side): |1 - r|. Raises
    InputError where that screw cannot move the gap (a finger of ratio 1).
    """
    if linkage.screw_side == "valve" or linkage.train == "direct":
        return 1.0
    if linkage.train == "pushrod":
        return linkage.rocker_ratio
    size = abs(1 - linkage.rocker_ratio)
    if size < 1e-9:
        raise InputError(
            say(
                "a finger follower of ratio 1 has its cam over the valve: a screw at its pivot does not move "
                'the gap; check rocker_ratio, or write screw_side = "valve"'
            )
        )
    return size


def screw_turn_deg(linkage: Linkage, from_mm: float, to_mm: float) -> float:
    """Degrees to turn the adjusting screw from one gap to another: positive opens the gap, negative closes it.

    turn = 360 (to - from) / (pitch x gap per mm of screw). Raises InputError when the pitch is unknown or a
    gap is not a finite number.
    """
    if not (math.isfinite(from_mm) and math.isfinite(to_mm)):
        raise InputError(
            say(
                "screw turn from {from_mm:g} to {to_mm:g} mm: both gaps must be known, in mm, like 0.10",
                from_mm=from_mm,
                to_mm=to_mm,
            )
        )
    change = to_mm - from_mm
    pitch = linkage.screw_pitch_mm
    if pitch is None:
        if linkage.train != "direct":
            raise InputError(
                say(
                    "the engine file gives no screw_pitch_mm, so a turn can't be worked out; "
                    "measure the thread and write it under [linkage], like screw_pitch_mm = 1.0"
                )
            )
        if change >= 0:
            raise InputError(
                say(
                    "the engine file gives no screw_pitch_mm, so a turn can't be worked out "
                    "(set with shims: fit one {change:.2f} mm thinner); "
                    "measure the thread and write it under [linkage], like screw_pitch_mm = 1.0",
                    change=change,
                )
            )
        raise InputError(
            say(
                "the engine file gives no screw_pitch_mm, so a turn can't be worked out "
                "(set with shims: fit one {change:.2f} mm thicker); "
                "measure the thread and write it under [linkage], like screw_pitch_mm = 1.0",
                change=-change,
            )
        )
    return 360.0 * change / (pitch * screw_gap_per_mm(linkage))


# ---------------------------------------------------------------------------------------------- causes


@dataclass(frozen=True, slots=True)
class CauseRow:
    """One thing that can move a gap on this engine.

    ``dp``, ``dq``, ``dv``: the way the heights move per mm of it. ``gap_per_mm``: gap change per mm, signed,
    + looser. ``where``: the groups of valves it moves together, one group for each place it can happen.
    ``attributed``: gaps alone can argue for it; the others show suddenly or elsewhere.
    """

    cause: Cause
    variant: str
    happens: str
    dp: float
    dq: float
    dv: float
    gap_per_mm: float
    where: tuple[tuple[Valve, ...], ...]
    explanation: str
    attributed: bool = True
    sudden: bool = False
    leaks: bool = False

    @property
    def direction(self) -> Direction:
        """Which way the gap moves."""
        if abs(self.gap_per_mm) < 1e-12:
            return "unchanged"
        return "looser" if self.gap_per_mm > 0 else "tighter"


@dataclass(frozen=True, slots=True)
class CauseLoading:
    """One cause at one place, as a direction in the space of all gaps.

    ``loading[i]`` is the gap change, mm, of ``engine.valves[i]`` per mm of the cause's amount, signed (tighter
    negative). ``spread``: relative sd with which each loading varies on its own.
    """

    cause: Cause
    variant: str
    where: tuple[Valve, ...]
    loading: tuple[float, ...]
    spread: float = 0.0


def cause_table(engine: Engine) -> tuple[CauseRow, ...]:
    """Every cause for this engine: its signs and sizes from the linkage, its places from heads and lobes."""
    writer = _Writer(engine)
    return (*writer.slow_rows(), *writer.head_rows(), *writer.sudden_rows())


def loadings(engine: Engine) -> tuple[CauseLoading, ...]:
    """The causes that gaps alone can argue for, one entry for each place, loadings over ``engine.valves``.

    Wear of one valve's train is counted in mm of gap (loading 1), whichever of its parts it is.
    """
    place = {valve: i for i, valve in enumerate(engine.valves)}
    found: list[CauseLoading] = []
    for row in cause_table(engine):
        if not row.attributed or row.direction == "unchanged":
            continue
        for group in row.where:
            loading = [0.0] * len(place)
            for valve in group:
                loading[place[valve]] = row.gap_per_mm
            spread = LOBE_SPREAD if row.cause == "shared_lobe_wear" else 0.0
            found.append(CauseLoading(row.cause, row.variant, group, tuple(loading), spread))
    return tuple(found)


class _Writer:
    """Writes the rows of one engine."""

    def __init__(self, engine: Engine) -> None:
        self.engine = engine
        self.train = engine.linkage.train
        self.slope = sensitivity(engine.linkage)
        self.overhead = self.train != "pushrod"
        # wear lets the cam side draw back from the train: inward below a pushrod, outward above a finger
        self.cam_wear = 1.0 if self.overhead else -1.0
        self.single = tuple((valve,) for valve in engine.valves)

    def row(
        self,
        cause: Cause,
        variant: str,
        happens: str,
        where: Iterable[tuple[Valve, ...]],
        explanation: str,
        *,
        dp: float = 0.0,
        dq: float = 0.0,
        dv: float = 0.0,
        attributed: bool = True,
        sudden: bool = False,
        leaks: bool = False,
    ) -> CauseRow:
        per_mm = self.slope.of(dp, dq, dv)
        return CauseRow(
            cause,
            variant,
            happens,
            dp,
            dq,
            dv,
            per_mm,
            tuple(where),
            explanation,
            attributed,
            sudden,
            leaks,
        )

    def size(self, dp: float = 0.0, dq: float = 0.0, dv: float = 0.0) -> str:
        """How far the gap moves per mm of it, as written."""
        return number(abs(self.slope.of(dp, dq, dv)), ".3g")

    def slow_rows(self) -> Iterable[CauseRow]:
        size = self.size(dv=1.0)
        yield self.row(
            "seat_recession_or_stretch",
            "seat_recession",
            say("the valve sinks into a worn seat"),
            self.single,
            self._sinks(size),
            dv=1.0,
        )
        yield self.row(
            "seat_recession_or_stretch",
            "stretch",
            say("the valve stretches"),
            self.single,
            self._stretches(size),
            dv=1.0,
            attributed=False,
        )
        yield self.row(
            "valve_train_wear",
            "valve_side_wear",
            say("the bucket, shim or valve tip wears")
            if self.train == "direct"
            else say("the finger's face or valve tip wears")
            if self.overhead
            else say("the rocker's face or valve tip wears"),
            self.single,
            say(
                "Metal is missing where the blade goes: {size} mm looser per mm; a blade bridges a dished "
                "face, so the true gap is larger than it reads.",
                size=self.size(dv=-1.0),
            ),
            dv=-1.0,
        )
        size = self.size(dq=self.cam_wear)
        yield self.row(
            "valve_train_wear",
            "cam_side_wear",
            say("the cam's base circle or follower face wears")
            if self.overhead
            else say("base circle, lifter foot or pushrod end wears"),
            self.single,
            say(
                "The cam side draws back from the train: {size} mm looser per mm. "
                "Wear of a lobe's nose does not show in the gap.",
                size=size,
            )
            if self.overhead
            else say(
                "The pushrod's end comes to lie lower, so the rocker swings away from the valve: "
                "{size} mm looser per mm. Wear of a lobe's nose does not show in the gap.",
                size=size,
            ),
            dq=self.cam_wear,
            attributed=False,
        )
        if self.engine.shared_lobes:
            yield self.row(
                "shared_lobe_wear",
                "shared_lobe",
                say("a shared lobe and its two followers wear"),
                self.engine.shared_lobes,
                say(
                    "One lobe moves both valves and eats both followers. The cam side draws back from the "
                    "train: {size} mm looser per mm at both, roughly equally.",
                    size=size,
                )
                if self.overhead
                else say(
                    "One lobe moves both valves and eats both followers. The pushrod's end comes to lie lower, "
                    "so the rocker swings away from the valve: {size} mm looser per mm at both, roughly equally.",
                    size=size,
                ),
                dq=self.cam_wear,
            )

    def _sinks(self, size: str) -> str:
        if self.train == "direct":
            return say(
                "The valve head sinks outward into its seat and takes the tip with it, closer to the cam: "
                "{size} mm tighter per mm.",
                size=size,
            )
        if self.overhead:
            return say(
                "The valve head sinks outward into its seat and takes the tip with it, closer to the finger: "
                "{size} mm tighter per mm.",
                size=size,
            )
        return say(
            "The valve head sinks outward into its seat and takes the tip with it, closer to the rocker: "
            "{size} mm tighter per mm.",
            size=size,
        )

    def _stretches(self, size: str) -> str:
        if self.train == "direct":
            return say(
                "The valve grows longer while its seat stays, so its tip comes closer to the cam: "
                "{size} mm tighter per mm.",
                size=size,
            )
        if self.overhead:
            return say(
                "The valve grows longer while its seat stays, so its tip comes closer to the finger: "
                "{size} mm tighter per mm.",
                size=size,
            )
        return say(
            "The valve grows longer while its seat stays, so its tip comes closer to the rocker: "
            "{size} mm tighter per mm.",
            size=size,
        )

    def head_rows(self) -> Iterable[CauseRow]:
        heads = [self._valves_of(head) for head in self.engine.heads]
        cylinders = [self._valves_of((c,)) for c in range(1, self.engine.cylinders + 1)]
        if self.overhead:
            yield self.row(
                "head_settling",
                "head_settling",
                say("a head settles or lifts"),
                heads,
                say(
                    "Cam, followers and valves all sit in the head and move with it: the gap does not change."
                ),
                dp=-1.0,
                dq=-1.0,
                dv=-1.0,
            )
            yield self.row(
                "head_lifting_or_stand_loose",
                "cam_bearing_loose",
                say("the cam's bearing caps come loose"),
                cylinders,
                say(
                    "The camshaft comes to lie further out, away from the valves: {size} mm looser per mm, both "
                    "valves of that cylinder.",
                    size=self.size(dq=1.0),
                ),
                dq=1.0,
            )
            return
        yield self.row(
            "head_settling",
            "head_settling",
            say("a head settles towards the crankcase"),
            heads,
            say(
                "Rocker pivot and valve both come closer to the camshaft while the pushrod stays as long as "
                "it was, so the rocker is pressed onto the valve: {size} mm tighter per mm, all valves of "
                "that head.",
                size=self.size(dp=-1.0, dv=-1.0),
            ),
            dp=-1.0,
            dv=-1.0,
        )
        yield self.row(
            "head_lifting_or_stand_loose",
            "head_lifting",
            say("a head lifts at one cylinder (a stud pulls)"),
            cylinders,
            say(
                "Rocker pivot and valve both move away from the camshaft and the pushrod no longer reaches "
                "as far: {size} mm looser per mm, both valves of that cylinder.",
                size=self.size(dp=1.0, dv=1.0),
            ),
            dp=1.0,
            dv=1.0,
        )
        larger = [self._valves_of(head) for head in self.engine.heads if len(head) > 1]
        if larger:
            yield self.row(
                "head_lifting_or_stand_loose",
                "whole_head_lifting",
                say("a head lifts as a whole"),
                larger,
                say(
                    "Rocker pivot and valve both move away from the camshaft and the pushrod no longer reaches "
                    "as far: {size} mm looser per mm, all valves of that head.",
                    size=self.size(dp=1.0, dv=1.0),
                ),
                dp=1.0,
                dv=1.0,
                attributed=False,
            )
        yield self.row(
            "head_lifting_or_stand_loose",
            "stand_loose",
            say("a rocker stand comes loose"),
            cylinders,
            say(
                "The pivot moves outward while pushrod and valve stay, so both ends of the rocker gain: "
                "{size} mm looser per mm, both valves of that cylinder.",
                size=self.size(dp=1.0),
            ),
            dp=1.0,
        )

    def sudden_rows(self) -> Iterable[CauseRow]:
        if not self.overhead:
            yield self.row(
                "bent_pushrod",
                "bent_pushrod",
                say("a pushrod bends"),
                self.single,
                say(
                    "A bent pushrod is shorter, so the rocker swings away from the valve: {size} mm looser per "
                    "mm, all at once.",
                    size=self.size(dq=-1.0),
                ),
                dq=-1.0,
                attributed=False,
                sudden=True,
            )
        yield self.row(
            "dropped_seat",
            "dropped_seat",
            say("a valve seat drops out of the head"),
            self.single,
            say(
                "The loose seat holds the valve open, so its tip stays further in: {size} mm looser per mm, "
                "all at once, and it leaks.",
                size=self.size(dv=-1.0),
            ),
            dv=-1.0,
            attributed=False,
            sudden=True,
            leaks=True,
        )
        yield self.row(
            "dirt_under_valve",
            "dirt_under_valve",
            say("dirt or carbon lies under the valve head"),
            self.single,
            say(
                "The valve cannot close all the way, so its tip stays further in: {size} mm looser per mm, "
                "and it leaks.",
                size=self.size(dv=-1.0),
            ),
            dv=-1.0,
            attributed=False,
            sudden=True,
            leaks=True,
        )

    def _valves_of(self, cylinders: Iterable[int]) -> tuple[Valve, ...]:
        wanted = set(cylinders)
        return tuple(valve for valve in self.engine.valves if valve.cylinder in wanted)
