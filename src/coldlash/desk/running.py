"""What an engine has run: its own distance from meters, notes of what they showed, moves between vehicles."""

from __future__ import annotations

import uuid
from dataclasses import dataclass
from datetime import date

from coldlash.engine.spec import Engine
from coldlash.errors import InputError
from coldlash.language import mark, plural, say, table
from coldlash.logbook.distance import (
    Event,
    Explained,
    Question,
    Reckoning,
    check_before,
    reckon,
    until,
)
from coldlash.logbook.lasting import Fitment, Instrument, MeterReading
from coldlash.logbook.records import EngineEntry, Meter, Visit
from coldlash.logbook.store import Book
from coldlash.logbook.telling import told


@dataclass(frozen=True, slots=True)
class Metering:
    """An engine's meter on some day: what it counts, where the engine stood, what came after that day."""

    reckoning: Reckoning
    later: tuple[Event, ...]
    unit: Meter

    def distance_m(self, reading: int, explained: Explained | None = None) -> int:
        """The engine's own distance when the meter shows ``reading`` thousandths.

        Raises MeterWentBackError, with the explanations there are, InputError.
        """
        at = self.reckoning.distance_at(reading, explained)
        check_before(reading, at, self.later)
        return at


def metering(book: Book, engine_name: str, engine: Engine, day: date | None = None) -> Metering:
    """An engine's meter as the book has it up to ``day`` (None = all of it). Raises InputError."""
    hours = engine.service.meter == "h"
    events = book.running(engine_name, hours=hours)
    before, later = (events, ()) if day is None else until(events, day)
    reckoning = reckon(before, engine.service.km_per_h)
    return Metering(reckoning, later, reckoning.unit or ("h" if hours else "km"))


def explain_visit(book: Book, visit: Visit, explained: Explained, digits: int | None) -> None:
    """Write down why the meter showed less at this visit: that it rolled over, or was replaced.

    In the vehicle's own history, if the engine is in one; else in the visit's note, where it can be read.
    """
    reading, unit = visit.meter_reading, visit.meter_unit
    if reading is None or unit is None:
        raise InputError(say("only a reading of the meter can be explained; this visit has none"))
    stays = [f for f in book.fitments(visit.engine_id) if f.day is None or f.day <= visit.day]
    vehicle_id = stays[-1].vehicle_id if stays else None
    if vehicle_id is None:
        said = "The meter rolled over." if explained == "rolled over" else "The meter was replaced."
        book.change_visit(visit.id, {"note": f"{visit.note} {said}".strip()})
    elif explained == "rolled over":
        book.note_reading(
            MeterReading(
                vehicle_id=vehicle_id,
                visit_id=visit.id,
                day=visit.day,
                reading=reading,
                unit=unit,
                turned_over=1,
                by=visit.by,
                at=visit.opened_at,
            )
        )
    else:
        book.add_instrument(
            Instrument(
                vehicle_id=vehicle_id,
                how="replaced",
                unit=unit,
                digits=digits,
                day=visit.day,
                by=visit.by,
                id=instrument_of(visit.id),
                at=visit.opened_at,
            )
        )


def discard_visit(book: Book, visit_id: str, reason: str = "") -> Visit:
    """Put a visit aside, and take back what was written of the vehicle's meter on its account. Raises InputError."""
    why = reason or "the visit was put aside"
    with book.transaction():
        visit = book.discard_visit(visit_id, reason=reason)
        if visit.meter_reading is None:
            return visit
        for vehicle in {f.vehicle_id for f in book.fitments(visit.engine_id) if f.vehicle_id}:
            metered = book.metered(vehicle)
            for noted in metered.readings:
                if noted.visit_id == visit.id and noted.id is not None:
                    book.take_back(MeterReading, noted.id, why)
            for instrument in metered.instruments:
                if instrument.id == instrument_of(visit.id):
                    book.take_back(Instrument, instrument.id, why)
        return visit


