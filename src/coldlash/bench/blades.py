"""The owner's feeler blades, and what is said with them: go / no-go, drag, none, not measured.

Thicknesses are whole micrometres here, as in the book. A blade *goes* if it passes unforced, drag included.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import combinations
from typing import Literal

from coldlash.errors import InputError
from coldlash.language import number, say
from coldlash.units import MM_PER_INCH, parse_number

Unit = Literal["mm", "in"]
Feel = Literal["free", "drag"]

THINNEST_UM, THICKEST_UM = 10, 5000
TOLERANCE_UM = 9
"""What one blade may be off: +-0.00035 in on a 0.010 in blade (published: a gauge maker's article)."""


@dataclass(frozen=True, slots=True)
class Rung:
    """One thickness that can be tried: a blade, or two laid on each other."""

    um: int
    blades_um: tuple[int, ...]

    @property
    def tolerance_um(self) -> int:
        """What this thickness may be off at worst: tolerances of stacked blades add."""
        return TOLERANCE_UM * len(self.blades_um)


@dataclass(frozen=True, slots=True)
class BladeSet:
    """Blades at hand, rising, whole micrometres; ``stacks`` = how many may be laid on each other (1 or 2)."""

    name: str
    unit: Unit
    blades_um: tuple[int, ...]
    stacks: int = 1

    def ladder(self) -> tuple[Rung, ...]:
        """Every thickness that can be tried, rising; a single blade is preferred to a stack of the same."""
        rungs = {um: Rung(um, (um,)) for um in self.blades_um}
        if self.stacks == 2:
            thickest = self.blades_um[-1]
            for pair in combinations(self.blades_um, 2):
                if sum(pair) <= thickest:
                    rungs.setdefault(sum(pair), Rung(sum(pair), pair))
        return tuple(rungs[um] for um in sorted(rungs))

    def show(self, um: int) -> str:
        """A thickness as this set's owner thinks of it."""
        return show_um(um, self.unit)


def _whole_um(values_mm: Iterable[float]) -> tuple[int, ...]:
    return tuple(sorted({round(mm * 1000) for mm in values_mm}))


def _inches(*thousandths: float) -> tuple[int, ...]:
    return _whole_um(t / 1000 * MM_PER_INCH for t in thousandths)


STANDARD_SETS: dict[str, BladeSet] = {
    # Contents of common sets: common practice, from memory; the owner's own set is what counts.
    "metric": BladeSet("metric", "mm", tuple(range(50, 1001, 50))),
    "metric-fine": BladeSet(
        "metric-fine",
        "mm",
        (*range(30, 110, 10), 130, 150, 180, 200, 230, 250, 280, 300, 330, 350, 380, 400, 430, 450, 500),
    ),
    "inch": BladeSet(
        "inch",
        "in",
        _inches(
            1.5, 2, 2.5, 3, 4, 5, 6, 7, 8, 9, 10, 11, 12, 13, 14, 15, 16, 17, 18, 19, 20, 22, 24, 25, 28, 30
        ),
    ),
}


def show_um(um: int, unit: Unit) -> str:
    """Whole micrometres as "0.15 mm" or ".006 in" (thousandths, a tenth where needed)."""
    if unit == "mm":
        text = number(um / 1000, ".3f")
        return f"{text[:-1] if text.endswith('0') else text} mm"
    thousandths = round(um / MM_PER_INCH, 1)
    inches = number(thousandths / 1000, ".4f").removesuffix("0")
    return f"{inches.removeprefix('0')} in"


def parse_thickness(text: str, unit: Unit, what: str | None = None) -> int:
    """One thickness to whole micrometres: "0.15", "0,15 mm", ".006 in", "6 thou", and in an inch set "6".

    ``unit`` holds where none is written. Raises InputError on anything that can't be a gap's blade.
    """
    what = what or say("thickness")
    match = re.fullmatch(r"\s*([^\sa-z\"]+)\s*(mm|in|inch|thou|\")?\s*", text, re.IGNORECASE)
    if match is None:
        raise InputError(
            say("{what}: {text!r} is not a thickness; write it like 0.15 or .006 in", what=what, text=text)
        )
    typed = parse_number(match[1], what)
    written = (match[2] or "").lower()
    if written == "mm" or (not written and unit == "mm"):
        mm = typed
    elif written == "thou" or (not written and typed >= 1):
        mm = typed / 1000 * MM_PER_INCH
    else:
        mm = typed * MM_PER_INCH
    um = round(mm * 1000)
    if not THINNEST_UM <= um <= THICKEST_UM:
        if not written and unit == "mm" and 2 <= typed <= 100:
            raise InputError(
                say(
                    "{what}: {text!r} is {mm:g} mm; a blade is 0.01 to 5 mm thick; "
                    "in mm: did you mean {meant:.2f}?",
                    what=what,
                    text=text.strip(),
                    mm=mm,
                    meant=round(typed) / 100,
                )
            )
        raise InputError(
            say(
                "{what}: {text!r} is {mm:g} mm; a blade is 0.01 to 5 mm thick",
                what=what,
                text=text.strip(),
                mm=mm,
            )
        )
    return um


def typed_set(name: str, text: str, unit: Unit, stacks: int = 1) -> BladeSet:
    """The owner's blades as typed, separated by blanks or semicolons: "0.05 0.10 0.15" or ".004 .006".

    Raises InputError with all faults at once.
    """
    if stacks not in (1, 2):
        raise InputError(
            say(
                "stacks of {stacks}: only single blades (1) or stacks of two (2) are read reliably",
                stacks=stacks,
            )
        )
    faults: list[str] = []
    blades: list[int] = []
    for word in re.split(r"[\s;]+", text.strip()):
        if not word:
            continue
        try:
            blades.append(parse_thickness(word, unit, say("blade")))
        except InputError as error:
            faults.append(str(error))
    doubles = sorted({um for um in blades if blades.count(um) > 1})
    faults += [say("blade {thickness} stands twice", thickness=show_um(um, unit)) for um in doubles]
    if not faults and len(blades) < 2:
        faults.append(
            say("{text!r}: at least two blades are needed, one that goes and one that does not", text=text)
        )
    if faults:
        raise InputError("; ".join(faults))
    return BladeSet(name, unit, tuple(sorted(blades)), stacks)


@dataclass(frozen=True, slots=True)
class BladeReading:
    """What the blades said at one valve, whole micrometres.

    ``go_um`` = thickest that goes (0 = none goes), ``nogo_um`` = thinnest that does not (None = the thickest
    goes). Both None = not measured. ``feel`` "drag": the go blade passes with drag, the gap is that blade.
    """

    go_um: int | None = None
    nogo_um: int | None = None
    feel: Feel | None = None

    def __post_init__(self) -> None:
        go, nogo = self.go_um, self.nogo_um
        if go is None and nogo is not None:
            raise InputError(say("a blade that does not go, but none that goes: write 0 if none goes"))
        if go == 0 and nogo is None:
            raise InputError(say("no blade goes: say the thinnest that was tried and did not go"))
        if go is not None and nogo is not None and go >= nogo:
            raise InputError(
                say(
                    "{go:g} mm goes but {nogo:g} mm does not: the one that goes must be thinner",
                    go=go / 1000,
                    nogo=nogo / 1000,
                )
            )
        if self.feel == "drag" and not go:
            raise InputError(say("drag on which blade? Name the blade that passes with drag"))

    @property
    def measured(self) -> bool:
        """False when nothing was measured."""
        return self.go_um is not None

    def bounds_mm(self) -> tuple[float, float] | None:
        """[lo, hi) in mm: -inf when no blade goes, +inf when the thickest goes, lo = hi on drag; None = none."""
        if self.go_um is None:
            return None
        if self.feel == "drag":
            return self.go_um / 1000, self.go_um / 1000
        lo = self.go_um / 1000 if self.go_um else float("-inf")
        return lo, self.nogo_um / 1000 if self.nogo_um is not None else float("inf")

    def words(self, unit: Unit = "mm") -> str:
        """As one would say it at the engine."""
        if self.go_um is None:
            return say("not measured")
        if self.feel == "drag":
            return say("drag on {thickness}", thickness=show_um(self.go_um, unit))
        if self.nogo_um is None:
            return say("{thickness} goes, the thickest", thickness=show_um(self.go_um, unit))
        if self.go_um == 0:
            return say("no blade goes, not even {thickness}", thickness=show_um(self.nogo_um, unit))
        return say(
            "{go} goes, {nogo} does not",
            go=show_um(self.go_um, unit),
            nogo=show_um(self.nogo_um, unit),
        )


_NONE_GOES = {"none", "no"}
_SKIPPED = {"?", "skip", "not measured"}


def parse_reading(text: str, blades: BladeSet) -> BladeReading:
    """Read the shorthand of the bench, thicknesses from this set:

    ``0.15`` thickest that goes (the next on the ladder does not); ``0.15/0.20`` goes / does not;
    ``drag 0.15`` or ``0.15 drag``; ``none`` no blade goes; ``0.30/`` the thickest tried goes, nothing thicker
    tried; ``?`` not measured. Raises InputError naming what was given and what this set has.
    """
    said = " ".join(text.strip().lower().split())
    ladder = blades.ladder()
    if said in _SKIPPED:
        return BladeReading()
    if said in _NONE_GOES:
        return BladeReading(0, ladder[0].um)
    dragged = re.fullmatch(r"drag(?: on)?(?: the)? (.+)|(.+) drag", said)
    if dragged:
        rung = _rung(dragged[1] or dragged[2], blades, ladder)
        return BladeReading(rung.um, _next_um(rung, ladder), "drag")
    if "/" in said:
        go_text, nogo_text = (part.strip() for part in said.split("/", 1))
        if not go_text:
            raise InputError(
                say("{text!r}: which blade goes? Write 0 before the stroke if none goes", text=text)
            )
        go = 0 if go_text in {"0", "-"} else _rung(go_text, blades, ladder).um
        nogo = _rung(nogo_text, blades, ladder).um if nogo_text else None
        return BladeReading(go, nogo)
    if said in {"0", ""}:
        raise InputError(say("write none if no blade goes, ? if it was not measured"))
    rung = _rung(said, blades, ladder)
    return BladeReading(rung.um, _next_um(rung, ladder))


def _next_um(rung: Rung, ladder: Sequence[Rung]) -> int | None:
    return next((r.um for r in ladder if r.um > rung.um), None)


def _rung(text: str, blades: BladeSet, ladder: Sequence[Rung]) -> Rung:
    um = parse_thickness(text, blades.unit, say("blade"))
    nearest = min(ladder, key=lambda rung: abs(rung.um - um))
    # An inch set is named in thousandths, so what is typed may round another way than the set did.
    if abs(nearest.um - um) <= 1:
        return nearest
    near = sorted(ladder, key=lambda rung: abs(rung.um - um))[:3]
    have = ", ".join(blades.show(rung.um) for rung in sorted(near, key=lambda rung: rung.um))
    raise InputError(
        say(
            "{thickness} is not in the blade set {name}; nearest: {have}",
            thickness=show_um(um, blades.unit),
            name=blades.name,
            have=have,
        )
    )
