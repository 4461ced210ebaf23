"""A book with a few engines and visits, for tests of what the desk prints."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta

from coldlash.desk.desk import Desk
from coldlash.desk.engines import load_engine
from coldlash.engine.spec import Valve
from coldlash.logbook.records import NewReading, NewVisit, PastVisit

NOON = datetime(2026, 5, 31, 12, tzinfo=UTC)
TODAY = NOON.date()
VAN = "Delivery van's engine"


def open_desk(path) -> Desk:
    """A desk over a new book whose clock stands still."""
    return Desk.open(str(path), create=True, now=lambda: NOON)


def past(
    engine,
    day: date,
    km: float,
    go_um: int = 100,
    *,
    note: str = "",
    set_again: tuple[str, ...] = (),
    skip=(),
):
    """One closed visit; every valve found between ``go_um`` and 50 um more, but those to skip."""
    readings = []
    for valve in engine.valves:
        if str(valve) in skip:
            continue
        readings.append(NewReading(valve=valve, step="found", go_um=go_um, nogo_um=go_um + 50))
        if str(valve) in set_again:
            readings.append(NewReading(valve=valve, step="set", blade_um=150))
    new = NewVisit(
        day=day,
        distance_m=round(km * 1000),
        engine_temp_mc=14_500,
        meter_reading=round(km * 1000),
        meter_unit="km",
        by="Oona",
        blades_um=(50, 100, 150, 200, 250, 300),
        note=note,
        at=f"{day.isoformat()}T15:00:00Z",
    )
    return PastVisit(visit=new, readings=tuple(readings))


def fill(desk: Desk, visits: int = 4) -> None:
    """One engine with yearly visits of 4000 km each, the last a year and ten days ago."""
    loaded = load_engine("flat-four")
    desk.book.add_vehicle("Delivery van", meter="km")
    desk.add_engine(loaded, VAN, "Delivery van")
    last = TODAY - timedelta(days=100)
    days = [last - timedelta(days=365 * (visits - 1 - i)) for i in range(visits)]
    desk.book.add_past_visits(
        VAN,
        tuple(
            past(
                loaded.engine, day, 4000.0 * (i + 1), note="New gaskets." if i == 1 else "", set_again=("E3",)
            )
            for i, day in enumerate(days)
        ),
    )


E3 = Valve("E", 3)
