"""Vehicles over the years: their instruments, what those showed, which engine sat in which. A part of the book."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from typing import TypeVar

from sqlalchemy import ColumnElement, Connection, select

from coldlash.errors import InputError
from coldlash.language import say
from coldlash.logbook import lasting
from coldlash.logbook import models as m
from coldlash.logbook.distance import (
    Event,
    Metered,
    Reckoning,
    reckon,
    timeline,
    vehicle_on,
    vehicle_timeline,
)
from coldlash.logbook.lasting import Fitment, Instrument, MeterReading
from coldlash.logbook.records import EngineEntry, Meter, Vehicle
from coldlash.logbook.shed import Shed, find
from coldlash.logbook.visit_rows import load, one_visit

Entry = TypeVar("Entry", Instrument, MeterReading, Fitment)


class Fleet(Shed):
    """Instruments, readings of them, fitments."""

    # --- looking ----------------------------------------------------------------------------------------

    def metered(self, vehicle: str) -> Metered:
        """A vehicle with its instruments and their readings, as they stand. Raises InputError."""
        with self._file.reading() as connection:
            return self._metered(connection, self.vehicle(vehicle))

    def _metered(self, connection: Connection, vehicle: Vehicle) -> Metered:
        return Metered(
            vehicle=vehicle,
            instruments=lasting.standing(connection, Instrument, m.instruments.c.vehicle_id == vehicle.id),
            readings=lasting.standing(
                connection, MeterReading, m.instrument_readings.c.vehicle_id == vehicle.id
            ),
        )

    def fitments(self, engine: str | None = None, *, everything: bool = False) -> tuple[Fitment, ...]:
        """Where an engine (or each of all) was, first to last. ``everything``: corrected ones too."""
        with self._file.reading() as connection:
            wanted: list[ColumnElement[bool]] = []
            if engine is not None:
                wanted.append(m.fitments.c.engine_id == find(connection, m.engines, engine, "engine")["id"])
            return lasting.standing(connection, Fitment, *wanted, everything=everything)

    def running(self, engine: str, *, hours: bool = False) -> tuple[Event, ...]:
        """What happened to an engine's instruments, in order, for ``distance.reckon``: closed visits, notes, fitments.

        ``hours``: it is counted by an hour meter. Raises InputError.
        """
        with self._file.reading() as connection:
            engine_id = find(connection, m.engines, engine, "engine")["id"]
            fitments = lasting.standing(connection, Fitment, m.fitments.c.engine_id == engine_id)
            vehicles = {
                id: self._metered(connection, self.vehicle(id))
                for id in dict.fromkeys(f.vehicle_id for f in fitments if f.vehicle_id)
            }
            wanted = (m.visits.c.engine_id == engine_id) & (m.visits.c.state == "closed")
            return timeline(fitments, vehicles, load(connection, wanted, readings=False), hours=hours)

    def vehicle_running(self, vehicle: str, *, hours: bool = False) -> tuple[Event, ...]:
        """What happened to a vehicle's own odometer (or hour meter), in order: notes, changes, visits of its engines.

        Raises InputError.
        """
        with self._file.reading() as connection:
            metered = self._metered(connection, self.vehicle(vehicle))
            id = metered.vehicle.id
            there = lasting.standing(connection, Fitment, m.fitments.c.vehicle_id == id)
            engines = {fitment.engine_id for fitment in there}
            wanted = m.visits.c.engine_id.in_(engines) & (m.visits.c.state == "closed")
            moves = {e: lasting.standing(connection, Fitment, m.fitments.c.engine_id == e) for e in engines}
            visits = [
                visit
                for visit in load(connection, wanted, readings=False)
                if vehicle_on(moves[visit.engine_id], visit.day) == id
            ]
            return vehicle_timeline(metered, visits, hours=hours)

    def reckoned(self, engine: str, *, hours: bool = False, km_per_h: float = 50.0) -> Reckoning:
        """An engine's own distance as the book has it now. Raises InputError."""
        return reckon(self.running(engine, hours=hours), km_per_h)

    # --- writing ----------------------------------------------------------------------------------------

    def add_instrument(self, instrument: Instrument) -> Instrument:
        """Write that a vehicle got another instrument, or had it repaired. Raises InputError, BookError."""
        with self._file.writing() as connection:
            self._check_ids(connection, vehicle_id=instrument.vehicle_id)
            return lasting.add(connection, instrument, self._at(instrument.at))

    def note_reading(self, reading: MeterReading) -> MeterReading:
        """Write what a vehicle's instrument showed. Raises InputError, BookError."""
        with self._file.writing() as connection:
            self._check_ids(connection, vehicle_id=reading.vehicle_id, visit_id=reading.visit_id)
            return lasting.add(connection, reading, self._at(reading.at))

    def fit_engine(
        self,
        engine: str,
        vehicle: str | None,
        *,
        day: date | None = None,
        meter_reading: int | None = None,
        meter_unit: Meter | None = None,
        distance_m: int | None = None,
        note: str = "",
        by: str | None = None,
        id: str | None = None,
        at: str | None = None,
    ) -> EngineEntry:
        """Put an engine into a vehicle, or take it out (None), on a day.

        ``day`` None = today by the book's clock; for an engine that was in no vehicle yet and has no visits: since
        before the book. Raises InputError, BookError.
        """
        with self._file.writing() as connection:
            row = find(connection, m.engines, engine, "engine")
            vehicle_id = None if vehicle is None else find(connection, m.vehicles, vehicle, "vehicle")["id"]
            before = lasting.standing(connection, Fitment, m.fitments.c.engine_id == row["id"])
            when = self._at(at)
            if day is None and (before or vehicle_id is None or self._has_visits(connection, row["id"])):
                day = date.fromisoformat(when[:10])
            fitment = Fitment(
                engine_id=row["id"],
                vehicle_id=vehicle_id,
                day=day,
                meter_reading=meter_reading,
                meter_unit=meter_unit,
                distance_m=distance_m,
                note=note,
                by=by,
                id=id,
            )
            kept = id is not None and any(there.id == fitment.id for there in before)
            if not kept and before and before[-1].vehicle_id == vehicle_id:
                return self._entry_of(connection, row["id"])
            if before and not kept and (before[-1].day or date.min) > (day or date.min):
                raise InputError(
                    say(
                        "{name} was moved on {day} already; an earlier move is a correction of that",
                        name=row["name"],
                        day=before[-1].day,
                    )
                )
            lasting.add(connection, fitment, when)
            self._settle_vehicle(connection, row["id"])
            return self._entry_of(connection, row["id"])

    def correct(self, entry: Entry) -> Entry:
        """Write a correction (``replaces``, ``reason``) or a withdrawal of one of these.

        Raises InputError, BookError.
        """
        if entry.replaces is None:
            raise InputError(say("a correction must name the entry it replaces"))
        with self._file.writing() as connection:
            self._check_ids(connection, vehicle_id=entry.vehicle_id)
            kept = lasting.add(connection, entry, self._at(entry.at))
            if isinstance(kept, Fitment):
                self._settle_vehicle(connection, kept.engine_id)
            return kept

    def take_back(self, kind: type[Entry], id: str, reason: str) -> Entry:
        """Withdraw one of these by its id; it stays to be seen. Raises InputError, BookError."""
        with self._file.writing() as connection:
            old = lasting.one(connection, kind, id)
            return self.correct(
                replace(old, id=None, at=None, seq=0, replaces=old.id, reason=reason, withdrawn=True)
            )

    def _settle_vehicle(self, connection: Connection, engine_id: str) -> None:
        """The vehicle an engine is in now stands in its own row, for lists."""
        now = lasting.standing(connection, Fitment, m.fitments.c.engine_id == engine_id)
        vehicle_id = now[-1].vehicle_id if now else None
        connection.execute(
            m.engines.update().where(m.engines.c.id == engine_id).values(vehicle_id=vehicle_id)
        )

    def _has_visits(self, connection: Connection, engine_id: str) -> bool:
        one = select(m.visits.c.id).where(m.visits.c.engine_id == engine_id).limit(1)
        return connection.execute(one).first() is not None

    def _check_ids(
        self, connection: Connection, *, vehicle_id: str | None = None, visit_id: str | None = None
    ) -> None:
        if vehicle_id is not None:
            find(connection, m.vehicles, vehicle_id, "vehicle")
        if visit_id is not None:
            one_visit(connection, visit_id)
