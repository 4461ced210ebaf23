PRAGMA application_id = 1668047219;
BEGIN TRANSACTION;
CREATE TABLE alembic_version (
	version_num VARCHAR(32) NOT NULL, 
	CONSTRAINT alembic_version_pkc PRIMARY KEY (version_num)
);
INSERT INTO "alembic_version" VALUES('0001');
CREATE TABLE blade_sets (
	id TEXT NOT NULL, 
	name TEXT NOT NULL, 
	name_key TEXT NOT NULL, 
	unit TEXT NOT NULL, 
	blades_um TEXT NOT NULL, 
	stacks_of INTEGER NOT NULL, 
	CONSTRAINT pk_blade_sets PRIMARY KEY (id), 
	CONSTRAINT ck_blade_sets_id CHECK (length(id) = 36), 
	CONSTRAINT ck_blade_sets_name CHECK (length(name) BETWEEN 1 AND 200), 
	CONSTRAINT ck_blade_sets_unit CHECK (unit IN ('mm', 'in')), 
	CONSTRAINT ck_blade_sets_stacks_of CHECK (stacks_of IN (1, 2)), 
	CONSTRAINT uq_blade_sets_name_key UNIQUE (name_key)
)
 STRICT

;
INSERT INTO "blade_sets" VALUES('00000000-0000-4000-8000-000000000002','Box','box','mm','[50,100,150,200]',2);
CREATE TABLE engine_files (
	id TEXT NOT NULL, 
	engine_id TEXT NOT NULL, 
	version INTEGER NOT NULL, 
	toml TEXT NOT NULL, 
	tables TEXT NOT NULL, 
	since TEXT NOT NULL, 
	CONSTRAINT pk_engine_files PRIMARY KEY (id), 
	CONSTRAINT uq_engine_files_engine_id_version UNIQUE (engine_id, version), 
	CONSTRAINT uq_engine_files_engine_id_id UNIQUE (engine_id, id), 
	CONSTRAINT ck_engine_files_id CHECK (length(id) = 36), 
	CONSTRAINT ck_engine_files_version CHECK (version >= 1), 
	CONSTRAINT ck_engine_files_since CHECK (since LIKE '____-__-__T__:__:__.___Z'), 
	CONSTRAINT fk_engine_files_engine_id FOREIGN KEY(engine_id) REFERENCES engines (id)
)
 STRICT

