"""Decades: instruments, fitments, work, tests, photos, imports, requests of devices, searchable notes."""

import uuid

import sqlalchemy as sa
from alembic import op

from coldlash.logbook.columns import Flag, Numbers, Octets, Whole, Words

revision = "0002"
down_revision = "0001"
branch_labels = None
depends_on = None

ONLY_ADDED = ("instruments", "instrument_readings", "fitments", "work", "tests", "accepted_causes")

BOTH = "trim({row}.note || ' ' || {row}.reason)"
NOTED = {
    "visits": ("{row}.note", "{row}.engine_id", "{row}.id", "NULL"),
    "readings": (BOTH, "(SELECT engine_id FROM visits v WHERE v.id = {row}.visit_id)", "{row}.visit_id", "NULL"),
    "visit_changes": (
        "{row}.reason", "(SELECT engine_id FROM visits v WHERE v.id = {row}.visit_id)", "{row}.visit_id", "NULL",
    ),
    "instruments": (BOTH, "NULL", "NULL", "{row}.vehicle_id"),
    "instrument_readings": (BOTH, "NULL", "{row}.visit_id", "{row}.vehicle_id"),
    "fitments": (BOTH, "{row}.engine_id", "NULL", "{row}.vehicle_id"),
    "work": (BOTH, "{row}.engine_id", "{row}.visit_id", "NULL"),
    "tests": (BOTH, "{row}.engine_id", "{row}.visit_id", "NULL"),
    "accepted_causes": (BOTH, "{row}.engine_id", "{row}.visit_id", "NULL"),
    "vehicles": ("{row}.note", "NULL", "NULL", "{row}.id"),
    "attachments": (
        "(CASE WHEN {row}.removed_at IS NULL THEN trim({row}.caption || ' ' || {row}.name) ELSE '' END)",
        "{row}.engine_id", "{row}.visit_id", "NULL",
    ),
}  # fmt: skip
"""Per table: the text that is searched for, its engine, visit and vehicle."""
CHANGING = {"visits": "note", "vehicles": "note", "attachments": "caption, name, removed_at"}
"""Tables whose text can change, and the columns it comes from."""


def upgrade() -> None:
    """Make the tables, the rules around them, and fill what follows from the book as it is."""
    _tables()
    postgresql = op.get_bind().dialect.name == "postgresql"
    for statement in (*_rules(postgresql), *_searching(postgresql)):
        op.execute(statement)
    _fitted_so_far()


def _rules(postgresql: bool) -> list[str]:
    """Rows of these tables are only ever added."""
    if not postgresql:
        return [
            f"CREATE TRIGGER {table}_no_{what.lower()} BEFORE {what} ON {table} "
            f"BEGIN SELECT RAISE(ABORT, 'rows of {table} are only ever added'); END"
            for table in ONLY_ADDED
            for what in ("UPDATE", "DELETE")
        ]
    return [
        f"CREATE TRIGGER {table}_{name} BEFORE {when} ON {table} "
        f"FOR EACH {each} EXECUTE FUNCTION coldlash_only_added()"
        for table in ONLY_ADDED
        for name, when, each in (
            ("only_added", "UPDATE OR DELETE", "ROW"),
            ("not_emptied", "TRUNCATE", "STATEMENT"),
        )
    ]


def _searching(postgresql: bool) -> list[str]:
    """Every note into ``search_texts``: those there are, and by triggers those to come."""
    statements = []
    for table in NOTED:
        statements.append(f"{_adding(table, 'r')} FROM {table} r WHERE {_text(table, 'r')} <> ''")
        statements += _postgresql_triggers(table) if postgresql else _sqlite_triggers(table)
    if postgresql:
        statements.append(
            "CREATE INDEX ix_search_texts_words ON search_texts USING gin (to_tsvector('simple', \"text\"))"
        )
    else:
        statements.append(
            "CREATE VIRTUAL TABLE search_words USING fts5(text, content='search_texts', content_rowid='seq', "
            "tokenize='unicode61 remove_diacritics 2')"
        )
    return statements


def _text(table: str, row: str) -> str:
    return NOTED[table][0].format(row=row)


def _adding(table: str, row: str) -> str:
    text, *whose = (part.format(row=row) for part in NOTED[table])
    return (
        "INSERT INTO search_texts (source, row_id, engine_id, visit_id, vehicle_id, text) "
        f"SELECT '{table}', {row}.id, {', '.join(whose)}, {text}"
    )


