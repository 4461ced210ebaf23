"""An engine's own distance, from what instruments showed in every vehicle it was in.

Pure: events in, a distance and questions out. Readings are whole thousandths of the instrument's own unit, distances
whole metres (kept exactly in between). Nothing is fixed silently: a reading that went back counts as nothing driven
until somebody says that the instrument rolled over or was replaced, or corrects the reading; what was assumed stands
in ``Reckoning.questions``. The distance never falls.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from typing import Literal

from coldlash.errors import Explanation, InputError, MeterWentBackError
from coldlash.language import say
from coldlash.logbook.lasting import Fitment, Instrument, MeterReading
from coldlash.logbook.records import Meter, Vehicle, Visit
from coldlash.logbook.telling import label, told

UM_PER_THOUSANDTH: Mapping[Meter, int] = {"km": 1_000_000, "mile": 1_609_344}
"""Micrometres in a thousandth of a unit. The mile is 1,609.344 m (international mile, 1959)."""
UM_PER_M = 1_000_000
NEARLY_OVER = 0.2
"""A meter in the last fifth of its range has likely rolled over when it shows less (judgement)."""

Explained = Literal["rolled over", "replaced"]
Asked = Literal[
    "went back", "distance went back", "another unit", "more than it can show", "not known when fitted"
]


# --- what happened, in order ------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True, kw_only=True)
class Put:
    """An instrument comes into use where the engine is. ``how`` "first": no travel is counted by it."""

    day: date | None
    how: Literal["first", "replaced", "repaired"]
    unit: Meter
    digits: int | None = None
    reading: int | None = None
    old_reading: int | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Fitted:
    """The engine comes under an instrument that shows ``reading`` (None = nobody knows)."""

    day: date | None
    unit: Meter
    digits: int | None = None
    reading: int | None = None
    distance_m: int | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class TakenOut:
    """The engine leaves its vehicle, whose instrument shows ``reading``."""

    day: date | None
    reading: int | None = None
    distance_m: int | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Seen:
    """The instrument shows ``reading``, having rolled over ``turned_over`` times since the reading before.

    ``distance_m``: the engine's own distance as somebody stated it then.
    """

    day: date | None
    reading: int
    unit: Meter
    turned_over: int = 0
    distance_m: int | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Stated:
    """The engine's own distance without a reading."""

    day: date | None
    distance_m: int


Event = Put | Fitted | TakenOut | Seen | Stated


@dataclass(frozen=True, slots=True)
class Question:
    """Something that does not add up, on ``day``, in a sentence."""

    day: date | None
    about: Asked
    text: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Reckoning:
    """Where an engine stands. ``run_um`` its own distance, micrometres; ``reading`` what its instrument showed last
    (None = not known), on ``read_on``; ``unit`` None = it is under no instrument. ``came_with``: it has been in its
    vehicle since before the book, so the instrument shows its own running. ``points``: distance after each event, m.
    """

    run_um: int
    reading: int | None
    read_on: date | None
    unit: Meter | None
    digits: int | None
    came_with: bool
    points: tuple[int, ...]
    questions: tuple[Question, ...]
    km_per_h: float = 50.0

    @property
    def distance_m(self) -> int:
        """The engine's own distance in whole metres."""
        return round_metres(self.run_um)

    def _after(self, thousandths: int) -> int:
        counted = UnitLength(self.unit or "km", self.km_per_h)
        return round_metres(self.run_um + thousandths * counted.um)

    def distance_at(self, reading: int, explained: Explained | None = None) -> int:
        """The engine's own distance, m, when its instrument shows ``reading`` next.

        Raises MeterWentBackError (with the explanations there are) when it shows less than before and nobody said
        why; InputError for more than it can show.
        """
        unit = self.unit or "km"
        _check_digits(reading, unit, self.digits)
        counted = UnitLength(unit, self.km_per_h)
        if self.reading is None:
            return self._first_of_all(reading, unit, counted)
        if explained == "replaced":
            return self._after(reading)
        if explained == "rolled over":
            over = _range(self.reading, self.digits)
            if reading >= self.reading:
                raise InputError(
                    say(
                        "the meter shows {reading} {unit}, not less than {before} before: it has not rolled over, "
                        "or once round and more; then give the engine's own distance",
                        reading=told(reading),
                        unit=label(unit),
                        before=told(self.reading),
                    )
                )
            return self._after(reading - self.reading + over)
        if reading < self.reading:
            raise self._went_back(reading, unit)
        return self._after(reading - self.reading)

    def _first_of_all(self, reading: int, unit: Meter, counted: UnitLength) -> int:
        shown = counted.metres(reading)
        if self.came_with and shown >= self.distance_m:
            return shown
        if self.came_with:
            raise InputError(
                say(
                    "the meter shows {reading} {unit}, but the engine has run {km} km already; "
                    "give the engine's own distance instead (--distance)",
                    reading=told(reading),
                    unit=label(unit),
                    km=told(self.distance_m),
                )
            )
        raise InputError(
            say(
                "the meter shows {reading} {unit}, but what it showed when the engine was fitted is not known; "
                "give the engine's own distance instead (--distance)",
                reading=told(reading),
                unit=label(unit),
            )
        )

    def _went_back(self, reading: int, unit: Meter) -> MeterWentBackError:
        before = self.reading or 0
        over = _range(before, self.digits)
        offers = explanations(before, over, unit, self._after(reading - before + over), self._after(reading))
        said = "; ".join(offer.words for offer in offers)
        if self.read_on:
            words = say(
                "the meter shows {reading} {unit}, but on {day} it showed {before}: {said}",
                reading=told(reading),
                unit=label(unit),
                day=self.read_on,
                before=told(before),
                said=said,
            )
        else:
            words = say(
                "the meter shows {reading} {unit}, but it showed {before}: {said}",
                reading=told(reading),
                unit=label(unit),
                before=told(before),
                said=said,
            )
        return MeterWentBackError(words, offers)


