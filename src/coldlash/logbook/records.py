"""What the book takes and gives back: frozen records, checked when they are made. No database in here.

Units: lengths integer micrometres (``_um``), distances integer metres (``_m``), temperatures integer thousandths
of a degree Celsius (``_mc``), meter readings integer thousandths of the meter's own unit. Times are ISO-8601
text in UTC with milliseconds, ``2024-05-04T09:30:00.000Z``; days are ``datetime.date``. Ids are UUID text; None
lets the book make one. What is made with an id can be sent again safely: the same id with the same content
changes nothing.
"""

from __future__ import annotations

import unicodedata
import uuid
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from datetime import UTC, date, datetime
from itertools import pairwise
from typing import Any, Literal, cast, get_args

from coldlash.engine.spec import Valve
from coldlash.errors import InputError
from coldlash.language import say, say_in
from coldlash.logbook.telling import label, told

Step = Literal["found", "set", "left"]
Feel = Literal["free", "drag"]
Spin = Literal["free", "stiff", "none"]
Meter = Literal["km", "mile", "h"]
BladeUnit = Literal["mm", "in"]
State = Literal["draft", "closed", "discarded"]

STEPS: tuple[Step, ...] = get_args(Step)
GAP_UM_MAX = 20_000
DISTANCE_M_MAX = 10_000_000_000
TEMP_MC_MIN, TEMP_MC_MAX = -60_000, 400_000
NAME_MAX, WORD_MAX, NOTE_MAX, PLAN_MAX, FILE_MAX = 200, 200, 10_000, 20_000, 2_000_000


# --- small checks, shared by the records and by the book ---------------------------------------------------


def new_id() -> str:
    """A fresh random id (UUID text)."""
    return str(uuid.uuid4())


def checked_id(value: object, what: str = "id") -> str:
    """UUID text in its usual form. Raises InputError on anything else."""
    if isinstance(value, str):
        try:
            return str(uuid.UUID(value))
        except ValueError:
            pass
    raise InputError(
        say(
            "{what}: {value!r} is not a UUID, like 3f2b8a52-1c5e-4e0e-9a51-0d8f6c1b7a10",
            what=label(what),
            value=value,
        )
    )


def utc_text(moment: datetime) -> str:
    """An aware moment as the book writes it: ``2024-05-04T09:30:00.000Z``. Raises InputError if naive."""
    if moment.tzinfo is None:
        raise InputError(
            say("the time {moment} has no time zone; give one, such as UTC", moment=moment.isoformat())
        )
    in_utc = moment.astimezone(UTC).replace(tzinfo=None)
    return in_utc.isoformat(timespec="milliseconds") + "Z"


def checked_time(value: object, what: str) -> str:
    """ISO-8601 text with a zone to the book's form, milliseconds kept. Raises InputError."""
    if isinstance(value, str):
        try:
            return utc_text(datetime.fromisoformat(value))
        except (ValueError, OverflowError):
            pass
    raise InputError(
        say(
            "{what}: {value!r} is not a time; write it like 2024-05-04T09:30:00Z",
            what=label(what),
            value=value,
        )
    )


def checked_day(value: object, what: str = "day") -> date:
    """A date that is not a moment. Raises InputError."""
    if isinstance(value, date) and not isinstance(value, datetime):
        return value
    raise InputError(say("{what}: {value!r} is not a date", what=label(what), value=value))


def checked_text(value: object, what: str, limit: int) -> str:
    """Text that any database and any terminal can hold, at most ``limit`` characters. Raises InputError."""
    if not isinstance(value, str):
        raise InputError(say("{what}: {value!r} is not text", what=label(what), value=value))
    if len(value) > limit:
        raise InputError(
            say(
                "{what}: {count} characters are too many; {limit} is the most",
                what=label(what),
                count=len(value),
                limit=limit,
            )
        )
    bad = next((c for c in value if unicodedata.category(c) in ("Cc", "Cs") and c not in "\t\n\r"), None)
    if bad is not None:
        raise InputError(
            say(
                "{what}: has a character that can't be kept ({code}); take it out",
                what=label(what),
                code=f"U+{ord(bad):04X}",
            )
        )
    return value


