"""The tables of the book. Rules that must never be broken stand here, in the database itself.

The migrations make the tables; a test proves that they make exactly these. Readings and changes are only ever
added: triggers refuse to alter or delete them. Each (visit, valve, step) has one chain of readings: one first
row, and each row is replaced at most once by a row of the same visit, valve and step. So exactly one row stands.
"""

from __future__ import annotations

from sqlalchemy import (
    CheckConstraint,
    Column,
    ForeignKey,
    ForeignKeyConstraint,
    Index,
    MetaData,
    Table,
    UniqueConstraint,
    text,
)

from coldlash.logbook.columns import Flag, Numbers, Whole, Words

APPLICATION_ID = 0x636C6173
"""Marks a SQLite file as a coldlash book ("clas" in ASCII)."""

metadata = MetaData(
    naming_convention={
        "pk": "pk_%(table_name)s",
        "uq": "uq_%(table_name)s_%(column_0_N_name)s",
        "fk": "fk_%(table_name)s_%(column_0_N_name)s",
        "ck": "ck_%(table_name)s_%(constraint_name)s",
        "ix": "ix_%(table_name)s_%(column_0_N_name)s",
    }
)

TIME_LIKE = "____-__-__T__:__:__.___Z"
DAY_LIKE = "____-__-__"


def _id() -> Column[str]:
    return Column("id", Words, primary_key=True, nullable=False)


def _uuid(column: str = "id") -> CheckConstraint:
    return CheckConstraint(f"length({column}) = 36", name=column)


def _time(column: str) -> CheckConstraint:
    return CheckConstraint(f"{column} LIKE '{TIME_LIKE}'", name=column)


settings = Table(
    "settings",
    metadata,
    Column("key", Words, primary_key=True, nullable=False),
    Column("value", Words, nullable=False),
    sqlite_strict=True,
)

vehicles = Table(
    "vehicles",
    metadata,
    _id(),
    Column("name", Words, nullable=False),
    Column("name_key", Words, nullable=False, unique=True),
    Column("meter", Words, nullable=False),
    Column("meter_digits", Whole),
    Column("note", Words, nullable=False),
    _uuid(),
    CheckConstraint("length(name) BETWEEN 1 AND 200", name="name"),
    CheckConstraint("meter IN ('km', 'mile', 'h')", name="meter"),
    CheckConstraint("meter_digits BETWEEN 3 AND 9", name="meter_digits"),
    sqlite_strict=True,
)

engines = Table(
    "engines",
    metadata,
    _id(),
    Column("name", Words, nullable=False),
    Column("name_key", Words, nullable=False, unique=True),
    Column("vehicle_id", Words, ForeignKey("vehicles.id")),
    Column("created", Words, nullable=False),
    _uuid(),
    CheckConstraint("length(name) BETWEEN 1 AND 200", name="name"),
    _time("created"),
    sqlite_strict=True,
)

engine_files = Table(
    "engine_files",
    metadata,
    _id(),
    Column("engine_id", Words, ForeignKey("engines.id"), nullable=False),
    Column("version", Whole, nullable=False),
    Column("toml", Words, nullable=False),
    Column("tables", Words, nullable=False),
    Column("since", Words, nullable=False),
    UniqueConstraint("engine_id", "version"),
    UniqueConstraint("engine_id", "id"),
    _uuid(),
    CheckConstraint("version >= 1", name="version"),
    _time("since"),
    sqlite_strict=True,
)

blade_sets = Table(
    "blade_sets",
    metadata,
    _id(),
    Column("name", Words, nullable=False),
    Column("name_key", Words, nullable=False, unique=True),
    Column("unit", Words, nullable=False),
    Column("blades_um", Numbers, nullable=False),
    Column("stacks_of", Whole, nullable=False),
    _uuid(),
    CheckConstraint("length(name) BETWEEN 1 AND 200", name="name"),
    CheckConstraint("unit IN ('mm', 'in')", name="unit"),
    CheckConstraint("stacks_of IN (1, 2)", name="stacks_of"),
    sqlite_strict=True,
)

visits = Table(
    "visits",
    metadata,
    _id(),
    Column("engine_id", Words, ForeignKey("engines.id"), nullable=False),
    Column("engine_file_id", Words, nullable=False),
    Column("day", Words, nullable=False),
    Column("distance_m", Whole, nullable=False),
    Column("engine_temp_mc", Whole),
    Column("air_temp_mc", Whole),
    Column("meter_reading", Whole),
    Column("meter_unit", Words),
    Column("by", Words),
    Column("blades_um", Numbers, nullable=False),
    Column("plan", Words, nullable=False),
    Column("place", Words, nullable=False),
    Column("note", Words, nullable=False),
    Column("state", Words, nullable=False),
    Column("opened_at", Words, nullable=False),
    Column("closed_at", Words),
    ForeignKeyConstraint(["engine_id", "engine_file_id"], ["engine_files.engine_id", "engine_files.id"]),
    _uuid(),
    CheckConstraint(f"day LIKE '{DAY_LIKE}'", name="day"),
    CheckConstraint("distance_m BETWEEN 0 AND 10000000000", name="distance_m"),
    CheckConstraint("engine_temp_mc BETWEEN -60000 AND 400000", name="engine_temp_mc"),
    CheckConstraint("air_temp_mc BETWEEN -60000 AND 400000", name="air_temp_mc"),
    CheckConstraint(
        "(meter_reading IS NULL) = (meter_unit IS NULL) AND (meter_reading IS NULL OR meter_reading >= 0)",
        name="meter",
    ),
    CheckConstraint("meter_unit IN ('km', 'mile', 'h')", name="meter_unit"),
    CheckConstraint("state IN ('draft', 'closed', 'discarded')", name="state"),
    _time("opened_at"),
    _time("closed_at"),
    CheckConstraint(
        "(state <> 'draft' OR closed_at IS NULL) AND (state <> 'closed' OR closed_at IS NOT NULL)",
        name="closed",
    ),
    sqlite_strict=True,
)
Index(
    "uq_visits_engine_id_day_distance_m",
    visits.c.engine_id,
    visits.c.day,
    visits.c.distance_m,
    unique=True,
    sqlite_where=text("state <> 'discarded'"),
    postgresql_where=text("state <> 'discarded'"),
)