@dataclass(frozen=True, slots=True)
class UnitLength:
    """How far a unit of an instrument is: km, miles, or hours of running worth ``km_per_h`` km each."""

    unit: Meter
    km_per_h: float = 50.0

    @property
    def um(self) -> int:
        """Micrometres in a thousandth of the unit."""
        return UM_PER_THOUSANDTH.get(self.unit) or round(self.km_per_h * 1e6)

    def metres(self, thousandths: int) -> int:
        """Thousandths of the unit as metres, rounded."""
        return round_metres(thousandths * self.um)


def round_metres(um: int) -> int:
    """Micrometres as whole metres, halves up."""
    return (um + UM_PER_M // 2) // UM_PER_M


def explanations(
    before: int, over: int, unit: Meter, rolled_m: int, replaced_m: int
) -> tuple[Explanation, ...]:
    """Why a meter that showed ``before`` can show less, likeliest first, with the distance each would make, m.

    ``over``: after how many thousandths it shows 0 again.
    """
    rolled = Explanation(
        "rolled over",
        rolled_m,
        say(
            "it rolled over past {over} {unit}, which makes {km:.0f} km in all",
            over=told(over - 1000),
            unit=label(unit),
            km=rolled_m / 1000,
        ),
    )
    replaced = Explanation(
        "replaced",
        replaced_m,
        say("it was replaced or set to 0, which makes {km:.0f} km or more", km=replaced_m / 1000),
    )
    mistyped = Explanation("mistyped", None, say("one of the two is mistyped, and should be corrected"))
    likely_over = before >= (1 - NEARLY_OVER) * over
    return (rolled, replaced, mistyped) if likely_over else (mistyped, replaced, rolled)


def _range(reading: int, digits: int | None) -> int:
    """After how many thousandths the instrument shows 0 again: by its digits, else by those it was seen with."""
    return int(10 ** (digits or max(3, len(str(reading // 1000))))) * 1000


def _check_digits(reading: int, unit: Meter, digits: int | None) -> None:
    if digits is not None and reading >= _range(0, digits):
        raise InputError(
            say(
                "the meter shows {reading} {unit}, but it has {digits} digits; mistyped, or correct its "
                "digits",
                reading=told(reading),
                unit=label(unit),
                digits=digits,
            )
        )


# --- reckoning --------------------------------------------------------------------------------------------------


class _State:
    """Walks over the events. Travel is kept in micrometres, so that rounding never adds up."""

    def __init__(self, km_per_h: float) -> None:
        self.km_per_h = km_per_h
        self.um = 0
        self.reading: int | None = None
        self.read_on: date | None = None
        self.unit: Meter | None = None
        self.digits: int | None = None
        self.questions: list[Question] = []

    def take(self, event: Event) -> None:
        match event:
            case Put():
                self._put(event)
            case Fitted():
                self.state(event.day, event.distance_m)
                self.unit, self.digits = event.unit, event.digits
                self.reading, self.read_on = event.reading, event.day
                if event.reading is None and event.day is not None:
                    self.ask(
                        event.day,
                        "not known when fitted",
                        say(
                            "what the meter showed when the engine was fitted is not known; "
                            "its running counts from the next reading"
                        ),
                    )
            case TakenOut():
                if event.reading is not None:
                    self.move(event.day, event.reading, 0)
                self.state(event.day, event.distance_m)
                self.reading = self.read_on = self.unit = self.digits = None
            case Seen():
                self._seen(event)
            case Stated():
                self.state(event.day, event.distance_m)

    def _put(self, event: Put) -> None:
        if event.how != "first" and event.old_reading is not None:
            self.move(event.day, event.old_reading, 0)
        self.unit, self.digits = event.unit, event.digits
        match event.how:
            case "first":
                self.reading = event.reading
            case "replaced":
                # A new instrument whose first reading nobody wrote down is taken to have begun at 0.
                self.reading = event.reading or 0
            case "repaired" if event.reading is not None:
                self.reading = event.reading
        self.read_on = event.day

    def _seen(self, event: Seen) -> None:
        if self.unit is not None and event.unit != self.unit:
            self.ask(
                event.day,
                "another unit",
                say(
                    "the reading is in {unit}, the instrument counts {counted}; it was not used",
                    unit=label(event.unit),
                    counted=label(self.unit),
                ),
            )
            if event.distance_m is not None:
                self.state(event.day, event.distance_m)
            return
        self.unit = event.unit
        if event.distance_m is None:
            self.move(event.day, event.reading, event.turned_over)
        else:
            if self.reading is not None and event.reading > self.reading:
                counted = self.um + (event.reading - self.reading) * UnitLength(event.unit, self.km_per_h).um
                if abs(counted - event.distance_m * UM_PER_M) < UM_PER_M:
                    self.um = counted  # stated from this very reading, but in whole metres
            # Whoever stated the distance has said how far it was, whatever the instrument does.
            self.state(event.day, event.distance_m)
            self.reading, self.read_on = event.reading, event.day

    def move(self, day: date | None, reading: int, turned_over: int) -> None:
        unit = self.unit or "km"
        if self.digits is not None and reading >= _range(0, self.digits):
            self.ask(
                day,
                "more than it can show",
                say(
                    "{reading} {unit} is more than {digits} digits can show; it was not used",
                    reading=told(reading),
                    unit=label(unit),
                    digits=self.digits,
                ),
            )
            return
        if self.reading is not None:
            driven = reading - self.reading + turned_over * _range(self.reading, self.digits)
            if driven < 0:
                self.ask(day, "went back", self._went_back(reading, self.reading, unit))
                return
            self.um += driven * UnitLength(unit, self.km_per_h).um
        self.reading, self.read_on = reading, day

    def _went_back(self, reading: int, before: int, unit: Meter) -> str:
        if self.read_on:
            return say(
                "the meter showed {reading} {unit}, but {before} on {day}: did it roll over, was it replaced, "
                "or is one mistyped? It counts as 0 km",
                reading=told(reading),
                unit=label(unit),
                before=told(before),
                day=self.read_on,
            )
        return say(
            "the meter showed {reading} {unit}, but {before} before: did it roll over, was it replaced, "
            "or is one mistyped? It counts as 0 km",
            reading=told(reading),
            unit=label(unit),
            before=told(before),
        )

    def state(self, day: date | None, distance_m: int | None) -> None:
        if distance_m is None:
            return
        if abs(distance_m * UM_PER_M - self.um) < UM_PER_M:
            return  # what was reckoned and then written as whole metres
        if distance_m * UM_PER_M < self.um:
            self.ask(
                day,
                "distance went back",
                say(
                    "the engine's own distance was given as {km} km, less than the {known} km it "
                    "had; it counts as 0 km",
                    km=told(distance_m),
                    known=told(round_metres(self.um)),
                ),
            )
        self.um = max(self.um, distance_m * UM_PER_M)

    def ask(self, day: date | None, about: Asked, text: str) -> None:
        self.questions.append(Question(day, about, text))


def reckon(events: Sequence[Event], km_per_h: float = 50.0) -> Reckoning:
    """An engine's own distance after all these events, in the order they happened.

    ``km_per_h``: how many km an hour of running is worth. An engine of which no distance was ever stated starts at
    what its first vehicle's instrument showed first. Raises nothing: what can't be used is in ``questions``.
    """
    state = _State(km_per_h)
    came_with = not any(isinstance(event, Fitted) and event.day is not None for event in events)
    if came_with and not any(_states_distance(event) for event in events):
        first = next((event for event in events if isinstance(event, Seen)), None)
        if first is not None:
            state.um = first.reading * UnitLength(first.unit, km_per_h).um
    points = []
    for event in events:
        state.take(event)
        points.append(round_metres(state.um))
    return Reckoning(
        run_um=state.um,
        reading=state.reading,
        read_on=state.read_on,
        unit=state.unit,
        digits=state.digits,
        came_with=came_with,
        points=tuple(points),
        questions=tuple(state.questions),
        km_per_h=km_per_h,
    )


def _states_distance(event: Event) -> bool:
    return not isinstance(event, Put) and event.distance_m is not None


def check_before(reading: int, distance_m: int, later: Sequence[Event]) -> None:
    """Make sure that a reading of an earlier day fits what came after. Raises MeterWentBackError where it can't.

    ``later``: the events after that day, in order. Looks no further than the instrument that was read.
    """
    for event in later:
        if not isinstance(event, Seen | Stated):
            return
        stated = event.distance_m
        if isinstance(event, Seen) and event.turned_over == 0 and event.reading < reading and stated is None:
            words = say(
                "the meter shows {reading}, but later, on {day}, it showed {later} {unit}: "
                "one of the two is mistyped",
                reading=told(reading),
                day=event.day,
                later=told(event.reading),
                unit=label(event.unit),
            )
        elif stated is not None and stated < distance_m:
            words = say(
                "the meter shows {reading}, but later, on {day}, the engine had run {later} km, "
                "less than the {km} km this makes: one of the two is mistyped",
                reading=told(reading),
                day=event.day,
                later=told(stated),
                km=told(distance_m),
            )
        else:
            return
        raise MeterWentBackError(
            words,
            (Explanation("mistyped", None, say("one of the two is mistyped, and should be corrected")),),
        )


# --- from the book ----------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True, kw_only=True)
class Metered:
    """A vehicle with every instrument and reading of it that stands."""

    vehicle: Vehicle
    instruments: tuple[Instrument, ...] = ()
    readings: tuple[MeterReading, ...] = ()

    def has(self, hours: bool) -> bool:
        """True when it has an instrument that counts hours, or one that counts km or miles."""
        units = {self.vehicle.meter, *(i.unit for i in self.instruments)}
        return "h" in units if hours else bool(units & {"km", "mile"})

    @property
    def distance_unit(self) -> Meter:
        """What its odometer counts, km where it has none."""
        return next((i.unit for i in self.line(hours=False)), "km")

    def line(self, hours: bool) -> tuple[Instrument, ...]:
        """Its instruments of one kind, in order, beginning with the one the vehicle was entered with."""
        own = [i for i in self.instruments if (i.unit == "h") == hours]
        if (self.vehicle.meter == "h") == hours and not any(i.how == "first" for i in own):
            v = self.vehicle
            own.insert(0, Instrument(vehicle_id=v.id, how="first", unit=v.meter, digits=v.meter_digits))
        return tuple(own)

    def instrument_on(self, day: date | None, hours: bool, at: str | None = None) -> Instrument | None:
        """The one in use on a day (None = at first); of those put in that day, those written down up to ``at``."""
        moment = (day or date.min, at or "~")
        there = [i for i in self.line(hours) if i.day is None or (i.day, i.at or "") <= moment]
        return there[-1] if there else None


def timeline(
    fitments: Sequence[Fitment],
    vehicles: Mapping[str, Metered],
    visits: Iterable[Visit],
    *,
    hours: bool = False,
) -> tuple[Event, ...]:
    """What happened to one engine's instruments, in order: by day, then as it was written down.

    ``fitments`` of this engine, ``vehicles`` by id, ``visits`` of this engine. ``hours``: the engine is counted by
    an hour meter, its own where the vehicle has none.
    """
    stays = _stays(fitments)
    marks: list[tuple[date, str, int, Event]] = []

    def note(day: date | None, at: str | None, rank: int, event: Event) -> None:
        marks.append((day or date.min, at or "", rank, event))

    for fitment, end in stays:
        there = vehicles[fitment.vehicle_id or ""]
        counts_hours = hours or not there.has(hours=False)
        own = counts_hours and not there.has(hours=True)
        if own:
            for change in (fitment, end):
                if change is not None and change.distance_m is not None:
                    note(change.day, change.at, 0, Stated(day=change.day, distance_m=change.distance_m))
            continue
        first = there.instrument_on(fitment.day, counts_hours, fitment.at)
        note(
            fitment.day, fitment.at, 0, _fitted(fitment, first, "h" if counts_hours else there.distance_unit)
        )
        for instrument in there.line(counts_hours):
            if instrument is not first and _during(instrument.day, instrument.at, fitment, end):
                note(instrument.day, instrument.at, 1, _put(instrument))
        for reading in there.readings:
            if (reading.unit == "h") == counts_hours and _during(reading.day, reading.at, fitment, end):
                note(reading.day, reading.at, 2, _seen_note(reading))
        if end is not None:
            out = TakenOut(day=end.day, reading=end.meter_reading, distance_m=end.distance_m)
            note(end.day, end.at, 0, out)
    for visit in visits:
        note(visit.day, visit.opened_at, 3, _seen_visit(visit))
    return tuple(event for _, _, _, event in sorted(marks, key=lambda each: each[:3]))


def _fitted(fitment: Fitment, instrument: Instrument | None, unit: Meter) -> Fitted:
    unit = unit if instrument is None else instrument.unit
    reading = fitment.meter_reading if fitment.meter_unit == unit else None
    if reading is None and instrument is not None and instrument.day == fitment.day:
        reading = instrument.reading
    digits = None if instrument is None else instrument.digits
    return Fitted(day=fitment.day, unit=unit, digits=digits, reading=reading, distance_m=fitment.distance_m)


def _stays(fitments: Sequence[Fitment]) -> list[tuple[Fitment, Fitment | None]]:
    """Each time in a vehicle, with what ended it: taken out, or fitted elsewhere (then its reading says nothing)."""
    stays: list[tuple[Fitment, Fitment | None]] = []
    for fitment in fitments:
        if stays and stays[-1][1] is None:
            end = fitment if fitment.vehicle_id is None else Fitment(
                engine_id=fitment.engine_id, day=fitment.day, at=fitment.at)  # fmt: skip
            if end.day is not None:
                stays[-1] = (stays[-1][0], end)
        if fitment.vehicle_id is not None:
            stays.append((fitment, None))
    return stays


def _during(day: date | None, at: str | None, start: Fitment, end: Fitment | None) -> bool:
    moment = (day or date.min, at or "")
    begun = start.day is None or moment >= (start.day, start.at or "")
    return begun and (end is None or moment <= (end.day or date.min, end.at or ""))


def vehicle_on(fitments: Sequence[Fitment], day: date) -> str | None:
    """The id of the vehicle an engine was in at the end of a day."""
    up_to = [f for f in fitments if f.day is None or f.day <= day]
    return up_to[-1].vehicle_id if up_to else None


def vehicle_timeline(metered: Metered, visits: Iterable[Visit], *, hours: bool = False) -> tuple[Event, ...]:
    """What happened to a vehicle's own instrument, in order. ``visits`` of engines while they were in it."""
    always = Fitment(engine_id="", vehicle_id=metered.vehicle.id)
    shown = [v for v in visits if v.meter_unit is not None and (v.meter_unit == "h") == hours]
    events = timeline([always], {metered.vehicle.id: metered}, shown, hours=hours)
    return tuple(replace(event, distance_m=None) if isinstance(event, Seen) else event for event in events)


def until(events: Sequence[Event], day: date) -> tuple[tuple[Event, ...], tuple[Event, ...]]:
    """The events up to and on a day, and those after it."""
    ahead = next(
        (i for i, event in enumerate(events) if event.day is not None and event.day > day), len(events)
    )
    return tuple(events[:ahead]), tuple(events[ahead:])


def _put(i: Instrument) -> Put:
    return Put(
        day=i.day, how=i.how, unit=i.unit, digits=i.digits, reading=i.reading, old_reading=i.old_reading
    )


def _seen_note(r: MeterReading) -> Seen:
    return Seen(day=r.day, reading=r.reading, unit=r.unit, turned_over=r.turned_over)


def _seen_visit(visit: Visit) -> Event:
    if visit.meter_reading is None or visit.meter_unit is None:
        return Stated(day=visit.day, distance_m=visit.distance_m)
    return Seen(
        day=visit.day, reading=visit.meter_reading, unit=visit.meter_unit, distance_m=visit.distance_m
    )