def checked_name(value: object, what: str) -> str:
    """A name of any script: one line, not empty, surrounding blanks gone, composed (NFC). Raises InputError."""
    name = unicodedata.normalize("NFC", checked_text(value, what, NAME_MAX)).strip()
    if not name:
        raise InputError(say("{what}: is empty; give a name", what=label(what)))
    if any(c in name for c in "\t\n\r"):
        raise InputError(say("{what}: {name!r} is more than one line", what=label(what), name=name))
    return name


def name_key(name: str) -> str:
    """What makes two names the same: case and width do not count."""
    return unicodedata.normalize("NFKC", name).casefold()


def checked_whole(value: object, what: str, low: int, high: int, unit: str) -> int:
    """A whole number from ``low`` to ``high``. Raises InputError."""
    if type(value) is not int:
        raise InputError(
            say(
                "{what}: {value!r} is not a whole number of {unit}",
                what=label(what),
                value=value,
                unit=label(unit),
            )
        )
    if not low <= value <= high:
        raise InputError(
            say(
                "{what}: {value} {unit} is outside {low} to {high}",
                what=label(what),
                value=value,
                unit=label(unit),
                low=low,
                high=high,
            )
        )
    return value


def checked_choice(value: object, what: str, choices: tuple[str, ...]) -> None:
    """Raises InputError unless the value is one of ``choices``."""
    if value not in choices:
        raise InputError(
            say(
                "{what}: {value!r} is not one of {choices}",
                what=label(what),
                value=value,
                choices=", ".join(choices),
            )
        )


def checked_blades(value: object, what: str) -> tuple[int, ...]:
    """Blades in micrometres, rising, none twice. Raises InputError."""
    if not isinstance(value, list | tuple):
        raise InputError(
            say("{what}: {value!r} is not a row of blades in micrometres", what=label(what), value=value)
        )
    blades = tuple(checked_whole(blade, what, 1, GAP_UM_MAX, "um") for blade in value)
    if any(a >= b for a, b in pairwise(blades)):
        raise InputError(say("{what}: blades must rise and none may stand twice", what=label(what)))
    return blades


def mm(um: int) -> str:
    """Micrometres in words: 150 is "0.15 mm"."""
    return say("{gap} mm", gap=told(um, 2))


def plain(thousandths: int, least_decimals: int = 0) -> str:
    """Thousandths as a decimal number without needless zeros: 150 is "0.15", 84210000 is "84210"."""
    sign, size = ("-" if thousandths < 0 else ""), abs(thousandths)
    decimals = f"{size % 1000:03d}".rstrip("0").ljust(least_decimals, "0")
    return f"{sign}{size // 1000}" + (f".{decimals}" if decimals else "")


def _set(record: object, name: str, value: object) -> None:
    object.__setattr__(record, name, value)


# --- what goes in ------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True, kw_only=True)
class NewVisit:
    """A visit to open. ``distance_m`` is the engine's own distance; ``meter_reading`` what the meter showed.

    ``blades_um``: the blades at hand, rising. ``plan`` is JSON text of how the stops were chosen, ``place`` where
    the owner is in the visit; the book keeps both as they are. ``engine_file_id`` None = the current version.
    ``at`` None = the book's clock, if it was given one. Raises InputError.
    """

    day: date
    distance_m: int
    engine_temp_mc: int | None = None
    air_temp_mc: int | None = None
    meter_reading: int | None = None
    meter_unit: Meter | None = None
    by: str | None = None
    blades_um: tuple[int, ...] = ()
    plan: str = ""
    place: str = ""
    note: str = ""
    engine_file_id: str | None = None
    id: str | None = None
    at: str | None = None

    def __post_init__(self) -> None:
        for name in VISIT_FIELDS:
            _set(self, name, checked_field(name, getattr(self, name)))
        if (self.meter_reading is None) != (self.meter_unit is None):
            raise InputError(say("meter: give the reading and its unit together, or neither"))
        _set(self, "place", checked_text(self.place, "place", PLAN_MAX))
        if self.id is not None:
            _set(self, "id", checked_id(self.id, "visit id"))
        if self.at is not None:
            _set(self, "at", checked_time(self.at, "at"))