Index(
    "ix_visits_engine_id_state_day_distance_m",
    *(visits.c[name] for name in ("engine_id", "state", "day", "distance_m")),
)
Index("ix_visits_state_engine_id", visits.c.state, visits.c.engine_id)

readings = Table(
    "readings",
    metadata,
    Column("seq", Whole, primary_key=True, autoincrement=True, nullable=False),
    Column("id", Words, nullable=False, unique=True),
    Column("visit_id", Words, ForeignKey("visits.id"), nullable=False),
    Column("valve", Words, nullable=False),
    Column("step", Words, nullable=False),
    Column("go_um", Whole),
    Column("nogo_um", Whole),
    Column("blade_um", Whole),
    Column("feel", Words),
    Column("spin", Words),
    Column("note", Words, nullable=False),
    Column("by", Words),
    Column("device", Words),
    Column("replaces", Words, unique=True),
    Column("reason", Words, nullable=False),
    Column("withdrawn", Flag, nullable=False),
    Column("at", Words, nullable=False),
    UniqueConstraint("id", "visit_id", "valve", "step"),
    ForeignKeyConstraint(
        ["replaces", "visit_id", "valve", "step"],
        ["readings.id", "readings.visit_id", "readings.valve", "readings.step"],
        name="fk_readings_replaces",
    ),
    _uuid(),
    CheckConstraint(
        "length(valve) IN (2, 3) AND substr(valve, 1, 1) IN ('I', 'E') "
        "AND substr(valve, 2, 1) BETWEEN '1' AND '9' "
        "AND (length(valve) = 2 OR substr(valve, 3, 1) BETWEEN '0' AND '9')",
        name="valve",
    ),
    CheckConstraint("step IN ('found', 'set', 'left')", name="step"),
    CheckConstraint("go_um BETWEEN 0 AND 20000", name="go_um"),
    CheckConstraint("nogo_um BETWEEN 1 AND 20000", name="nogo_um"),
    CheckConstraint("blade_um BETWEEN 0 AND 20000", name="blade_um"),
    CheckConstraint("go_um IS NOT NULL OR nogo_um IS NULL", name="nogo_needs_go"),
    CheckConstraint("go_um IS NULL OR go_um > 0 OR nogo_um IS NOT NULL", name="none_went_needs_nogo"),
    CheckConstraint("go_um < nogo_um", name="go_below_nogo"),
    CheckConstraint("step <> 'set' OR (go_um IS NULL AND nogo_um IS NULL)", name="set_has_one_blade"),
    CheckConstraint("step = 'set' OR blade_um IS NULL", name="blade_only_for_set"),
    CheckConstraint("feel IN ('free', 'drag')", name="feel"),
    CheckConstraint("feel IS NULL OR step = 'set' OR COALESCE(go_um, 0) > 0", name="feel_needs_go"),
    CheckConstraint("spin IN ('free', 'stiff', 'none')", name="spin"),
    CheckConstraint("withdrawn IN (0, 1)", name="withdrawn"),
    CheckConstraint(
        "withdrawn = 0 OR (replaces IS NOT NULL AND go_um IS NULL AND nogo_um IS NULL "
        "AND blade_um IS NULL AND feel IS NULL AND spin IS NULL)",
        name="withdrawal_has_no_values",
    ),
    _time("at"),
    sqlite_strict=True,
    sqlite_autoincrement=True,
)
Index(
    "uq_readings_visit_id_valve_step",
    readings.c.visit_id,
    readings.c.valve,
    readings.c.step,
    unique=True,
    sqlite_where=text("replaces IS NULL"),
    postgresql_where=text("replaces IS NULL"),
)
Index("ix_readings_visit_id_seq", readings.c.visit_id, readings.c.seq)

visit_changes = Table(
    "visit_changes",
    metadata,
    Column("seq", Whole, primary_key=True, autoincrement=True, nullable=False),
    Column("id", Words, nullable=False, unique=True),
    Column("visit_id", Words, ForeignKey("visits.id"), nullable=False),
    Column("field", Words, nullable=False),
    Column("old", Words, nullable=False),
    Column("new", Words, nullable=False),
    Column("reason", Words, nullable=False),
    Column("by", Words),
    Column("at", Words, nullable=False),
    _uuid(),
    _time("at"),
    sqlite_strict=True,
    sqlite_autoincrement=True,
)
Index("ix_visit_changes_visit_id_seq", visit_changes.c.visit_id, visit_changes.c.seq)

KEPT_FOREVER = (readings, visit_changes)
"""Tables whose rows are only ever added."""