def _sqlite_triggers(table: str) -> list[str]:
    adding = f"{_adding(table, 'NEW')} WHERE {_text(table, 'NEW')} <> '';"
    statements = [f"CREATE TRIGGER {table}_noted AFTER INSERT ON {table} BEGIN {adding} END"]
    if table in CHANGING:
        statements.append(
            f"CREATE TRIGGER {table}_noted_again AFTER UPDATE OF {CHANGING[table]} ON {table} "
            f"BEGIN {_taking(table)} {adding} END"
        )
    return statements


def _taking(table: str) -> str:
    return f"DELETE FROM search_texts WHERE source = '{table}' AND row_id = NEW.id;"  # noqa: S608  (names from above)


def _postgresql_triggers(table: str) -> list[str]:
    taking = _taking(table) if table in CHANGING else ""
    when = f"INSERT OR UPDATE OF {CHANGING[table]}" if table in CHANGING else "INSERT"
    return [
        f"CREATE FUNCTION coldlash_noted_{table}() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN {taking} "
        f"IF {_text(table, 'NEW')} <> '' THEN {_adding(table, 'NEW')}; END IF; RETURN NULL; END $$",
        f"CREATE TRIGGER {table}_noted AFTER {when} ON {table} "
        f"FOR EACH ROW EXECUTE FUNCTION coldlash_noted_{table}()",
    ]


def _fitted_so_far() -> None:
    """An engine that is in a vehicle has been in it since before the book, as far as the book knew."""
    connection = op.get_bind()
    engines = connection.execute(
        sa.text("SELECT id, vehicle_id, created FROM engines WHERE vehicle_id IS NOT NULL ORDER BY id")
    ).all()
    adding = sa.text(
        "INSERT INTO fitments (id, engine_id, vehicle_id, note, reason, withdrawn, at) "
        "VALUES (:id, :engine, :vehicle, '', '', 0, :at)"
    )
    for engine, vehicle, created in engines:
        fitment = str(uuid.uuid5(uuid.UUID(engine), "fitted"))
        connection.execute(adding, {"id": fitment, "engine": engine, "vehicle": vehicle, "at": created})