def instrument_of(visit_id: str) -> str:
    """The id of the instrument that was written down on account of a visit."""
    return str(uuid.uuid5(uuid.UUID(visit_id), "instrument"))


# --- vehicles ---------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Odometer:
    """A vehicle's instrument of one kind: where it stands, everything written of it, and what does not add up."""

    vehicle: str
    reckoning: Reckoning
    unit: Meter
    digits: int | None
    instruments: tuple[Instrument, ...]
    readings: tuple[MeterReading, ...]
    questions: tuple[Question, ...]


def odometer(book: Book, vehicle: str, unit: Meter | None = None, day: date | None = None) -> Odometer:
    """A vehicle's odometer, or (``unit`` "h") its hour meter, up to ``day``. Raises InputError."""
    metered = book.metered(vehicle)
    hours = unit == "h" if unit is not None else metered.vehicle.meter == "h"
    if not metered.has(hours):
        name = metered.vehicle.name
        if hours:
            raise InputError(
                say("{name} has no hour meter in this book; write down one with --first", name=name)
            )
        raise InputError(say("{name} has no odometer in this book; write down one with --first", name=name))
    events = book.vehicle_running(metered.vehicle.id, hours=hours)
    reckoning = reckon(until(events, day)[0] if day is not None else events)
    whole = reckon(events)
    return Odometer(
        vehicle=metered.vehicle.name,
        reckoning=reckoning,
        unit=reckoning.unit or metered.vehicle.meter,
        digits=reckoning.digits,
        instruments=metered.line(hours),
        readings=tuple(r for r in metered.readings if (r.unit == "h") == hours),
        questions=whole.questions,
    )


def note_odometer(
    book: Book,
    vehicle: str,
    reading: float,
    day: date,
    *,
    unit: Meter | None = None,
    rolled_over: bool = False,
    note: str = "",
    by: str | None = None,
) -> MeterReading:
    """Write what a vehicle's instrument showed on ``day``, in its own unit.

    Raises MeterWentBackError when it went back and nobody said why, InputError.
    """
    now = odometer(book, vehicle, unit, day)
    shown = thousandths(reading)
    now.reckoning.distance_at(shown, "rolled over" if rolled_over else None)
    return book.note_reading(
        MeterReading(
            vehicle_id=book.vehicle(vehicle).id,
            day=day,
            reading=shown,
            unit=now.unit,
            turned_over=1 if rolled_over else 0,
            note=note,
            by=by,
        )
    )


def change_instrument(
    book: Book,
    vehicle: str,
    how: str,
    day: date,
    *,
    reading: float | None = None,
    old_reading: float | None = None,
    unit: Meter | None = None,
    digits: int | None = None,
    note: str = "",
    by: str | None = None,
) -> Instrument:
    """Write that a vehicle's instrument was replaced or repaired, or that it has a ``first`` one of another kind.

    ``unit`` and ``digits`` None = those of the one before. Raises InputError.
    """
    kept = book.metered(vehicle)
    if how not in ("first", "replaced", "repaired"):
        raise InputError(say("an instrument is replaced, repaired or the first, not {how!r}", how=how))
    hours = unit == "h" if unit is not None else kept.vehicle.meter == "h"
    line = kept.line(hours)
    if how != "first" and not line:
        raise InputError(
            say("{name} has no such instrument yet; write down its first one", name=kept.vehicle.name)
        )
    if how == "first" and line:
        raise InputError(
            say(
                "{name} has one already, which counts {unit}; was it replaced?",
                name=kept.vehicle.name,
                unit=line[-1].unit,
            )
        )
    if old_reading is not None:
        odometer(book, vehicle, unit, day).reckoning.distance_at(thousandths(old_reading))
    return book.add_instrument(
        Instrument(
            vehicle_id=kept.vehicle.id,
            how="first" if how == "first" else "replaced" if how == "replaced" else "repaired",
            unit=unit or (line[-1].unit if line else kept.vehicle.meter),
            digits=digits if digits is not None or not line else line[-1].digits,
            day=day,
            reading=None if reading is None else thousandths(reading),
            old_reading=None if old_reading is None else thousandths(old_reading),
            note=note,
            by=by,
        )
    )


