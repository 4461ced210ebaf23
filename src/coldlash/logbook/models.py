"""The tables of the book. Rules that must never be broken stand here, in the database itself.

The migrations make the tables; a test proves that they make exactly these. Readings, changes, work, tests, accepted
causes, fitments and what instruments showed are only ever added: triggers refuse to alter or delete them
(``KEPT_FOREVER``). Each (visit, valve, step) has one chain of readings: one first row, and each row is replaced at
most once by a row of the same visit, valve and step. So exactly one row stands. The other tables of that kind
correct a row in the same way, by one that ``replaces`` it or, ``withdrawn``, takes it back.
"""

from __future__ import annotations

from typing import Any

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

from coldlash.logbook.columns import Flag, Numbers, Octets, Whole, Words

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


def _lasting(name: str, *columns: Any) -> Table:
    """A table whose rows are only ever added and corrected by rows that replace them."""
    return Table(
        name,
        metadata,
        Column("seq", Whole, primary_key=True, autoincrement=True, nullable=False),
        Column("id", Words, nullable=False, unique=True),
        *columns,
        Column("note", Words, nullable=False),
        Column("by", Words),
        Column("device", Words),
        Column("replaces", Words, ForeignKey(f"{name}.id"), unique=True),
        Column("reason", Words, nullable=False),
        Column("withdrawn", Flag, nullable=False),
        Column("at", Words, nullable=False),
        _uuid(),
        CheckConstraint("withdrawn = 0 OR (withdrawn = 1 AND replaces IS NOT NULL)", name="withdrawn"),
        _time("at"),
        sqlite_strict=True,
        sqlite_autoincrement=True,
    )


def _day() -> CheckConstraint:
    return CheckConstraint(f"day LIKE '{DAY_LIKE}'", name="day")


def _distance() -> CheckConstraint:
    return CheckConstraint("distance_m BETWEEN 0 AND 10000000000", name="distance_m")


instruments = _lasting(
    "instruments",
    Column("vehicle_id", Words, ForeignKey("vehicles.id"), nullable=False),
    Column("how", Words, nullable=False),
    Column("unit", Words, nullable=False),
    Column("digits", Whole),
    Column("day", Words),
    Column("reading", Whole),
    Column("old_reading", Whole),
    CheckConstraint("how IN ('first', 'replaced', 'repaired')", name="how"),
    CheckConstraint("unit IN ('km', 'mile', 'h')", name="unit"),
    CheckConstraint("digits BETWEEN 3 AND 9", name="digits"),
    _day(),
    CheckConstraint("how = 'first' OR day IS NOT NULL", name="only_the_first_has_no_day"),
    CheckConstraint("reading >= 0", name="reading"),
    CheckConstraint("old_reading IS NULL OR (old_reading >= 0 AND how <> 'first')", name="old_reading"),
)
"""An odometer or hour meter put into a vehicle. What a vehicle's own columns say of its meter is its first one,
unless a row "first" stands here. ``reading``: what it showed when put in, ``old_reading``: what the one before
showed last, thousandths of their units, NULL = unknown."""
Index("ix_instruments_vehicle_id_day", instruments.c.vehicle_id, instruments.c.day)

instrument_readings = _lasting(
    "instrument_readings",
    Column("vehicle_id", Words, ForeignKey("vehicles.id"), nullable=False),
    Column("visit_id", Words, ForeignKey("visits.id")),
    Column("day", Words, nullable=False),
    Column("reading", Whole, nullable=False),
    Column("unit", Words, nullable=False),
    Column("turned_over", Whole, nullable=False),
    _day(),
    CheckConstraint("reading >= 0", name="reading"),
    CheckConstraint("unit IN ('km', 'mile', 'h')", name="unit"),
    CheckConstraint("turned_over BETWEEN 0 AND 99", name="turned_over"),
)
"""What an instrument showed on a day, thousandths of its unit. ``turned_over``: how often it rolled over since the
reading before, as the owner said. ``visit_id``: it explains that visit's own reading."""
Index("ix_instrument_readings_vehicle_id_day", instrument_readings.c.vehicle_id, instrument_readings.c.day)