def _tables() -> None:
    op.create_table(
        "applied_requests",
        sa.Column("key", Words, nullable=False),
        sa.Column("sha256", Words, nullable=False),
        sa.Column("answer", Words, nullable=False),
        sa.Column("device", Words, nullable=True),
        sa.Column("at", Words, nullable=False),
        sa.CheckConstraint("at LIKE '____-__-__T__:__:__.___Z'", name="ck_applied_requests_at"),
        sa.CheckConstraint("length(key) BETWEEN 1 AND 200", name="ck_applied_requests_key"),
        sa.CheckConstraint("length(sha256) = 64", name="ck_applied_requests_sha256"),
        sa.PrimaryKeyConstraint("key", name="pk_applied_requests"),
        sqlite_strict=True,
    )
    op.create_table(
        "attachment_files",
        sa.Column("sha256", Words, nullable=False),
        sa.Column("size", Whole, nullable=False),
        sa.Column("bytes", Octets, nullable=False),
        sa.CheckConstraint("length(sha256) = 64", name="ck_attachment_files_sha256"),
        sa.CheckConstraint("size = length(bytes)", name="ck_attachment_files_size"),
        sa.PrimaryKeyConstraint("sha256", name="pk_attachment_files"),
        sqlite_strict=True,
    )
    op.create_table(
        "imports",
        sa.Column("id", Words, nullable=False),
        sa.Column("source", Words, nullable=False),
        sa.Column("sha256", Words, nullable=False),
        sa.Column("how", Words, nullable=False),
        sa.Column("visits_added", Whole, nullable=False),
        sa.Column("rows_added", Whole, nullable=False),
        sa.Column("by", Words, nullable=True),
        sa.Column("at", Words, nullable=False),
        sa.Column("undone_at", Words, nullable=True),
        sa.Column("undone_reason", Words, nullable=False),
        sa.CheckConstraint("at LIKE '____-__-__T__:__:__.___Z'", name="ck_imports_at"),
        sa.CheckConstraint("undone_at LIKE '____-__-__T__:__:__.___Z'", name="ck_imports_undone_at"),
        sa.CheckConstraint("length(id) = 36", name="ck_imports_id"),
        sa.CheckConstraint("length(sha256) = 64", name="ck_imports_sha256"),
        sa.CheckConstraint("length(source) BETWEEN 1 AND 1000", name="ck_imports_source"),
        sa.CheckConstraint("visits_added >= 0 AND rows_added >= 0", name="ck_imports_added"),
        sa.PrimaryKeyConstraint("id", name="pk_imports"),
        sqlite_strict=True,
    )
    op.create_index("ix_imports_sha256", "imports", ["sha256"])
    op.create_table(
        "search_texts",
        sa.Column("seq", Whole, autoincrement=True, nullable=False),
        sa.Column("source", Words, nullable=False),
        sa.Column("row_id", Words, nullable=False),
        sa.Column("engine_id", Words, nullable=True),
        sa.Column("visit_id", Words, nullable=True),
        sa.Column("vehicle_id", Words, nullable=True),
        sa.Column("text", Words, nullable=False),
        sa.PrimaryKeyConstraint("seq", name="pk_search_texts"),
        sa.UniqueConstraint("source", "row_id", name="uq_search_texts_source_row_id"),
        sqlite_autoincrement=True,
        sqlite_strict=True,
    )
    op.create_table(
        "instruments",
        sa.Column("seq", Whole, autoincrement=True, nullable=False),
        sa.Column("id", Words, nullable=False),
        sa.Column("vehicle_id", Words, nullable=False),
        sa.Column("how", Words, nullable=False),
        sa.Column("unit", Words, nullable=False),
        sa.Column("digits", Whole, nullable=True),
        sa.Column("day", Words, nullable=True),
        sa.Column("reading", Whole, nullable=True),
        sa.Column("old_reading", Whole, nullable=True),
        sa.Column("note", Words, nullable=False),
        sa.Column("by", Words, nullable=True),
        sa.Column("device", Words, nullable=True),
        sa.Column("replaces", Words, nullable=True),
        sa.Column("reason", Words, nullable=False),
        sa.Column("withdrawn", Flag, nullable=False),
        sa.Column("at", Words, nullable=False),
        sa.CheckConstraint("at LIKE '____-__-__T__:__:__.___Z'", name="ck_instruments_at"),
        sa.CheckConstraint("day LIKE '____-__-__'", name="ck_instruments_day"),
        sa.CheckConstraint(
            "how = 'first' OR day IS NOT NULL", name="ck_instruments_only_the_first_has_no_day"
        ),
        sa.CheckConstraint("how IN ('first', 'replaced', 'repaired')", name="ck_instruments_how"),
        sa.CheckConstraint(
            "old_reading IS NULL OR (old_reading >= 0 AND how <> 'first')", name="ck_instruments_old_reading"
        ),
        sa.CheckConstraint("unit IN ('km', 'mile', 'h')", name="ck_instruments_unit"),
        sa.CheckConstraint("digits BETWEEN 3 AND 9", name="ck_instruments_digits"),
        sa.CheckConstraint("length(id) = 36", name="ck_instruments_id"),
        sa.CheckConstraint("reading >= 0", name="ck_instruments_reading"),
        sa.CheckConstraint(
            "withdrawn = 0 OR (withdrawn = 1 AND replaces IS NOT NULL)", name="ck_instruments_withdrawn"
        ),
        sa.ForeignKeyConstraint(["replaces"], ["instruments.id"], name="fk_instruments_replaces"),
        sa.ForeignKeyConstraint(["vehicle_id"], ["vehicles.id"], name="fk_instruments_vehicle_id"),
        sa.PrimaryKeyConstraint("seq", name="pk_instruments"),
        sa.UniqueConstraint("id", name="uq_instruments_id"),
        sa.UniqueConstraint("replaces", name="uq_instruments_replaces"),
        sqlite_autoincrement=True,
        sqlite_strict=True,
    )
    op.create_index("ix_instruments_vehicle_id_day", "instruments", ["vehicle_id", "day"])
    op.create_table(
        "fitments",
        sa.Column("seq", Whole, autoincrement=True, nullable=False),
        sa.Column("id", Words, nullable=False),
        sa.Column("engine_id", Words, nullable=False),
        sa.Column("vehicle_id", Words, nullable=True),
        sa.Column("day", Words, nullable=True),
        sa.Column("meter_reading", Whole, nullable=True),
        sa.Column("meter_unit", Words, nullable=True),
        sa.Column("distance_m", Whole, nullable=True),
        sa.Column("note", Words, nullable=False),
        sa.Column("by", Words, nullable=True),
        sa.Column("device", Words, nullable=True),
        sa.Column("replaces", Words, nullable=True),
        sa.Column("reason", Words, nullable=False),
        sa.Column("withdrawn", Flag, nullable=False),
        sa.Column("at", Words, nullable=False),
        sa.CheckConstraint("at LIKE '____-__-__T__:__:__.___Z'", name="ck_fitments_at"),
        sa.CheckConstraint("day LIKE '____-__-__'", name="ck_fitments_day"),
        sa.CheckConstraint("meter_unit IN ('km', 'mile', 'h')", name="ck_fitments_meter_unit"),
        sa.CheckConstraint(
            "(meter_reading IS NULL) = (meter_unit IS NULL) AND (meter_reading IS NULL OR meter_reading >= 0)",
            name="ck_fitments_meter",
        ),
        sa.CheckConstraint(
            "day IS NOT NULL OR vehicle_id IS NOT NULL", name="ck_fitments_taken_out_on_a_day"
        ),
        sa.CheckConstraint("distance_m BETWEEN 0 AND 10000000000", name="ck_fitments_distance_m"),
        sa.CheckConstraint("length(id) = 36", name="ck_fitments_id"),
        sa.CheckConstraint(
            "withdrawn = 0 OR (withdrawn = 1 AND replaces IS NOT NULL)", name="ck_fitments_withdrawn"
        ),
        sa.ForeignKeyConstraint(["engine_id"], ["engines.id"], name="fk_fitments_engine_id"),
        sa.ForeignKeyConstraint(["replaces"], ["fitments.id"], name="fk_fitments_replaces"),
        sa.ForeignKeyConstraint(["vehicle_id"], ["vehicles.id"], name="fk_fitments_vehicle_id"),
        sa.PrimaryKeyConstraint("seq", name="pk_fitments"),
        sa.UniqueConstraint("id", name="uq_fitments_id"),
        sa.UniqueConstraint("replaces", name="uq_fitments_replaces"),
        sqlite_autoincrement=True,
        sqlite_strict=True,
    )
    op.create_index("ix_fitments_engine_id_day", "fitments", ["engine_id", "day"])
    op.create_index("ix_fitments_vehicle_id_day", "fitments", ["vehicle_id", "day"])
    op.create_table(
        "engine_facts",
        sa.Column("engine_file_id", Words, nullable=False),
        sa.Column("facts", Words, nullable=False),
        sa.ForeignKeyConstraint(
            ["engine_file_id"], ["engine_files.id"], name="fk_engine_facts_engine_file_id"
        ),
        sa.PrimaryKeyConstraint("engine_file_id", name="pk_engine_facts"),
        sqlite_strict=True,
    )
    op.create_table(
        "accepted_causes",
        sa.Column("seq", Whole, autoincrement=True, nullable=False),
        sa.Column("id", Words, nullable=False),
        sa.Column("engine_id", Words, nullable=False),
        sa.Column("visit_id", Words, nullable=True),
        sa.Column("day", Words, nullable=False),
        sa.Column("distance_m", Whole, nullable=True),
        sa.Column("cylinders", Numbers, nullable=False),
        sa.Column("valves", Words, nullable=False),
        sa.Column("cause", Words, nullable=False),
        sa.Column("direction", Words, nullable=False),
        sa.Column("amount_um", Whole, nullable=True),
        sa.Column("note", Words, nullable=False),
        sa.Column("by", Words, nullable=True),
        sa.Column("device", Words, nullable=True),
        sa.Column("replaces", Words, nullable=True),
        sa.Column("reason", Words, nullable=False),
        sa.Column("withdrawn", Flag, nullable=False),
        sa.Column("at", Words, nullable=False),
        sa.CheckConstraint("at LIKE '____-__-__T__:__:__.___Z'", name="ck_accepted_causes_at"),
        sa.CheckConstraint("day LIKE '____-__-__'", name="ck_accepted_causes_day"),
        sa.CheckConstraint("direction IN ('tighter', 'looser')", name="ck_accepted_causes_direction"),
        sa.CheckConstraint("amount_um BETWEEN 0 AND 20000", name="ck_accepted_causes_amount_um"),
        sa.CheckConstraint("distance_m BETWEEN 0 AND 10000000000", name="ck_accepted_causes_distance_m"),
        sa.CheckConstraint("length(cause) BETWEEN 1 AND 60", name="ck_accepted_causes_cause"),
        sa.CheckConstraint("length(id) = 36", name="ck_accepted_causes_id"),
        sa.CheckConstraint(
            "withdrawn = 0 OR (withdrawn = 1 AND replaces IS NOT NULL)", name="ck_accepted_causes_withdrawn"
        ),
        sa.ForeignKeyConstraint(["engine_id"], ["engines.id"], name="fk_accepted_causes_engine_id"),
        sa.ForeignKeyConstraint(["replaces"], ["accepted_causes.id"], name="fk_accepted_causes_replaces"),
        sa.ForeignKeyConstraint(["visit_id"], ["visits.id"], name="fk_accepted_causes_visit_id"),
        sa.PrimaryKeyConstraint("seq", name="pk_accepted_causes"),
        sa.UniqueConstraint("id", name="uq_accepted_causes_id"),
        sa.UniqueConstraint("replaces", name="uq_accepted_causes_replaces"),
        sqlite_autoincrement=True,
        sqlite_strict=True,
    )
    op.create_index("ix_accepted_causes_engine_id_day", "accepted_causes", ["engine_id", "day"])
    op.create_table(
        "attachments",
        sa.Column("id", Words, nullable=False),
        sa.Column("engine_id", Words, nullable=False),
        sa.Column("visit_id", Words, nullable=True),
        sa.Column("valve", Words, nullable=True),
        sa.Column("media_type", Words, nullable=False),
        sa.Column("name", Words, nullable=False),
        sa.Column("caption", Words, nullable=False),
        sa.Column("sha256", Words, nullable=False),
        sa.Column("size", Whole, nullable=False),
        sa.Column("width", Whole, nullable=True),
        sa.Column("height", Whole, nullable=True),
        sa.Column("taken_at", Words, nullable=True),
        sa.Column("by", Words, nullable=True),
        sa.Column("at", Words, nullable=False),
        sa.Column("file_sha256", Words, nullable=True),
        sa.Column("removed_at", Words, nullable=True),
        sa.CheckConstraint("at LIKE '____-__-__T__:__:__.___Z'", name="ck_attachments_at"),
        sa.CheckConstraint("removed_at LIKE '____-__-__T__:__:__.___Z'", name="ck_attachments_removed_at"),
        sa.CheckConstraint("taken_at LIKE '____-__-__T__:__:__.___Z'", name="ck_attachments_taken_at"),
        sa.CheckConstraint("(removed_at IS NULL) = (file_sha256 IS NOT NULL)", name="ck_attachments_removed"),
        sa.CheckConstraint(
            "(width IS NULL) = (height IS NULL) AND (width IS NULL OR (width > 0 AND height > 0))",
            name="ck_attachments_shape",
        ),
        sa.CheckConstraint("file_sha256 IS NULL OR file_sha256 = sha256", name="ck_attachments_file_sha256"),
        sa.CheckConstraint("length(id) = 36", name="ck_attachments_id"),
        sa.CheckConstraint("length(media_type) BETWEEN 3 AND 100", name="ck_attachments_media_type"),
        sa.CheckConstraint("length(name) <= 200", name="ck_attachments_name"),
        sa.CheckConstraint("length(sha256) = 64", name="ck_attachments_sha256"),
        sa.CheckConstraint("size >= 0", name="ck_attachments_size"),
        sa.ForeignKeyConstraint(["engine_id"], ["engines.id"], name="fk_attachments_engine_id"),
        sa.ForeignKeyConstraint(
            ["file_sha256"], ["attachment_files.sha256"], name="fk_attachments_file_sha256"
        ),
        sa.ForeignKeyConstraint(["visit_id"], ["visits.id"], name="fk_attachments_visit_id"),
        sa.PrimaryKeyConstraint("id", name="pk_attachments"),
        sqlite_strict=True,
    )
    op.create_index("ix_attachments_engine_id_visit_id", "attachments", ["engine_id", "visit_id"])
    op.create_index("ix_attachments_file_sha256", "attachments", ["file_sha256"])
    op.create_table(
        "import_visits",
        sa.Column("visit_id", Words, nullable=False),
        sa.Column("import_id", Words, nullable=False),
        sa.ForeignKeyConstraint(["import_id"], ["imports.id"], name="fk_import_visits_import_id"),
        sa.ForeignKeyConstraint(["visit_id"], ["visits.id"], name="fk_import_visits_visit_id"),
        sa.PrimaryKeyConstraint("visit_id", name="pk_import_visits"),
        sqlite_strict=True,
    )
    op.create_index("ix_import_visits_import_id", "import_visits", ["import_id"])
    op.create_table(
        "instrument_readings",
        sa.Column("seq", Whole, autoincrement=True, nullable=False),
        sa.Column("id", Words, nullable=False),
        sa.Column("vehicle_id", Words, nullable=False),
        sa.Column("visit_id", Words, nullable=True),
        sa.Column("day", Words, nullable=False),
        sa.Column("reading", Whole, nullable=False),
        sa.Column("unit", Words, nullable=False),
        sa.Column("turned_over", Whole, nullable=False),
        sa.Column("note", Words, nullable=False),
        sa.Column("by", Words, nullable=True),
        sa.Column("device", Words, nullable=True),
        sa.Column("replaces", Words, nullable=True),
        sa.Column("reason", Words, nullable=False),
        sa.Column("withdrawn", Flag, nullable=False),
        sa.Column("at", Words, nullable=False),
        sa.CheckConstraint("at LIKE '____-__-__T__:__:__.___Z'", name="ck_instrument_readings_at"),
        sa.CheckConstraint("day LIKE '____-__-__'", name="ck_instrument_readings_day"),
        sa.CheckConstraint("unit IN ('km', 'mile', 'h')", name="ck_instrument_readings_unit"),
        sa.CheckConstraint("length(id) = 36", name="ck_instrument_readings_id"),
        sa.CheckConstraint("reading >= 0", name="ck_instrument_readings_reading"),
        sa.CheckConstraint("turned_over BETWEEN 0 AND 99", name="ck_instrument_readings_turned_over"),
        sa.CheckConstraint(
            "withdrawn = 0 OR (withdrawn = 1 AND replaces IS NOT NULL)",
            name="ck_instrument_readings_withdrawn",
        ),
        sa.ForeignKeyConstraint(
            ["replaces"], ["instrument_readings.id"], name="fk_instrument_readings_replaces"
        ),
        sa.ForeignKeyConstraint(["vehicle_id"], ["vehicles.id"], name="fk_instrument_readings_vehicle_id"),
        sa.ForeignKeyConstraint(["visit_id"], ["visits.id"], name="fk_instrument_readings_visit_id"),
        sa.PrimaryKeyConstraint("seq", name="pk_instrument_readings"),
        sa.UniqueConstraint("id", name="uq_instrument_readings_id"),
        sa.UniqueConstraint("replaces", name="uq_instrument_readings_replaces"),
        sqlite_autoincrement=True,
        sqlite_strict=True,
    )
    op.create_index("ix_instrument_readings_vehicle_id_day", "instrument_readings", ["vehicle_id", "day"])
    op.create_table(
        "tests",
        sa.Column("seq", Whole, autoincrement=True, nullable=False),
        sa.Column("id", Words, nullable=False),
        sa.Column("engine_id", Words, nullable=False),
        sa.Column("visit_id", Words, nullable=True),
        sa.Column("day", Words, nullable=False),
        sa.Column("distance_m", Whole, nullable=True),
        sa.Column("cylinders", Numbers, nullable=False),
        sa.Column("valves", Words, nullable=False),
        sa.Column("kind", Words, nullable=False),
        sa.Column("data", Words, nullable=False),
        sa.Column("result", Words, nullable=False),
        sa.Column("note", Words, nullable=False),
        sa.Column("by", Words, nullable=True),
        sa.Column("device", Words, nullable=True),
        sa.Column("replaces", Words, nullable=True),
        sa.Column("reason", Words, nullable=False),
        sa.Column("withdrawn", Flag, nullable=False),
        sa.Column("at", Words, nullable=False),
        sa.CheckConstraint("at LIKE '____-__-__T__:__:__.___Z'", name="ck_tests_at"),
        sa.CheckConstraint("day LIKE '____-__-__'", name="ck_tests_day"),
        sa.CheckConstraint("distance_m BETWEEN 0 AND 10000000000", name="ck_tests_distance_m"),
        sa.CheckConstraint("length(id) = 36", name="ck_tests_id"),
        sa.CheckConstraint("length(kind) BETWEEN 1 AND 60", name="ck_tests_kind"),
        sa.CheckConstraint("length(result) <= 60", name="ck_tests_result"),
        sa.CheckConstraint(
            "withdrawn = 0 OR (withdrawn = 1 AND replaces IS NOT NULL)", name="ck_tests_withdrawn"
        ),
        sa.ForeignKeyConstraint(["engine_id"], ["engines.id"], name="fk_tests_engine_id"),
        sa.ForeignKeyConstraint(["replaces"], ["tests.id"], name="fk_tests_replaces"),
        sa.ForeignKeyConstraint(["visit_id"], ["visits.id"], name="fk_tests_visit_id"),
        sa.PrimaryKeyConstraint("seq", name="pk_tests"),
        sa.UniqueConstraint("id", name="uq_tests_id"),
        sa.UniqueConstraint("replaces", name="uq_tests_replaces"),
        sqlite_autoincrement=True,
        sqlite_strict=True,
    )
    op.create_index("ix_tests_engine_id_day", "tests", ["engine_id", "day"])
    op.create_table(
        "work",
        sa.Column("seq", Whole, autoincrement=True, nullable=False),
        sa.Column("id", Words, nullable=False),
        sa.Column("engine_id", Words, nullable=False),
        sa.Column("visit_id", Words, nullable=True),
        sa.Column("day", Words, nullable=False),
        sa.Column("distance_m", Whole, nullable=True),
        sa.Column("cylinders", Numbers, nullable=False),
        sa.Column("valves", Words, nullable=False),
        sa.Column("kind", Words, nullable=False),
        sa.Column("part", Words, nullable=False),
        sa.Column("note", Words, nullable=False),
        sa.Column("by", Words, nullable=True),
        sa.Column("device", Words, nullable=True),
        sa.Column("replaces", Words, nullable=True),
        sa.Column("reason", Words, nullable=False),
        sa.Column("withdrawn", Flag, nullable=False),
        sa.Column("at", Words, nullable=False),
        sa.CheckConstraint("at LIKE '____-__-__T__:__:__.___Z'", name="ck_work_at"),
        sa.CheckConstraint("day LIKE '____-__-__'", name="ck_work_day"),
        sa.CheckConstraint(
            "kind IN ('replaced', 'ground', 'retorqued', 'refitted', 'machined', 'repaired', 'cleaned', 'rebuilt')",
            name="ck_work_kind",
        ),
        sa.CheckConstraint(
            "part IN ('valve', 'seat', 'guide', 'spring', 'head', 'gasket', 'barrel', 'lifter', 'camshaft', "
            "'pushrod', 'rocker', 'stand', 'adjuster', 'stud', 'engine', 'other')",
            name="ck_work_part",
        ),
        sa.CheckConstraint("distance_m BETWEEN 0 AND 10000000000", name="ck_work_distance_m"),
        sa.CheckConstraint("length(id) = 36", name="ck_work_id"),
        sa.CheckConstraint(
            "withdrawn = 0 OR (withdrawn = 1 AND replaces IS NOT NULL)", name="ck_work_withdrawn"
        ),
        sa.ForeignKeyConstraint(["engine_id"], ["engines.id"], name="fk_work_engine_id"),
        sa.ForeignKeyConstraint(["replaces"], ["work.id"], name="fk_work_replaces"),
        sa.ForeignKeyConstraint(["visit_id"], ["visits.id"], name="fk_work_visit_id"),
        sa.PrimaryKeyConstraint("seq", name="pk_work"),
        sa.UniqueConstraint("id", name="uq_work_id"),
        sa.UniqueConstraint("replaces", name="uq_work_replaces"),
        sqlite_autoincrement=True,
        sqlite_strict=True,
    )
    op.create_index("ix_work_engine_id_day", "work", ["engine_id", "day"])