def fit(
    book: Book,
    engine_name: str,
    engine: Engine,
    vehicle: str | None,
    day: date,
    *,
    meter: float | None = None,
    distance_km: float | None = None,
    note: str = "",
    by: str | None = None,
) -> EngineEntry:
    """Put an engine into a vehicle on ``day``, or take it out of the one it is in (None).

    ``meter``: what the meter of that vehicle showed then (of the one it leaves, when it is taken out). ``distance_km``:
    the engine's own distance then, if it is known otherwise. Raises MeterWentBackError, InputError.
    """
    unit: Meter | None = None
    if meter is not None and vehicle is None:
        now = metering(book, engine_name, engine, day)
        unit = now.unit
        now.distance_m(thousandths(meter))
    elif meter is not None and vehicle is not None:
        kept = book.metered(vehicle)
        hours = engine.service.meter == "h" or not kept.has(hours=False)
        unit = odometer(book, vehicle, "h" if hours else None, day).unit if kept.has(hours) else "h"
    return book.fit_engine(
        engine_name,
        vehicle,
        day=day,
        meter_reading=None if meter is None else thousandths(meter),
        meter_unit=unit,
        distance_m=None if distance_km is None else round(distance_km * 1000),
        note=note,
        by=by,
    )


def stays(book: Book, engine_name: str) -> tuple[Fitment, ...]:
    """Where an engine was, first to last."""
    return book.fitments(engine_name)


def thousandths(reading: float) -> int:
    """A reading as the book keeps it. Raises InputError for less than nothing or no number."""
    if not 0 <= reading < 1e7:
        raise InputError(
            say("a meter shows 0 or more, less than 10 million; not {reading:g}", reading=reading)
        )
    return round(reading * 1000)


def reading_words(entry: Instrument | MeterReading | Fitment, vehicles: dict[str, str] | None = None) -> str:
    """One of these in words, its day left out."""
    if isinstance(entry, MeterReading):
        showed = {"reading": told(entry.reading), "unit": entry.unit}
        if not entry.turned_over:
            return say("showed {reading} {unit}", **showed)
        return plural(
            "showed {reading} {unit}, rolled over",
            "showed {reading} {unit}, rolled over {n} times",
            entry.turned_over,
            **showed,
        )
    if isinstance(entry, Fitment):
        vehicle = (vehicles or {}).get(entry.vehicle_id or "", say("another vehicle"))
        if entry.meter_reading is None:
            return say("taken out") if entry.vehicle_id is None else say("in {vehicle}", vehicle=vehicle)
        shown = {"reading": told(entry.meter_reading), "unit": entry.meter_unit}
        if entry.vehicle_id is None:
            return say("taken out, the meter showing {reading} {unit}", **shown)
        return say("in {vehicle}, the meter showing {reading} {unit}", vehicle=vehicle, **shown)
    parts = [table(_HOW[entry.how]), say("counts {unit}", unit=entry.unit)]
    if entry.digits is not None:
        parts.append(say("{digits} digits", digits=entry.digits))
    if entry.reading is not None:
        parts.append(say("began at {reading}", reading=told(entry.reading)))
    words = ", ".join(parts)
    if entry.old_reading is None:
        return words
    return say("{words}; the one before showed {reading}", words=words, reading=told(entry.old_reading))


_HOW = {"first": mark("first one"), "replaced": mark("another one"), "repaired": mark("repaired")}


def question_words(questions: tuple[Question, ...]) -> tuple[str, ...]:
    """What does not add up, each with its day."""
    return tuple(
        say("{day}: {question}.", day=q.day, question=q.text)
        if q.day
        else say("{question}.", question=q.text)
        for q in questions
    )