fitments = _lasting(
    "fitments",
    Column("engine_id", Words, ForeignKey("engines.id"), nullable=False),
    Column("vehicle_id", Words, ForeignKey("vehicles.id")),
    Column("day", Words),
    Column("meter_reading", Whole),
    Column("meter_unit", Words),
    Column("distance_m", Whole),
    _day(),
    CheckConstraint("day IS NOT NULL OR vehicle_id IS NOT NULL", name="taken_out_on_a_day"),
    CheckConstraint(
        "(meter_reading IS NULL) = (meter_unit IS NULL) AND (meter_reading IS NULL OR meter_reading >= 0)",
        name="meter",
    ),
    CheckConstraint("meter_unit IN ('km', 'mile', 'h')", name="meter_unit"),
    _distance(),
)
"""An engine put into a vehicle on a day (NULL = since before the book) or, ``vehicle_id`` NULL, taken out.
``meter_reading``: what the vehicle's instrument showed then; ``distance_m``: the engine's own distance, if known."""
Index("ix_fitments_engine_id_day", fitments.c.engine_id, fitments.c.day)
Index("ix_fitments_vehicle_id_day", fitments.c.vehicle_id, fitments.c.day)


def _at_engine() -> tuple[Any, ...]:
    return (
        Column("engine_id", Words, ForeignKey("engines.id"), nullable=False),
        Column("visit_id", Words, ForeignKey("visits.id")),
        Column("day", Words, nullable=False),
        Column("distance_m", Whole),
        Column("cylinders", Numbers, nullable=False),
        Column("valves", Words, nullable=False),
        _day(),
        _distance(),
    )


work = _lasting(
    "work",
    *_at_engine(),
    Column("kind", Words, nullable=False),
    Column("part", Words, nullable=False),
    CheckConstraint(
        "kind IN ('replaced', 'ground', 'retorqued', 'refitted', 'machined', 'repaired', 'cleaned', 'rebuilt')",
        name="kind",
    ),
    CheckConstraint(
        "part IN ('valve', 'seat', 'guide', 'spring', 'head', 'gasket', 'barrel', 'lifter', 'camshaft', 'pushrod', "
        "'rocker', 'stand', 'adjuster', 'stud', 'engine', 'other')",
        name="part",
    ),
)
"""One part that was worked on, at a visit or (``visit_id`` NULL) between visits. Where: ``cylinders`` (of a head: any
under it) and ``valves`` (JSON, ["E3"]); both empty = everywhere. ``distance_m``: the engine's own, if known."""
Index("ix_work_engine_id_day", work.c.engine_id, work.c.day)

tests = _lasting(
    "tests",
    *_at_engine(),
    Column("kind", Words, nullable=False),
    Column("data", Words, nullable=False),
    Column("result", Words, nullable=False),
    CheckConstraint("length(kind) BETWEEN 1 AND 60", name="kind"),
    CheckConstraint("length(result) <= 60", name="result"),
)
"""A test other than a gap: compression, leak_down, stand_nuts_and_studs, lobe_lift, listen and so on (the names of
``wear``'s table of tests). ``data``: JSON object of what was read; ``result``: one word, "" = none yet."""
Index("ix_tests_engine_id_day", tests.c.engine_id, tests.c.day)

accepted_causes = _lasting(
    "accepted_causes",
    *_at_engine(),
    Column("cause", Words, nullable=False),
    Column("direction", Words, nullable=False),
    Column("amount_um", Whole),
    CheckConstraint("length(cause) BETWEEN 1 AND 60", name="cause"),
    CheckConstraint("direction IN ('tighter', 'looser')", name="direction"),
    CheckConstraint("amount_um BETWEEN 0 AND 20000", name="amount_um"),
)
"""A cause that the owner holds for found (the names of ``wear``'s causes)."""
Index("ix_accepted_causes_engine_id_day", accepted_causes.c.engine_id, accepted_causes.c.day)

attachment_files = Table(
    "attachment_files",
    metadata,
    Column("sha256", Words, primary_key=True, nullable=False),
    Column("size", Whole, nullable=False),
    Column("bytes", Octets, nullable=False),
    CheckConstraint("length(sha256) = 64", name="sha256"),
    CheckConstraint("size = length(bytes)", name="size"),
    sqlite_strict=True,
)
"""The bytes of photos and scans, each once, by their SHA-256 in hexadecimal."""

attachments = Table(
    "attachments",
    metadata,
    _id(),
    Column("engine_id", Words, ForeignKey("engines.id"), nullable=False),
    Column("visit_id", Words, ForeignKey("visits.id")),
    Column("valve", Words),
    Column("media_type", Words, nullable=False),
    Column("name", Words, nullable=False),
    Column("caption", Words, nullable=False),
    Column("sha256", Words, nullable=False),
    Column("size", Whole, nullable=False),
    Column("width", Whole),
    Column("height", Whole),
    Column("taken_at", Words),
    Column("by", Words),
    Column("at", Words, nullable=False),
    Column("file_sha256", Words, ForeignKey("attachment_files.sha256")),
    Column("removed_at", Words),
    _uuid(),
    CheckConstraint("length(media_type) BETWEEN 3 AND 100", name="media_type"),
    CheckConstraint("length(name) <= 200", name="name"),
    CheckConstraint("length(sha256) = 64", name="sha256"),
    CheckConstraint("size >= 0", name="size"),
    CheckConstraint(
        "(width IS NULL) = (height IS NULL) AND (width IS NULL OR (width > 0 AND height > 0))", name="shape"
    ),
    CheckConstraint("file_sha256 IS NULL OR file_sha256 = sha256", name="file_sha256"),
    CheckConstraint("(removed_at IS NULL) = (file_sha256 IS NOT NULL)", name="removed"),
    _time("taken_at"),
    _time("at"),
    _time("removed_at"),
    sqlite_strict=True,
)
"""A photo or scan of an engine, a visit or a valve. A removed one stays as a row; its bytes may go (nobody keeps a
photo that its owner wants gone)."""
Index("ix_attachments_engine_id_visit_id", attachments.c.engine_id, attachments.c.visit_id)
Index("ix_attachments_file_sha256", attachments.c.file_sha256)