;
INSERT INTO "engine_files" VALUES('c6b9defc-82b3-42ce-a2f0-550c350f4ec4','00000000-0000-4000-8000-000000000003',1,'# Generic air-cooled flat-four with aluminium pushrods.
# "typical, from memory" marks a figure nobody looked up: yours comes from the maker''s manual or your own engine.

name = "Generic flat-four"
cylinders = 4
firing_order = [1, 4, 3, 2]  # common practice
turns = "clockwise"  # seen facing the pulley; typical, from memory
layout = "flat"
# First the head on the right hand of someone who faces the pulley.
heads = [[1, 2], [3, 4]]  # common practice
# Valves as seen from above, from the pulley outward, head by head: common practice
rows = [["E2", "I2", "I1", "E1"], ["E4", "I4", "I3", "E3"]]
# Opposite cylinders share their lobes: common practice.
shared_lobes = [["I1", "I3"], ["E1", "E3"], ["I2", "I4"], ["E2", "E4"]]

[valve_events_deg]
# Crank degrees at the base circle, ramps included: typical, from memory
intake_opens_btdc = 10
intake_closes_abdc = 40
exhaust_opens_bbdc = 45
exhaust_closes_atdc = 8

[gap_mm.intake]
cold = 0.15  # common practice: 0.15 mm with aluminium pushrods, both valves
tight = 0.05  # typical, from memory
loose = 0.30  # typical, from memory

[gap_mm.exhaust]
cold = 0.15  # common practice: 0.15 mm with aluminium pushrods, both valves
tight = 0.05  # typical, from memory
loose = 0.30  # typical, from memory

[linkage]
rocker_ratio = 1.1  # valve side / pushrod side; typical, from memory
screw_side = "valve"  # common practice
screw_pitch_mm = 1.0  # typical, from memory

[pulley]
diameter_mm = 175  # typical, from memory
marks_deg = [0]  # one mark, top dead centre of cylinder 1: common practice

# What grows with heat, from the camshaft outward along the cylinder. Lengths are plausible round figures, not
# measured ones; the materials'' figures and sources stand in the table of materials.
[[stack]]
part = "crankcase"
length_mm = 95  # from the camshaft to the foot of the cylinder; typical, from memory
material = "AZ91D"
zone = "crankcase"
heights = ["pivot", "intake", "exhaust"]

[[stack]]
part = "cylinder"
length_mm = 105  # between crankcase and head; typical, from memory
material = "grey-iron"
zone = "cylinder"
heights = ["pivot", "intake", "exhaust"]

[[stack]]
part = "head up to the rocker pivot"
length_mm = 90  # typical, from memory
material = "A356"
zone = "head"
heights = ["pivot"]

[[stack]]
part = "head up to the valve seat"
length_mm = 8  # typical, from memory
material = "A356"
zone = "head"
heights = ["intake", "exhaust"]

[[stack]]
part = "intake valve"
length_mm = 100  # from its seat to its tip; typical, from memory
material = "martensitic-valve-steel"
zone = "intake_valve"
heights = ["intake"]

[[stack]]
part = "exhaust valve"
length_mm = 100  # from its seat to its tip; typical, from memory
material = "21-4N"
zone = "exhaust_valve"
heights = ["exhaust"]

[[stack]]
part = "cam and lifter"
length_mm = 44  # base circle, foot and lifter up to the pushrod''s seat; typical, from memory
material = "grey-iron"
zone = "lifter"
heights = ["pushrod"]

[[stack]]
part = "pushrod"
length_mm = 230  # typical, from memory
material = "6061"
zone = "pushrod"
heights = ["pushrod"]

[geometry]
bore_mm = 85.5  # typical, from memory
stroke_mm = 69.0  # typical, from memory
rod_mm = 137.0  # typical, from memory
compression_ratio = 7.5  # typical, from memory

[lobe.intake]
peak_lift_mm = 8.5  # at the valve; typical, from memory
ramp_mm = 0.25  # typical, from memory
ramp_deg = 12  # cam degrees; typical, from memory

[lobe.exhaust]
peak_lift_mm = 8.5  # at the valve; typical, from memory
ramp_mm = 0.25  # typical, from memory
ramp_deg = 12  # cam degrees; typical, from memory

[service]
every_km = 5000  # common practice: 5,000 km or 3,000 miles
every_months = 12  # common practice: once a year at least
first_km = 500  # after a rebuild; common practice: 500 to 1,000 km
','{}','2024-05-04T12:00:00.000Z');
INSERT INTO "engine_files" VALUES('00000000-0000-4000-8000-00000000000e','00000000-0000-4000-8000-000000000003',2,'# Generic air-cooled flat-four with aluminium pushrods.
# "typical, from memory" marks a figure nobody looked up: yours comes from the maker''s manual or your own engine.

name = "Generic flat-four"
cylinders = 4
firing_order = [1, 4, 3, 2]  # common practice
turns = "clockwise"  # seen facing the pulley; typical, from memory
layout = "flat"
# First the head on the right hand of someone who faces the pulley.
heads = [[1, 2], [3, 4]]  # common practice
# Valves as seen from above, from the pulley outward, head by head: common practice
rows = [["E2", "I2", "I1", "E1"], ["E4", "I4", "I3", "E3"]]
# Opposite cylinders share their lobes: common practice.
shared_lobes = [["I1", "I3"], ["E1", "E3"], ["I2", "I4"], ["E2", "E4"]]

[valve_events_deg]
# Crank degrees at the base circle, ramps included: typical, from memory
intake_opens_btdc = 10
intake_closes_abdc = 40
exhaust_opens_bbdc = 45
exhaust_closes_atdc = 8

[gap_mm.intake]
cold = 0.15  # common practice: 0.15 mm with aluminium pushrods, both valves
tight = 0.05  # typical, from memory
loose = 0.30  # typical, from memory

[gap_mm.exhaust]
cold = 0.15  # common practice: 0.15 mm with aluminium pushrods, both valves
tight = 0.05  # typical, from memory
loose = 0.30  # typical, from memory

[linkage]
rocker_ratio = 1.1  # valve side / pushrod side; typical, from memory
screw_side = "valve"  # common practice
screw_pitch_mm = 1.0  # typical, from memory

[pulley]
diameter_mm = 175  # typical, from memory
marks_deg = [0]  # one mark, top dead centre of cylinder 1: common practice

# What grows with heat, from the camshaft outward along the cylinder. Lengths are plausible round figures, not
# measured ones; the materials'' figures and sources stand in the table of materials.
[[stack]]
part = "crankcase"
length_mm = 95  # from the camshaft to the foot of the cylinder; typical, from memory
material = "AZ91D"
zone = "crankcase"
heights = ["pivot", "intake", "exhaust"]

[[stack]]
part = "cylinder"
length_mm = 105  # between crankcase and head; typical, from memory
material = "grey-iron"
zone = "cylinder"
heights = ["pivot", "intake", "exhaust"]

[[stack]]
part = "head up to the rocker pivot"
length_mm = 90  # typical, from memory
material = "A356"
zone = "head"
heights = ["pivot"]

[[stack]]
part = "head up to the valve seat"
length_mm = 8  # typical, from memory
material = "A356"
zone = "head"
heights = ["intake", "exhaust"]

[[stack]]
part = "intake valve"
length_mm = 100  # from its seat to its tip; typical, from memory
material = "martensitic-valve-steel"
zone = "intake_valve"
heights = ["intake"]

[[stack]]
part = "exhaust valve"
length_mm = 100  # from its seat to its tip; typical, from memory
material = "21-4N"
zone = "exhaust_valve"
heights = ["exhaust"]

[[stack]]
part = "cam and lifter"
length_mm = 44  # base circle, foot and lifter up to the pushrod''s seat; typical, from memory
material = "grey-iron"
zone = "lifter"
heights = ["pushrod"]

[[stack]]
part = "pushrod"
length_mm = 230  # typical, from memory
material = "6061"
zone = "pushrod"
heights = ["pushrod"]

[geometry]
bore_mm = 85.5  # typical, from memory
stroke_mm = 69.0  # typical, from memory
rod_mm = 137.0  # typical, from memory
compression_ratio = 7.5  # typical, from memory

[lobe.intake]
peak_lift_mm = 8.5  # at the valve; typical, from memory
ramp_mm = 0.25  # typical, from memory
ramp_deg = 12  # cam degrees; typical, from memory

[lobe.exhaust]
peak_lift_mm = 8.5  # at the valve; typical, from memory
ramp_mm = 0.25  # typical, from memory
ramp_deg = 12  # cam degrees; typical, from memory

[service]
every_km = 5000  # common practice: 5,000 km or 3,000 miles
every_months = 12  # common practice: once a year at least
first_km = 500  # after a rebuild; common practice: 500 to 1,000 km

# new camshaft
','{"lobe.csv":"0,0\n10,0.1\n"}','2024-05-04T12:00:00.000Z');
CREATE TABLE engines (
	id TEXT NOT NULL, 
	name TEXT NOT NULL, 
	name_key TEXT NOT NULL, 
	vehicle_id TEXT, 
	created TEXT NOT NULL, 
	CONSTRAINT pk_engines PRIMARY KEY (id), 
	CONSTRAINT ck_engines_id CHECK (length(id) = 36), 
	CONSTRAINT ck_engines_name CHECK (length(name) BETWEEN 1 AND 200), 
	CONSTRAINT ck_engines_created CHECK (created LIKE '____-__-__T__:__:__.___Z'), 
	CONSTRAINT uq_engines_name_key UNIQUE (name_key), 
	CONSTRAINT fk_engines_vehicle_id FOREIGN KEY(vehicle_id) REFERENCES vehicles (id)
)
 STRICT

;
INSERT INTO "engines" VALUES('00000000-0000-4000-8000-000000000003','Delivery van engine','delivery van engine','00000000-0000-4000-8000-000000000001','2024-05-04T12:00:00.000Z');
CREATE TABLE readings (
	seq INTEGER NOT NULL PRIMARY KEY AUTOINCREMENT, 
	id TEXT NOT NULL, 
	visit_id TEXT NOT NULL, 
	valve TEXT NOT NULL, 
	step TEXT NOT NULL, 
	go_um INTEGER, 
	nogo_um INTEGER, 
	blade_um INTEGER, 
	feel TEXT, 
	spin TEXT, 
	note TEXT NOT NULL, 
	"by" TEXT, 
	device TEXT, 
	replaces TEXT, 
	reason TEXT NOT NULL, 
	withdrawn INTEGER NOT NULL, 
	at TEXT NOT NULL, 
	CONSTRAINT uq_readings_id_visit_id_valve_step UNIQUE (id, visit_id, valve, step), 
	CONSTRAINT fk_readings_replaces FOREIGN KEY(replaces, visit_id, valve, step) REFERENCES readings (id, visit_id, valve, step), 
	CONSTRAINT ck_readings_id CHECK (length(id) = 36), 
	CONSTRAINT ck_readings_valve CHECK (length(valve) IN (2, 3) AND substr(valve, 1, 1) IN ('I', 'E') AND substr(valve, 2, 1) BETWEEN '1' AND '9' AND (length(valve) = 2 OR substr(valve, 3, 1) BETWEEN '0' AND '9')), 
	CONSTRAINT ck_readings_step CHECK (step IN ('found', 'set', 'left')), 
	CONSTRAINT ck_readings_go_um CHECK (go_um BETWEEN 0 AND 20000), 
	CONSTRAINT ck_readings_nogo_um CHECK (nogo_um BETWEEN 1 AND 20000), 
	CONSTRAINT ck_readings_blade_um CHECK (blade_um BETWEEN 0 AND 20000), 
	CONSTRAINT ck_readings_nogo_needs_go CHECK (go_um IS NOT NULL OR nogo_um IS NULL), 
	CONSTRAINT ck_readings_none_went_needs_nogo CHECK (go_um IS NULL OR go_um > 0 OR nogo_um IS NOT NULL), 
	CONSTRAINT ck_readings_go_below_nogo CHECK (go_um < nogo_um), 
	CONSTRAINT ck_readings_set_has_one_blade CHECK (step <> 'set' OR (go_um IS NULL AND nogo_um IS NULL)), 
	CONSTRAINT ck_readings_blade_only_for_set CHECK (step = 'set' OR blade_um IS NULL), 
	CONSTRAINT ck_readings_feel CHECK (feel IN ('free', 'drag')), 
	CONSTRAINT ck_readings_feel_needs_go CHECK (feel IS NULL OR step = 'set' OR COALESCE(go_um, 0) > 0), 
	CONSTRAINT ck_readings_spin CHECK (spin IN ('free', 'stiff', 'none')), 
	CONSTRAINT ck_readings_withdrawn CHECK (withdrawn IN (0, 1)), 
	CONSTRAINT ck_readings_withdrawal_has_no_values CHECK (withdrawn = 0 OR (replaces IS NOT NULL AND go_um IS NULL AND nogo_um IS NULL AND blade_um IS NULL AND feel IS NULL AND spin IS NULL)), 
	CONSTRAINT ck_readings_at CHECK (at LIKE '____-__-__T__:__:__.___Z'), 
	CONSTRAINT uq_readings_id UNIQUE (id), 
	CONSTRAINT fk_readings_visit_id FOREIGN KEY(visit_id) REFERENCES visits (id), 
	CONSTRAINT uq_readings_replaces UNIQUE (replaces)
)
 STRICT

;
INSERT INTO "readings" VALUES(1,'00000000-0000-4000-8000-000000000005','00000000-0000-4000-8000-000000000004','E3','found',100,150,NULL,NULL,'free','','Ann','phone',NULL,'',0,'2024-05-04T12:00:00.000Z');
INSERT INTO "readings" VALUES(2,'00000000-0000-4000-8000-000000000006','00000000-0000-4000-8000-000000000004','E3','found',50,100,NULL,NULL,NULL,'read twice',NULL,NULL,'00000000-0000-4000-8000-000000000005','',0,'2024-05-04T12:00:00.000Z');
INSERT INTO "readings" VALUES(3,'00000000-0000-4000-8000-000000000007','00000000-0000-4000-8000-000000000004','E3','set',NULL,NULL,150,'drag',NULL,'',NULL,NULL,NULL,'',0,'2024-05-04T12:00:00.000Z');
INSERT INTO "readings" VALUES(4,'00000000-0000-4000-8000-000000000008','00000000-0000-4000-8000-000000000004','E3','left',150,NULL,NULL,'drag',NULL,'',NULL,NULL,NULL,'',0,'2024-05-04T12:00:00.000Z');
INSERT INTO "readings" VALUES(5,'00000000-0000-4000-8000-000000000009','00000000-0000-4000-8000-000000000004','I3','found',0,50,NULL,NULL,NULL,'',NULL,NULL,NULL,'',0,'2024-05-04T12:00:00.000Z');
INSERT INTO "readings" VALUES(6,'00000000-0000-4000-8000-00000000000a','00000000-0000-4000-8000-000000000004','I4','found',NULL,NULL,NULL,NULL,NULL,'',NULL,NULL,NULL,'',0,'2024-05-04T12:00:00.000Z');
INSERT INTO "readings" VALUES(7,'00000000-0000-4000-8000-00000000000b','00000000-0000-4000-8000-000000000004','I4','found',NULL,NULL,NULL,NULL,NULL,'',NULL,NULL,'00000000-0000-4000-8000-00000000000a','',1,'2024-05-04T12:00:00.000Z');
INSERT INTO "readings" VALUES(8,'00000000-0000-4000-8000-00000000000d','00000000-0000-4000-8000-000000000004','E3','found',100,150,NULL,NULL,NULL,'',NULL,NULL,'00000000-0000-4000-8000-000000000006','the first was right',0,'2024-05-04T12:00:00.000Z');
INSERT INTO "readings" VALUES(9,'00000000-0000-4000-8000-000000000010','00000000-0000-4000-8000-00000000000f','E3','found',200,NULL,NULL,NULL,NULL,'',NULL,NULL,NULL,'',0,'2024-05-04T12:00:00.000Z');
INSERT INTO "readings" VALUES(10,'00000000-0000-4000-8000-000000000011','00000000-0000-4000-8000-00000000000f','I4','set',NULL,NULL,NULL,NULL,NULL,'',NULL,NULL,NULL,'',0,'2024-05-04T12:00:00.000Z');
CREATE TABLE settings (
	"key" TEXT NOT NULL, 
	value TEXT NOT NULL, 
	CONSTRAINT pk_settings PRIMARY KEY ("key")
)
 STRICT

;
INSERT INTO "settings" VALUES('gap_unit','mm');
CREATE TABLE vehicles (
	id TEXT NOT NULL, 
	name TEXT NOT NULL, 
	name_key TEXT NOT NULL, 
	meter TEXT NOT NULL, 
	meter_digits INTEGER, 
	note TEXT NOT NULL, 
	CONSTRAINT pk_vehicles PRIMARY KEY (id), 
	CONSTRAINT ck_vehicles_id CHECK (length(id) = 36), 
	CONSTRAINT ck_vehicles_name CHECK (length(name) BETWEEN 1 AND 200), 
	CONSTRAINT ck_vehicles_meter CHECK (meter IN ('km', 'mile', 'h')), 
	CONSTRAINT ck_vehicles_meter_digits CHECK (meter_digits BETWEEN 3 AND 9), 
	CONSTRAINT uq_vehicles_name_key UNIQUE (name_key)
)
 STRICT

;
INSERT INTO "vehicles" VALUES('00000000-0000-4000-8000-000000000001','Lieferwagen 車','lieferwagen 車','mile',5,'grey');
CREATE TABLE visit_changes (
	seq INTEGER NOT NULL PRIMARY KEY AUTOINCREMENT, 
	id TEXT NOT NULL, 
	visit_id TEXT NOT NULL, 
	field TEXT NOT NULL, 
	old TEXT NOT NULL, 
	new TEXT NOT NULL, 
	reason TEXT NOT NULL, 
	"by" TEXT, 
	at TEXT NOT NULL, 
	CONSTRAINT ck_visit_changes_id CHECK (length(id) = 36), 
	CONSTRAINT ck_visit_changes_at CHECK (at LIKE '____-__-__T__:__:__.___Z'), 
	CONSTRAINT uq_visit_changes_id UNIQUE (id), 
	CONSTRAINT fk_visit_changes_visit_id FOREIGN KEY(visit_id) REFERENCES visits (id)
)
 STRICT

;
INSERT INTO "visit_changes" VALUES(1,'debda849-f3d4-556c-9cc5-0e8343be9d5e','00000000-0000-4000-8000-000000000004','note','"n"','"rainy; 雨"','remembered later','Ann','2024-05-04T12:00:00.000Z');
INSERT INTO "visit_changes" VALUES(2,'451f5146-5e1e-4a6d-bea2-2a21a8baeaaf','00000000-0000-4000-8000-000000000012','state','"draft"','"discarded"','another engine''s',NULL,'2024-05-04T12:00:00.000Z');
CREATE TABLE visits (
	id TEXT NOT NULL, 
	engine_id TEXT NOT NULL, 
	engine_file_id TEXT NOT NULL, 
	day TEXT NOT NULL, 
	distance_m INTEGER NOT NULL, 
	engine_temp_mc INTEGER, 
	air_temp_mc INTEGER, 
	meter_reading INTEGER, 
	meter_unit TEXT, 
	"by" TEXT, 
	blades_um TEXT NOT NULL, 
	"plan" TEXT NOT NULL, 
	place TEXT NOT NULL, 
	note TEXT NOT NULL, 
	state TEXT NOT NULL, 
	opened_at TEXT NOT NULL, 
	closed_at TEXT, 
	CONSTRAINT pk_visits PRIMARY KEY (id), 
	CONSTRAINT fk_visits_engine_id_engine_file_id FOREIGN KEY(engine_id, engine_file_id) REFERENCES engine_files (engine_id, id), 
	CONSTRAINT ck_visits_id CHECK (length(id) = 36), 
	CONSTRAINT ck_visits_day CHECK (day LIKE '____-__-__'), 
	CONSTRAINT ck_visits_distance_m CHECK (distance_m BETWEEN 0 AND 10000000000), 
	CONSTRAINT ck_visits_engine_temp_mc CHECK (engine_temp_mc BETWEEN -60000 AND 400000), 
	CONSTRAINT ck_visits_air_temp_mc CHECK (air_temp_mc BETWEEN -60000 AND 400000), 
	CONSTRAINT ck_visits_meter CHECK ((meter_reading IS NULL) = (meter_unit IS NULL) AND (meter_reading IS NULL OR meter_reading >= 0)), 
	CONSTRAINT ck_visits_meter_unit CHECK (meter_unit IN ('km', 'mile', 'h')), 
	CONSTRAINT ck_visits_state CHECK (state IN ('draft', 'closed', 'discarded')), 
	CONSTRAINT ck_visits_opened_at CHECK (opened_at LIKE '____-__-__T__:__:__.___Z'), 
	CONSTRAINT ck_visits_closed_at CHECK (closed_at LIKE '____-__-__T__:__:__.___Z'), 
	CONSTRAINT ck_visits_closed CHECK ((state <> 'draft' OR closed_at IS NULL) AND (state <> 'closed' OR closed_at IS NOT NULL)), 
	CONSTRAINT fk_visits_engine_id FOREIGN KEY(engine_id) REFERENCES engines (id)
)
 STRICT

;
INSERT INTO "visits" VALUES('00000000-0000-4000-8000-000000000004','00000000-0000-4000-8000-000000000003','c6b9defc-82b3-42ce-a2f0-550c350f4ec4','2004-03-01',84210000,18500,-2000,52325500,'mile','Ann','[50,100,150,200]','{"by":"fewest"}','E3 found','rainy; 雨','closed','2024-05-04T12:00:00.000Z','2024-05-04T12:00:00.000Z');
INSERT INTO "visits" VALUES('00000000-0000-4000-8000-00000000000f','00000000-0000-4000-8000-000000000003','00000000-0000-4000-8000-00000000000e','2005-03-01',89000000,18500,-2000,52325500,'mile','Ann','[50,100,150,200]','{"by":"fewest"}','E3 found','n','closed','2024-05-04T12:00:00.000Z','2024-05-04T12:00:00.000Z');
INSERT INTO "visits" VALUES('00000000-0000-4000-8000-000000000012','00000000-0000-4000-8000-000000000003','00000000-0000-4000-8000-00000000000e','2005-04-01',89500000,18500,-2000,52325500,'mile','Ann','[50,100,150,200]','{"by":"fewest"}','E3 found','n','discarded','2024-05-04T12:00:00.000Z',NULL);
INSERT INTO "visits" VALUES('00000000-0000-4000-8000-000000000013','00000000-0000-4000-8000-000000000003','00000000-0000-4000-8000-00000000000e','2006-03-01',94000000,18500,-2000,52325500,'mile','Ann','[50,100,150,200]','{"by":"fewest"}','E3 found','n','draft','2024-05-04T12:00:00.000Z',NULL);
CREATE INDEX ix_visits_engine_id_state_day_distance_m ON visits (engine_id, state, day, distance_m);
CREATE INDEX ix_visits_state_engine_id ON visits (state, engine_id);
CREATE UNIQUE INDEX uq_visits_engine_id_day_distance_m ON visits (engine_id, day, distance_m) WHERE state <> 'discarded';
CREATE INDEX ix_readings_visit_id_seq ON readings (visit_id, seq);
CREATE UNIQUE INDEX uq_readings_visit_id_valve_step ON readings (visit_id, valve, step) WHERE replaces IS NULL;
CREATE INDEX ix_visit_changes_visit_id_seq ON visit_changes (visit_id, seq);
CREATE TRIGGER readings_no_update BEFORE UPDATE ON readings BEGIN SELECT RAISE(ABORT, 'rows of readings are only ever added'); END;
CREATE TRIGGER readings_no_delete BEFORE DELETE ON readings BEGIN SELECT RAISE(ABORT, 'rows of readings are only ever added'); END;
CREATE TRIGGER visit_changes_no_update BEFORE UPDATE ON visit_changes BEGIN SELECT RAISE(ABORT, 'rows of visit_changes are only ever added'); END;
CREATE TRIGGER visit_changes_no_delete BEFORE DELETE ON visit_changes BEGIN SELECT RAISE(ABORT, 'rows of visit_changes are only ever added'); END;
DELETE FROM "sqlite_sequence";
INSERT INTO "sqlite_sequence" VALUES('readings',10);
INSERT INTO "sqlite_sequence" VALUES('visit_changes',2);
COMMIT;
