"""coldlash odometer and fit: what a vehicle's meter shows over the years, and which engine sits in which vehicle."""

from __future__ import annotations

import argparse
from datetime import date
from typing import TYPE_CHECKING

from coldlash.cli.arguments import book_option, command, day, number
from coldlash.cli.output import out, put_json, tell
from coldlash.errors import InputError, MeterWentBackError
from coldlash.language import day as in_words
from coldlash.language import say
from coldlash.logbook.telling import label

if TYPE_CHECKING:
    from coldlash.desk.running import Odometer
    from coldlash.logbook.lasting import Instrument, MeterReading


def add(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add these commands."""
    meter = command(
        commands,
        "odometer",
        say("write down what a vehicle's meter shows, or what became of it"),
        _odometer,
    )
    meter.add_argument("vehicle", metavar="VEHICLE", help=say("the vehicle's name in the book"))
    meter.add_argument(
        "reading",
        metavar="READING",
        nargs="?",
        type=number("READING"),
        help=say("what it shows; without one: its story"),
    )
    meter.add_argument("--on", type=day, metavar="DATE", default=None, help=say("the day; default today"))
    meter.add_argument(
        "--rolled-over", action="store_true", help=say("it rolled over since the reading before")
    )
    changed = meter.add_mutually_exclusive_group()
    changed.add_argument(
        "--replaced",
        action="store_true",
        help=say("it was replaced; READING is what the new one showed, default 0"),
    )
    changed.add_argument(
        "--repaired", action="store_true", help=say("it was repaired; READING is what it showed afterwards")
    )
    changed.add_argument("--first", action="store_true", help=say("the vehicle has one of this kind as well"))
    meter.add_argument(
        "--old",
        type=number("--old"),
        metavar="READING",
        help=say("what the old one showed last, if that is known"),
    )
    meter.add_argument(
        "--unit",
        choices=("km", "mile", "h"),
        help=say("what it counts; default: as before (h: the hour meter is meant)"),
    )
    meter.add_argument("--digits", type=int, help=say("whole digits it shows"))
    meter.add_argument("--who", metavar="NAME", help=say("who read it"))
    meter.add_argument("--note", default="", help=say("anything worth keeping"))
    book_option(meter)

    fit = command(commands, "fit", say("put an engine into a vehicle, or take it out"), _fit)
    fit.add_argument("engine", metavar="ENGINE_NAME", help=say("the engine's name in the book"))
    fit.add_argument(
        "vehicle", metavar="VEHICLE", nargs="?", help=say("the vehicle; without one: where it has been")
    )
    fit.add_argument("--out", action="store_true", help=say("it was taken out of the vehicle it is in"))
    fit.add_argument("--on", type=day, metavar="DATE", default=None, help=say("the day; default today"))
    fit.add_argument(
        "--meter",
        type=number("--meter"),
        metavar="READING",
        help=say("what that vehicle's meter showed then"),
    )
    fit.add_argument(
        "--distance",
        type=number("--distance"),
        metavar="KM",
        help=say("the engine's own distance then, if known"),
    )
    fit.add_argument("--who", metavar="NAME", help=say("whose hands"))
    fit.add_argument("--note", default="", help=say("anything worth keeping"))
    book_option(fit)


def _odometer(arguments: argparse.Namespace) -> None:
    from coldlash.desk import running
    from coldlash.desk.desk import Desk

    when = arguments.on or date.today()  # noqa: DTZ011  (the owner's own calendar day)
    how = "replaced" if arguments.replaced else "repaired" if arguments.repaired else ""
    how = "first" if arguments.first else how
    if arguments.old is not None and how not in ("replaced", "repaired"):
        raise InputError(say("--old: what the old one showed belongs to --replaced or --repaired"))
    if arguments.digits is not None and not how:
        raise InputError(say("--digits: belongs to --first, --replaced or --repaired"))
    if arguments.rolled_over and (how or arguments.reading is None):
        raise InputError(say("--rolled-over: give the reading after it rolled over"))
    with Desk.open(arguments.book) as desk:
        book = desk.book
        if how:
            changed = running.change_instrument(
                book, arguments.vehicle, how, when, reading=arguments.reading, old_reading=arguments.old,
                unit=arguments.unit, digits=arguments.digits, note=arguments.note, by=arguments.who,
            )  # fmt: skip
            written: Instrument | MeterReading | None = changed
        elif arguments.reading is not None:
            try:
                noted = running.note_odometer(
                    book, arguments.vehicle, arguments.reading, when, unit=arguments.unit,
                    rolled_over=arguments.rolled_over, note=arguments.note, by=arguments.who,
                )  # fmt: skip
            except MeterWentBackError as error:
                raise InputError(
                    say("{error}. Say which: --rolled-over, or --replaced", error=error)
                ) from None
            written = noted
        else:
            written = None
        now = running.odometer(book, arguments.vehicle, arguments.unit)
    if arguments.json:
        put_json(_odometer_json(now))
        return
    if written is not None:
        out(
            say(
                "{vehicle}, {day}: {words}.",
                vehicle=now.vehicle,
                day=when,
                words=running.reading_words(written),
            )
        )
    else:
        _story(now)


def _odometer_json(now: Odometer) -> dict[str, object]:
    shown = now.reckoning.reading
    return {
        "vehicle": now.vehicle,
        "unit": now.unit,
        "digits": now.digits,
        "shows": None if shown is None else shown / 1000,
        "instruments": [
            {
                "how": i.how,
                "day": None if i.day is None else i.day.isoformat(),
                "unit": i.unit,
                "digits": i.digits,
                "reading": None if i.reading is None else i.reading / 1000,
                "old_reading": None if i.old_reading is None else i.old_reading / 1000,
                "note": i.note,
            }
            for i in now.instruments
        ],
        "readings": [
            {
                "id": r.id,
                "day": r.day.isoformat(),
                "reading": r.reading / 1000,
                "unit": r.unit,
                "rolled_over": r.turned_over,
                "note": r.note,
            }
            for r in now.readings
        ],
        "questions": [
            {"day": None if q.day is None else q.day.isoformat(), "text": q.text} for q in now.questions
        ],
    }


def _story(now: Odometer) -> None:
    from coldlash.desk.running import question_words, reading_words

    shown = now.reckoning.reading
    if shown is None:
        out(say("{vehicle}: not read yet", vehicle=now.vehicle))
    else:
        out(
            say(
                "{vehicle}: showed {reading:g} {unit} last",
                vehicle=now.vehicle,
                reading=shown / 1000,
                unit=label(now.unit),
            )
        )
    entries = [(i.day, reading_words(i), i.note) for i in now.instruments]
    entries += [(r.day, reading_words(r), r.note) for r in now.readings]
    for on, words, note in sorted(entries, key=lambda each: each[0] or date.min):
        since = in_words(on) if on else say("at first").ljust(10)
        tell(f"  {since}  {words}" + (f" ({note})" if note else ""))
    for question in question_words(now.questions):
        tell(f"! {question}")


def _fit(arguments: argparse.Namespace) -> None:
    from coldlash.desk import running
    from coldlash.desk.desk import Desk

    when = arguments.on or date.today()  # noqa: DTZ011  (the owner's own calendar day)
    if arguments.out and arguments.vehicle is not None:
        raise InputError(
            say("--out takes the engine out of the vehicle it is in; leave the vehicle's name away")
        )
    with Desk.open(arguments.book) as desk:
        entry, engine = desk.engine(arguments.engine)
        names = {vehicle.id: vehicle.name for vehicle in desk.book.vehicles()}
        if arguments.out or arguments.vehicle is not None:
            vehicle = arguments.vehicle
            entry = running.fit(
                desk.book, entry.name, engine, vehicle, when, meter=arguments.meter, distance_km=arguments.distance,
                note=arguments.note, by=arguments.who,
            )  # fmt: skip
        stays = desk.book.fitments(entry.name)
        now = running.metering(desk.book, entry.name, engine)
    if arguments.json:
        put_json(
            {
                "engine": entry.name,
                "vehicle": names.get(entry.vehicle_id or ""),
                "distance_km": now.reckoning.distance_m / 1000,
                "stays": [
                    {
                        "day": None if stay.day is None else stay.day.isoformat(),
                        "vehicle": names.get(stay.vehicle_id or ""),
                        "meter": None if stay.meter_reading is None else stay.meter_reading / 1000,
                        "meter_unit": stay.meter_unit,
                    }
                    for stay in stays
                ],
                "questions": [q.text for q in now.reckoning.questions],
            }
        )
        return
    where = names.get(entry.vehicle_id or "", "")
    km = now.reckoning.distance_m / 1000
    if where:
        out(say("{engine} is in {vehicle}; it has run {km:g} km.", engine=entry.name, vehicle=where, km=km))
    else:
        out(say("{engine} is in no vehicle; it has run {km:g} km.", engine=entry.name, km=km))
    for stay in stays:
        since = in_words(stay.day) if stay.day else say("since before the book")
        tell(f"  {since}  {running.reading_words(stay, names)}" + (f" ({stay.note})" if stay.note else ""))
    for question in running.question_words(now.reckoning.questions):
        tell(f"! {question}")