FieldValue = date | int | str | tuple[int, ...] | None
VISIT_FIELDS = (
    "day",
    "distance_m",
    "engine_temp_mc",
    "air_temp_mc",
    "meter_reading",
    "meter_unit",
    "by",
    "blades_um",
    "plan",
    "note",
    "engine_file_id",
)
"""The fields of a visit that can be changed, each change kept in its history."""


def checked_field(name: str, value: object) -> FieldValue:
    """One field of a visit, checked. Raises InputError, also for a field that does not exist."""
    match name:
        case "day":
            return checked_day(value)
        case "distance_m":
            return checked_whole(value, "distance", 0, DISTANCE_M_MAX, "m")
        case "engine_temp_mc" | "air_temp_mc":
            what = name.removesuffix("_mc").replace("_", " ") + "erature"
            return (
                None
                if value is None
                else checked_whole(value, what, TEMP_MC_MIN, TEMP_MC_MAX, "thousandths of a degree C")
            )
        case "meter_reading":
            return (
                None
                if value is None
                else checked_whole(value, "meter reading", 0, DISTANCE_M_MAX, "thousandths")
            )
        case "meter_unit":
            if value is not None:
                checked_choice(value, "meter unit", get_args(Meter))
            return cast("Meter | None", value)
        case "by":
            return None if value is None else checked_name(value, "by")
        case "blades_um":
            return checked_blades(value, "blades")
        case "plan":
            return checked_text(value, "plan", PLAN_MAX)
        case "note":
            return checked_text(value, "note", NOTE_MAX)
        case "engine_file_id":
            return None if value is None else checked_id(value, "engine file id")
        case _:
            raise InputError(
                say(
                    "a visit has no field {name!r} to change; it has {fields}",
                    name=name,
                    fields=", ".join(VISIT_FIELDS),
                )
            )


@dataclass(frozen=True, slots=True, kw_only=True)
class NewReading:
    """One reading to write down, or a correction of one.

    ``found`` and ``left``: ``go_um`` the thickest blade that went (0 = none), ``nogo_um`` the thinnest that did
    not (None = the thickest went); both None = not measured. ``feel`` is how the go blade passed: "drag" means
    the gap is that blade. ``set``: ``blade_um`` the blade it was set on, None = the engine's cold gap, 0 only for
    engines set without a gap. ``spin``: how the pushrod spins. ``replaces``: the id of the reading this corrects.
    ``withdrawn``: takes back the reading it replaces, carries no values. ``reason`` is needed once the visit is
    closed. ``at`` None = the book's clock. Raises InputError.
    """

    valve: Valve
    step: Step
    go_um: int | None = None
    nogo_um: int | None = None
    blade_um: int | None = None
    feel: Feel | None = None
    spin: Spin | None = None
    note: str = ""
    by: str | None = None
    device: str | None = None
    replaces: str | None = None
    reason: str = ""
    withdrawn: bool = False
    id: str | None = None
    at: str | None = None

    def __post_init__(self) -> None:
        if not isinstance(self.valve, Valve):
            raise InputError(say("valve: {valve!r} is not a valve, like E3", valve=self.valve))
        what = f"{self.valve} {self.step}"
        checked_choice(self.step, f"{self.valve}: step", STEPS)
        for name in ("go_um", "nogo_um", "blade_um"):
            value = getattr(self, name)
            if value is not None:
                checked_whole(value, f"{what}: {name.removesuffix('_um')}", 0, GAP_UM_MAX, "um")
        for name, choices in (("feel", get_args(Feel)), ("spin", get_args(Spin))):
            if getattr(self, name) is not None:
                checked_choice(getattr(self, name), f"{what}: {name}", choices)
        _set(self, "note", checked_text(self.note, f"{what}: note", NOTE_MAX))
        _set(self, "reason", checked_text(self.reason, f"{what}: reason", NOTE_MAX).strip())
        for name in ("by", "device"):
            if getattr(self, name) is not None:
                _set(self, name, checked_name(getattr(self, name), f"{what}: {name}"))
        for name in ("id", "replaces"):
            if getattr(self, name) is not None:
                _set(self, name, checked_id(getattr(self, name), f"{what}: {name}"))
        if self.at is not None:
            _set(self, "at", checked_time(self.at, f"{what}: at"))
        self._check_together(what)

    def _check_together(self, what: str) -> None:
        values = (self.go_um, self.nogo_um, self.blade_um, self.feel, self.spin)
        if self.withdrawn:
            if any(value is not None for value in values):
                raise InputError(say("{what}: a withdrawal carries no values", what=label(what)))
            if self.replaces is None:
                raise InputError(
                    say("{what}: a withdrawal must name the reading it takes back", what=label(what))
                )
        elif self.step == "set":
            if self.go_um is not None or self.nogo_um is not None:
                raise InputError(
                    say(
                        "{what}: setting has one blade, no go and no-go; those belong to found or left",
                        what=label(what),
                    )
                )
        else:
            if self.blade_um is not None:
                raise InputError(
                    say("{what}: the blade it was set on belongs to the step set", what=label(what))
                )
            check_go_nogo(self.go_um, self.nogo_um, what)
            if self.feel is not None and not self.go_um:
                raise InputError(
                    say("{what}: {feel!r} needs the blade that went", what=label(what), feel=self.feel)
                )


