"""Put the demo's engines and visits into a book."""

from __future__ import annotations

import itertools
from collections.abc import Iterator
from datetime import date
from pathlib import Path

from coldlash.demo.generate import DemoEngine, DemoReading, DemoVisit, generate
from coldlash.desk.desk import Desk
from coldlash.desk.engines import engine_from_text
from coldlash.desk.work import add_work
from coldlash.errors import InputError
from coldlash.logbook.bookfile import file_of
from coldlash.logbook.lasting import MeterReading
from coldlash.logbook.opening import is_server
from coldlash.logbook.paths import data_folder, default_book
from coldlash.logbook.records import Meter, NewReading, NewVisit, PastVisit
from coldlash.units import m_from_km

DEMO_SETTING = "demo_until"
MUSEUM_BLADES = {"van": "workshop fine", "pump": "workshop", "tender": "workshop"}
_METERS: dict[str, Meter] = {"km": "km", "h": "h"}


def fill(desk: Desk, engines: tuple[DemoEngine, ...]) -> None:
    """Write everything in one go; the book must be empty of these names. Raises InputError, BookError."""
    with desk.book.transaction():
        kept: set[str] = set()
        for demo in engines:
            name = MUSEUM_BLADES[demo.key]
            if name not in kept:
                desk.book.add_blade_set(name, unit="mm", blades_um=demo.blades_um)
                kept.add(name)
            vehicle = desk.book.add_vehicle(demo.vehicle, meter=_METERS[demo.meter], meter_digits=demo.digits)
            entry = desk.add_engine(engine_from_text(demo.text, demo.key), vehicle=demo.vehicle)
            visits = tuple(_past(visit, demo) for visit in demo.visits)
            ids = desk.book.add_past_visits(demo.engine.name, visits)
            _roll_over(desk, demo, vehicle.id, ids)
            for work in demo.work:
                add_work(
                    desk.book, entry, demo.engine, work.part, work.kind, day=demo.visits[work.visit].day,
                    visit_id=ids[work.visit], cylinders=work.cylinders,
                )  # fmt: skip


def _roll_over(desk: Desk, demo: DemoEngine, vehicle_id: str, ids: tuple[str, ...]) -> None:
    """Say of the visits at which the meter showed less than before that it had rolled over."""
    for (before, now), visit_id in zip(itertools.pairwise(demo.visits), ids[1:], strict=True):
        turned = _turns(now, demo) - _turns(before, demo)
        if turned:
            desk.book.note_reading(
                MeterReading(
                    vehicle_id=vehicle_id, visit_id=visit_id, day=now.day, reading=_shown(now, demo),
                    unit=_METERS[demo.meter], turned_over=turned, at=_at(now),
                )
            )  # fmt: skip


def _turns(visit: DemoVisit, demo: DemoEngine) -> int:
    return int(_run(visit, demo) / float(10**demo.digits))


def _run(visit: DemoVisit, demo: DemoEngine) -> float:
    return demo.meter_start + (visit.hours if visit.hours is not None else visit.distance_km)


def _shown(visit: DemoVisit, demo: DemoEngine) -> int:
    return round(_run(visit, demo) * 1000) % int(1000 * 10**demo.digits)


def _at(visit: DemoVisit) -> str:
    return f"{visit.day.isoformat()}T15:00:00Z"


def _past(visit: DemoVisit, demo: DemoEngine) -> PastVisit:
    new = NewVisit(
        day=visit.day,
        distance_m=m_from_km(visit.distance_km),
        engine_temp_mc=round(visit.temp_c * 1000),
        meter_reading=_shown(visit, demo),
        meter_unit=_METERS[demo.meter],
        by=visit.by,
        blades_um=demo.blades_um,
        note=visit.note,
        at=_at(visit),
    )
    readings = tuple(part for reading in visit.readings for part in _readings(reading))
    return PastVisit(visit=new, readings=readings)


def _readings(reading: DemoReading) -> Iterator[NewReading]:
    valve = reading.valve
    yield NewReading(
        valve=valve, step="found", go_um=reading.go_um, nogo_um=reading.nogo_um, note=reading.note
    )
    if reading.set_um is not None:
        yield NewReading(valve=valve, step="set", blade_um=reading.set_um)
    if reading.left_go_um is not None:
        yield NewReading(valve=valve, step="left", go_um=reading.left_go_um, nogo_um=reading.left_nogo_um)


def make_demo(ref: str | None, until: date, seed: int | None = None, *, anew: bool = False) -> Path:
    """Make the demo book. ``anew``: an earlier demo book at that place is made again; another book never is.

    Raises InputError when a book is there already, BookError when it can't be written.
    """
    own = default_book()
    beside = data_folder() if is_server(own) else file_of(own).parent
    path = file_of(ref) if ref is not None else beside / "demo.coldlash"
    if path.exists() and anew and _is_demo(path):
        for name in (path.name, f"{path.name}-wal", f"{path.name}-shm"):
            path.with_name(name).unlink(missing_ok=True)
    if path.exists():
        raise InputError(f"{path} is there already and stays as it is; choose another name with --book")
    path.parent.mkdir(parents=True, exist_ok=True)
    engines = generate(until) if seed is None else generate(until, seed)
    with Desk.open(str(path), create=True) as desk:
        fill(desk, engines)
        desk.book.set_setting(DEMO_SETTING, until.isoformat())
        desk.learnt()
    return path


def _is_demo(path: Path) -> bool:
    with Desk.open(str(path)) as desk:
        return DEMO_SETTING in desk.book.settings()
