"""The first tables: settings, vehicles, engines and their files, blades, visits, readings, changes."""

import sqlalchemy as sa
from alembic import op

from coldlash.logbook.columns import Flag, Numbers, Whole, Words

revision = "0001"
down_revision = None
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Make the first tables."""
    op.create_table(
        "settings",
        sa.Column("key", Words, nullable=False),
        sa.Column("value", Words, nullable=False),
        sa.PrimaryKeyConstraint("key", name="pk_settings"),
        sqlite_strict=True,
    )
    op.create_table(
        "vehicles",
        sa.Column("id", Words, nullable=False),
        sa.Column("name", Words, nullable=False),
        sa.Column("name_key", Words, nullable=False),
        sa.Column("meter", Words, nullable=False),
        sa.Column("meter_digits", Whole, nullable=True),
        sa.Column("note", Words, nullable=False),
        sa.PrimaryKeyConstraint("id", name="pk_vehicles"),
        sa.CheckConstraint("length(id) = 36", name="ck_vehicles_id"),
        sa.CheckConstraint("length(name) BETWEEN 1 AND 200", name="ck_vehicles_name"),
        sa.CheckConstraint("meter IN ('km', 'mile', 'h')", name="ck_vehicles_meter"),
        sa.CheckConstraint("meter_digits BETWEEN 3 AND 9", name="ck_vehicles_meter_digits"),
        sa.UniqueConstraint("name_key", name="uq_vehicles_name_key"),
        sqlite_strict=True,
    )
    op.create_table(
        "engines",
        sa.Column("id", Words, nullable=False),
        sa.Column("name", Words, nullable=False),
        sa.Column("name_key", Words, nullable=False),
        sa.Column("vehicle_id", Words, nullable=True),
        sa.Column("created", Words, nullable=False),
        sa.PrimaryKeyConstraint("id", name="pk_engines"),
        sa.CheckConstraint("length(id) = 36", name="ck_engines_id"),
        sa.CheckConstraint("length(name) BETWEEN 1 AND 200", name="ck_engines_name"),
        sa.CheckConstraint("created LIKE '____-__-__T__:__:__.___Z'", name="ck_engines_created"),
        sa.UniqueConstraint("name_key", name="uq_engines_name_key"),
        sa.ForeignKeyConstraint(["vehicle_id"], ["vehicles.id"], name="fk_engines_vehicle_id"),
        sqlite_strict=True,
    )
    op.create_table(
        "engine_files",
        sa.Column("id", Words, nullable=False),
        sa.Column("engine_id", Words, nullable=False),
        sa.Column("version", Whole, nullable=False),
        sa.Column("toml", Words, nullable=False),
        sa.Column("tables", Words, nullable=False),
        sa.Column("since", Words, nullable=False),
        sa.PrimaryKeyConstraint("id", name="pk_engine_files"),
        sa.UniqueConstraint("engine_id", "version", name="uq_engine_files_engine_id_version"),
        sa.UniqueConstraint("engine_id", "id", name="uq_engine_files_engine_id_id"),
        sa.CheckConstraint("length(id) = 36", name="ck_engine_files_id"),
        sa.CheckConstraint("version >= 1", name="ck_engine_files_version"),
        sa.CheckConstraint("since LIKE '____-__-__T__:__:__.___Z'", name="ck_engine_files_since"),
        sa.ForeignKeyConstraint(["engine_id"], ["engines.id"], name="fk_engine_files_engine_id"),
        sqlite_strict=True,
    )
    op.create_table(
        "blade_sets",
        sa.Column("id", Words, nullable=False),
        sa.Column("name", Words, nullable=False),
        sa.Column("name_key", Words, nullable=False),
        sa.Column("unit", Words, nullable=False),
        sa.Column("blades_um", Numbers, nullable=False),
        sa.Column("stacks_of", Whole, nullable=False),
        sa.PrimaryKeyConstraint("id", name="pk_blade_sets"),
        sa.CheckConstraint("length(id) = 36", name="ck_blade_sets_id"),
        sa.CheckConstraint("length(name) BETWEEN 1 AND 200", name="ck_blade_sets_name"),
        sa.CheckConstraint("unit IN ('mm', 'in')", name="ck_blade_sets_unit"),
        sa.CheckConstraint("stacks_of IN (1, 2)", name="ck_blade_sets_stacks_of"),
        sa.UniqueConstraint("name_key", name="uq_blade_sets_name_key"),
        sqlite_strict=True,
    )
    op.create_table(
        "visits",
        sa.Column("id", Words, nullable=False),
        sa.Column("engine_id", Words, nullable=False),
        sa.Column("engine_file_id", Words, nullable=False),
        sa.Column("day", Words, nullable=False),
        sa.Column("distance_m", Whole, nullable=False),
        sa.Column("engine_temp_mc", Whole, nullable=True),
        sa.Column("air_temp_mc", Whole, nullable=True),
        sa.Column("meter_reading", Whole, nullable=True),
        sa.Column("meter_unit", Words, nullable=True),
        sa.Column("by", Words, nullable=True),
        sa.Column("blades_um", Numbers, nullable=False),
        sa.Column("plan", Words, nullable=False),
        sa.Column("place", Words, nullable=False),
        sa.Column("note", Words, nullable=False),
        sa.Column("state", Words, nullable=False),
        sa.Column("opened_at", Words, nullable=False),
        sa.Column("closed_at", Words, nullable=True),
        sa.PrimaryKeyConstraint("id", name="pk_visits"),
        sa.ForeignKeyConstraint(
            ["engine_id", "engine_file_id"],
            ["engine_files.engine_id", "engine_files.id"],
            name="fk_visits_engine_id_engine_file_id",
        ),
        sa.CheckConstraint("length(id) = 36", name="ck_visits_id"),
        sa.CheckConstraint("day LIKE '____-__-__'", name="ck_visits_day"),
        sa.CheckConstraint("distance_m BETWEEN 0 AND 10000000000", name="ck_visits_distance_m"),
        sa.CheckConstraint("engine_temp_mc BETWEEN -60000 AND 400000", name="ck_visits_engine_temp_mc"),
        sa.CheckConstraint("air_temp_mc BETWEEN -60000 AND 400000", name="ck_visits_air_temp_mc"),
        sa.CheckConstraint(
            "(meter_reading IS NULL) = (meter_unit IS NULL) AND (meter_reading IS NULL OR meter_reading >= 0)",
            name="ck_visits_meter",
        ),
        sa.CheckConstraint("meter_unit IN ('km', 'mile', 'h')", name="ck_visits_meter_unit"),
        sa.CheckConstraint("state IN ('draft', 'closed', 'discarded')", name="ck_visits_state"),
        sa.CheckConstraint("opened_at LIKE '____-__-__T__:__:__.___Z'", name="ck_visits_opened_at"),
        sa.CheckConstraint("closed_at LIKE '____-__-__T__:__:__.___Z'", name="ck_visits_closed_at"),
        sa.CheckConstraint(
            "(state <> 'draft' OR closed_at IS NULL) AND (state <> 'closed' OR closed_at IS NOT NULL)",
            name="ck_visits_closed",
        ),
        sa.ForeignKeyConstraint(["engine_id"], ["engines.id"], name="fk_visits_engine_id"),
        sqlite_strict=True,
    )
    op.create_index(
        "ix_visits_engine_id_state_day_distance_m", "visits", ["engine_id", "state", "day", "distance_m"]
    )
    op.create_index("ix_visits_state_engine_id", "visits", ["state", "engine_id"])
    op.create_index(
        "uq_visits_engine_id_day_distance_m",
        "visits",
        ["engine_id", "day", "distance_m"],
        unique=True,
        sqlite_where=sa.text("state <> 'discarded'"),
        postgresql_where=sa.text("state <> 'discarded'"),
    )
    op.create_table(
        "readings",
        sa.Column("seq", Whole, nullable=False),
        sa.Column("id", Words, nullable=False),
        sa.Column("visit_id", Words, nullable=False),
        sa.Column("valve", Words, nullable=False),
        sa.Column("step", Words, nullable=False),
        sa.Column("go_um", Whole, nullable=True),
        sa.Column("nogo_um", Whole, nullable=True),
        sa.Column("blade_um", Whole, nullable=True),
        sa.Column("feel", Words, nullable=True),
        sa.Column("spin", Words, nullable=True),
        sa.Column("note", Words, nullable=False),
        sa.Column("by", Words, nullable=True),
        sa.Column("device", Words, nullable=True),
        sa.Column("replaces", Words, nullable=True),
        sa.Column("reason", Words, nullable=False),
        sa.Column("withdrawn", Flag, nullable=False),
        sa.Column("at", Words, nullable=False),
        sa.PrimaryKeyConstraint("seq", name="pk_readings"),
        sa.UniqueConstraint("id", "visit_id", "valve", "step", name="uq_readings_id_visit_id_valve_step"),
        sa.ForeignKeyConstraint(
            ["replaces", "visit_id", "valve", "step"],
            ["readings.id", "readings.visit_id", "readings.valve", "readings.step"],
            name="fk_readings_replaces",
        ),
        sa.CheckConstraint("length(id) = 36", name="ck_readings_id"),
        sa.CheckConstraint(
            "length(valve) IN (2, 3) AND substr(valve, 1, 1) IN ('I', 'E') "
            "AND substr(valve, 2, 1) BETWEEN '1' AND '9' "
            "AND (length(valve) = 2 OR substr(valve, 3, 1) BETWEEN '0' AND '9')",
            name="ck_readings_valve",
        ),
        sa.CheckConstraint("step IN ('found', 'set', 'left')", name="ck_readings_step"),
        sa.CheckConstraint("go_um BETWEEN 0 AND 20000", name="ck_readings_go_um"),
        sa.CheckConstraint("nogo_um BETWEEN 1 AND 20000", name="ck_readings_nogo_um"),
        sa.CheckConstraint("blade_um BETWEEN 0 AND 20000", name="ck_readings_blade_um"),
        sa.CheckConstraint("go_um IS NOT NULL OR nogo_um IS NULL", name="ck_readings_nogo_needs_go"),
        sa.CheckConstraint(
            "go_um IS NULL OR go_um > 0 OR nogo_um IS NOT NULL", name="ck_readings_none_went_needs_nogo"
        ),
        sa.CheckConstraint("go_um < nogo_um", name="ck_readings_go_below_nogo"),
        sa.CheckConstraint(
            "step <> 'set' OR (go_um IS NULL AND nogo_um IS NULL)", name="ck_readings_set_has_one_blade"
        ),
        sa.CheckConstraint("step = 'set' OR blade_um IS NULL", name="ck_readings_blade_only_for_set"),
        sa.CheckConstraint("feel IN ('free', 'drag')", name="ck_readings_feel"),
        sa.CheckConstraint(
            "feel IS NULL OR step = 'set' OR COALESCE(go_um, 0) > 0", name="ck_readings_feel_needs_go"
        ),
        sa.CheckConstraint("spin IN ('free', 'stiff', 'none')", name="ck_readings_spin"),
        sa.CheckConstraint("withdrawn IN (0, 1)", name="ck_readings_withdrawn"),
        sa.CheckConstraint(
            "withdrawn = 0 OR (replaces IS NOT NULL AND go_um IS NULL AND nogo_um IS NULL "
            "AND blade_um IS NULL AND feel IS NULL AND spin IS NULL)",
            name="ck_readings_withdrawal_has_no_values",
        ),
        sa.CheckConstraint("at LIKE '____-__-__T__:__:__.___Z'", name="ck_readings_at"),
        sa.UniqueConstraint("id", name="uq_readings_id"),
        sa.ForeignKeyConstraint(["visit_id"], ["visits.id"], name="fk_readings_visit_id"),
        sa.UniqueConstraint("replaces", name="uq_readings_replaces"),
        sqlite_strict=True,
        sqlite_autoincrement=True,
    )
    op.create_index("ix_readings_visit_id_seq", "readings", ["visit_id", "seq"])
    op.create_index(
        "uq_readings_visit_id_valve_step",
        "readings",
        ["visit_id", "valve", "step"],
        unique=True,
        sqlite_where=sa.text("replaces IS NULL"),
        postgresql_where=sa.text("replaces IS NULL"),
    )
    op.create_table(
        "visit_changes",
        sa.Column("seq", Whole, nullable=False),
        sa.Column("id", Words, nullable=False),
        sa.Column("visit_id", Words, nullable=False),
        sa.Column("field", Words, nullable=False),
        sa.Column("old", Words, nullable=False),
        sa.Column("new", Words, nullable=False),
        sa.Column("reason", Words, nullable=False),
        sa.Column("by", Words, nullable=True),
        sa.Column("at", Words, nullable=False),
        sa.PrimaryKeyConstraint("seq", name="pk_visit_changes"),
        sa.CheckConstraint("length(id) = 36", name="ck_visit_changes_id"),
        sa.CheckConstraint("at LIKE '____-__-__T__:__:__.___Z'", name="ck_visit_changes_at"),
        sa.UniqueConstraint("id", name="uq_visit_changes_id"),
        sa.ForeignKeyConstraint(["visit_id"], ["visits.id"], name="fk_visit_changes_visit_id"),
        sqlite_strict=True,
        sqlite_autoincrement=True,
    )
    op.create_index("ix_visit_changes_visit_id_seq", "visit_changes", ["visit_id", "seq"])

    if op.get_bind().dialect.name == "sqlite":
        for table in ("readings", "visit_changes"):
            for what in ("UPDATE", "DELETE"):
                op.execute(
                    f"CREATE TRIGGER {table}_no_{what.lower()} BEFORE {what} ON {table} "
                    f"BEGIN SELECT RAISE(ABORT, 'rows of {table} are only ever added'); END"
                )
        return
    op.execute(
        "CREATE FUNCTION coldlash_only_added() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN "
        "RAISE EXCEPTION USING ERRCODE = 'integrity_constraint_violation', "
        "MESSAGE = 'rows of ' || TG_TABLE_NAME || ' are only ever added'; END $$"
    )
    for table in ("readings", "visit_changes"):
        for name, when, each in (
            ("only_added", "UPDATE OR DELETE", "ROW"),
            ("not_emptied", "TRUNCATE", "STATEMENT"),
        ):
            op.execute(
                f"CREATE TRIGGER {table}_{name} BEFORE {when} ON {table} "
                f"FOR EACH {each} EXECUTE FUNCTION coldlash_only_added()"
            )