def check_go_nogo(go_um: int | None, nogo_um: int | None, what: str) -> None:
    """Go and no-go as one reading. Raises InputError when they can't stand together."""
    if go_um is None:
        if nogo_um is not None:
            raise InputError(
                say(
                    "{what}: {nogo} did not go, but which blade went? Give it, or 0 if none went",
                    what=label(what),
                    nogo=mm(nogo_um),
                )
            )
    elif go_um == 0:
        if nogo_um is None:
            raise InputError(
                say("{what}: no blade went; give the thinnest one that was tried as no-go", what=label(what))
            )
        if nogo_um == 0:
            raise InputError(say("{what}: a no-go of 0 is no blade", what=label(what)))
    elif nogo_um is not None and nogo_um <= go_um:
        raise InputError(
            say(
                "{what}: {go} goes and {nogo} does not; the blade that does not go must be the thicker one",
                what=label(what),
                go=mm(go_um),
                nogo=mm(nogo_um),
            )
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class PastVisit:
    """A whole visit to add at once, already closed: from a notebook, a log file, a demo.

    ``readings`` hold no corrections (no ``replaces``). ``closed_at`` None = the time it was opened.
    """

    visit: NewVisit
    readings: tuple[NewReading, ...]
    closed_at: str | None = None

    def __post_init__(self) -> None:
        if self.closed_at is not None:
            _set(self, "closed_at", checked_time(self.closed_at, "closed_at"))
        seen: set[tuple[Valve, Step]] = set()
        for reading in self.readings:
            what = f"{reading.valve} {reading.step}"
            if reading.replaces is not None or reading.reason:
                raise InputError(
                    say("{what}: a visit that is added whole holds no corrections", what=label(what))
                )
            if (reading.valve, reading.step) in seen:
                raise InputError(say("{what} stands twice in one visit", what=label(what)))
            seen.add((reading.valve, reading.step))


# --- what comes out ----------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True, kw_only=True)
class Vehicle:
    """A vehicle. ``meter_digits`` is how many whole digits its meter shows; None = unknown."""

    id: str
    name: str
    meter: Meter
    meter_digits: int | None
    note: str


@dataclass(frozen=True, slots=True, kw_only=True)
class EngineFile:
    """One version of an engine file: its TOML text and the texts of its lobe tables by file name."""

    id: str
    engine_id: str
    version: int
    toml: str
    tables: Mapping[str, str]
    since: str


@dataclass(frozen=True, slots=True, kw_only=True)
class EngineEntry:
    """An engine in the book with its current file."""

    id: str
    name: str
    vehicle_id: str | None
    created: str
    file: EngineFile


@dataclass(frozen=True, slots=True, kw_only=True)
class BladeSet:
    """The owner's blades in micrometres, rising; ``unit`` is what is stamped on them.

    ``stacks_of`` is how many may be put together (1 or 2).
    """

    id: str
    name: str
    unit: BladeUnit
    blades_um: tuple[int, ...]
    stacks_of: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Reading:
    """One reading as the book keeps it; see ``NewReading``. ``seq`` is the order in which the book got it."""

    id: str
    seq: int
    visit_id: str
    valve: Valve
    step: Step
    go_um: int | None
    nogo_um: int | None
    blade_um: int | None
    feel: Feel | None
    spin: Spin | None
    note: str
    by: str | None
    device: str | None
    replaces: str | None
    reason: str
    withdrawn: bool
    at: str

    @property
    def measured(self) -> bool:
        """True when at least one blade said something."""
        return self.go_um is not None

    @property
    def words(self) -> str:
        """The reading in words: "0.10 goes, 0.15 does not"."""
        return reading_words(self)


@dataclass(frozen=True, slots=True, kw_only=True)
class VisitChange:
    """One field of a visit that was changed, with its value before. ``field`` "state" = discarded."""

    id: str
    seq: int
    visit_id: str
    field: str
    old: FieldValue
    new: FieldValue
    reason: str
    by: str | None
    at: str


@dataclass(frozen=True, slots=True, kw_only=True)
class VisitHead:
    """A visit without its readings. ``count``: how many visits its engine has in that state."""

    id: str
    engine_id: str
    day: date
    distance_m: int
    state: State
    count: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Visit:
    """A visit with everything that was ever written in it.

    ``readings``: what stands now, by valve and step. ``history``: every reading in the order the book got it,
    corrected ones included. ``changes``: every change of the visit's own fields.
    """

    id: str
    engine_id: str
    engine_file_id: str
    day: date
    distance_m: int
    engine_temp_mc: int | None
    air_temp_mc: int | None
    meter_reading: int | None
    meter_unit: Meter | None
    by: str | None
    blades_um: tuple[int, ...]
    plan: str
    place: str
    note: str
    state: State
    opened_at: str
    closed_at: str | None
    history: tuple[Reading, ...] = ()
    changes: tuple[VisitChange, ...] = ()
    readings: Mapping[tuple[Valve, Step], Reading] = field(default_factory=dict)

    def reading(self, valve: Valve, step: Step) -> Reading | None:
        """What stands for this valve and step; None = nothing, or withdrawn."""
        return self.readings.get((valve, step))

    def story(self, valve: Valve, step: Step) -> tuple[Reading, ...]:
        """Every reading of this valve and step, first to last; the last one stands unless withdrawn."""
        return tuple(r for r in self.history if r.valve == valve and r.step == step)

    @property
    def valves(self) -> tuple[Valve, ...]:
        """The valves with any standing reading, in order."""
        return tuple(sorted({valve for valve, _ in self.readings}))

    def as_first_written(self) -> Visit:
        """The visit before any change of its fields or correction of its readings."""
        was: dict[str, Any] = {c.field: c.old for c in reversed(self.changes) if c.field in VISIT_FIELDS}
        first = (r for r in self.history if r.replaces is None and not r.reason)
        return replace(self, **was, readings={(r.valve, r.step): r for r in first})


def reading_words(reading: Reading | NewReading, show: Callable[[int], str] | None = None) -> str:
    """A reading in words, for messages and lists. ``show`` puts micrometres into words with their unit (default mm)."""
    in_words = show or mm
    if reading.withdrawn:
        return say_in("reading", "withdrawn")
    if reading.step == "set":
        if reading.blade_um is None:
            return say("set to the cold gap")
        return say("set on {blade}", blade=in_words(reading.blade_um))
    go, nogo = reading.go_um, reading.nogo_um
    if go is None:
        return say("not measured")
    if go == 0:
        return say("no blade goes, thinnest tried {nogo}", nogo=in_words(nogo or 0))
    if reading.feel == "drag":
        if nogo is None:
            return say("drag on {go}", go=in_words(go))
        return say("drag on {go}, {nogo} does not go", go=in_words(go), nogo=in_words(nogo))
    if nogo is None:
        return say("{go} goes, no thicker one tried", go=in_words(go))
    return say("{go} goes, {nogo} does not", go=in_words(go), nogo=in_words(nogo))