imports = Table(
    "imports",
    metadata,
    _id(),
    Column("source", Words, nullable=False),
    Column("sha256", Words, nullable=False),
    Column("how", Words, nullable=False),
    Column("visits_added", Whole, nullable=False),
    Column("rows_added", Whole, nullable=False),
    Column("by", Words),
    Column("at", Words, nullable=False),
    Column("undone_at", Words),
    Column("undone_reason", Words, nullable=False),
    _uuid(),
    CheckConstraint("length(source) BETWEEN 1 AND 1000", name="source"),
    CheckConstraint("length(sha256) = 64", name="sha256"),
    CheckConstraint("visits_added >= 0 AND rows_added >= 0", name="added"),
    _time("at"),
    _time("undone_at"),
    sqlite_strict=True,
)
"""One file taken in. ``how``: JSON of how its columns were understood. Undone as a whole, never deleted."""
Index("ix_imports_sha256", imports.c.sha256)

import_visits = Table(
    "import_visits",
    metadata,
    Column("visit_id", Words, ForeignKey("visits.id"), primary_key=True, nullable=False),
    Column("import_id", Words, ForeignKey("imports.id"), nullable=False),
    sqlite_strict=True,
)
"""The visits that came with an import."""
Index("ix_import_visits_import_id", import_visits.c.import_id)

applied_requests = Table(
    "applied_requests",
    metadata,
    Column("key", Words, primary_key=True, nullable=False),
    Column("sha256", Words, nullable=False),
    Column("answer", Words, nullable=False),
    Column("device", Words),
    Column("at", Words, nullable=False),
    CheckConstraint("length(key) BETWEEN 1 AND 200", name="key"),
    CheckConstraint("length(sha256) = 64", name="sha256"),
    _time("at"),
    sqlite_strict=True,
)
"""Requests of a device that were carried out, so that one sent twice is done once. ``sha256`` of the request."""

engine_facts = Table(
    "engine_facts",
    metadata,
    Column("engine_file_id", Words, ForeignKey("engine_files.id"), primary_key=True, nullable=False),
    Column("facts", Words, nullable=False),
    sqlite_strict=True,
)
"""Worked out from an engine file once, so that a large shed need not read every file again (JSON). Never exported."""

search_texts = Table(
    "search_texts",
    metadata,
    Column("seq", Whole, primary_key=True, autoincrement=True, nullable=False),
    Column("source", Words, nullable=False),
    Column("row_id", Words, nullable=False),
    Column("engine_id", Words),
    Column("visit_id", Words),
    Column("vehicle_id", Words),
    Column("text", Words, nullable=False),
    UniqueConstraint("source", "row_id"),
    sqlite_strict=True,
    sqlite_autoincrement=True,
)
"""Every note in the book, kept by triggers: table, id, text. A changed note gets a new ``seq``, so an index of words
up to some ``seq`` only ever needs what came after; what is no longer here no longer counts. Never exported.
On SQLite the words stand in the FTS5 table ``search_words`` (rowid = seq), filled by who searches, not by triggers:
with ``trusted_schema`` off a trigger may not write to it. On PostgreSQL there is an index over the text, and who
searches adds rows with ``source`` "words" (row_id = a note's seq) whose text is the words of that note, spelt so that
both databases find the same; see ``logbook.search``."""
Index(
    "ix_search_texts_words",
    text("to_tsvector('simple', \"text\")"),
    postgresql_using="gin",
    _table=search_texts,
).ddl_if(dialect="postgresql")

KEPT_FOREVER = (
    readings,
    visit_changes,
    instruments,
    instrument_readings,
    fitments,
    work,
    tests,
    accepted_causes,
)
"""Tables whose rows are only ever added."""

WORKED_OUT = (engine_facts, search_texts)
"""Tables that hold nothing of their own: emptied, they can be filled again from the others."""
