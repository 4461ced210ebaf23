PRAGMA application_id = 1668047219;
BEGIN TRANSACTION;
CREATE TABLE accepted_causes (
	seq INTEGER NOT NULL PRIMARY KEY AUTOINCREMENT, 
	id TEXT NOT NULL, 
	engine_id TEXT NOT NULL, 
	visit_id TEXT, 
	day TEXT NOT NULL, 
	distance_m INTEGER, 
	cylinders TEXT NOT NULL, 
	valves TEXT NOT NULL, 
	cause TEXT NOT NULL, 
	direction TEXT NOT NULL, 
	amount_um INTEGER, 
	note TEXT NOT NULL, 
	"by" TEXT, 
	device TEXT, 
	replaces TEXT, 
	reason TEXT NOT NULL, 
	withdrawn INTEGER NOT NULL, 
	at TEXT NOT NULL, 
	CONSTRAINT ck_accepted_causes_at CHECK (at LIKE '____-__-__T__:__:__.___Z'), 
	CONSTRAINT ck_accepted_causes_day CHECK (day LIKE '____-__-__'), 
	CONSTRAINT ck_accepted_causes_direction CHECK (direction IN ('tighter', 'looser')), 
	CONSTRAINT ck_accepted_causes_amount_um CHECK (amount_um BETWEEN 0 AND 20000), 
	CONSTRAINT ck_accepted_causes_distance_m CHECK (distance_m BETWEEN 0 AND 10000000000), 
	CONSTRAINT ck_accepted_causes_cause CHECK (length(cause) BETWEEN 1 AND 60), 
	CONSTRAINT ck_accepted_causes_id CHECK (length(id) = 36), 
	CONSTRAINT ck_accepted_causes_withdrawn CHECK (withdrawn = 0 OR (withdrawn = 1 AND replaces IS NOT NULL)), 
	CONSTRAINT fk_accepted_causes_engine_id FOREIGN KEY(engine_id) REFERENCES engines (id), 
	CONSTRAINT fk_accepted_causes_replaces FOREIGN KEY(replaces) REFERENCES accepted_causes (id), 
	CONSTRAINT fk_accepted_causes_visit_id FOREIGN KEY(visit_id) REFERENCES visits (id), 
	CONSTRAINT uq_accepted_causes_id UNIQUE (id), 
	CONSTRAINT uq_accepted_causes_replaces UNIQUE (replaces)
)
 STRICT

;
INSERT INTO "accepted_causes" VALUES(1,'00000000-0000-4000-8000-00000000001d','00000000-0000-4000-8000-000000000003','00000000-0000-4000-8000-000000000004','2004-03-01',NULL,'[]','["E3"]','seat_recession_or_stretch','tighter',60,'',NULL,NULL,NULL,'',0,'2024-05-04T12:00:00.000Z');
CREATE TABLE alembic_version (
	version_num VARCHAR(32) NOT NULL, 
	CONSTRAINT alembic_version_pkc PRIMARY KEY (version_num)
);
INSERT INTO "alembic_version" VALUES('0002');
CREATE TABLE applied_requests (
	"key" TEXT NOT NULL, 
	sha256 TEXT NOT NULL, 
	answer TEXT NOT NULL, 
	device TEXT, 
	at TEXT NOT NULL, 
	CONSTRAINT pk_applied_requests PRIMARY KEY ("key"), 
	CONSTRAINT ck_applied_requests_at CHECK (at LIKE '____-__-__T__:__:__.___Z'), 
	CONSTRAINT ck_applied_requests_key CHECK (length(key) BETWEEN 1 AND 200), 
	CONSTRAINT ck_applied_requests_sha256 CHECK (length(sha256) = 64)
)
 STRICT

;
INSERT INTO "applied_requests" VALUES('r1','aaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaa','{}','phone','2024-05-04T12:00:00.000Z');
CREATE TABLE attachment_files (
	sha256 TEXT NOT NULL, 
	size INTEGER NOT NULL, 
	bytes BLOB NOT NULL, 
	CONSTRAINT pk_attachment_files PRIMARY KEY (sha256), 
	CONSTRAINT ck_attachment_files_sha256 CHECK (length(sha256) = 64), 
	CONSTRAINT ck_attachment_files_size CHECK (size = length(bytes))
)
 STRICT

;
INSERT INTO "attachment_files" VALUES('da8509555ad27dac0593c6952d947eff96058cb6e81376f852f54ef9caf7e652',3,X'00FF61');
CREATE TABLE attachments (
	id TEXT NOT NULL, 
	engine_id TEXT NOT NULL, 
	visit_id TEXT, 
	valve TEXT, 
	media_type TEXT NOT NULL, 
	name TEXT NOT NULL, 
	caption TEXT NOT NULL, 
	sha256 TEXT NOT NULL, 
	size INTEGER NOT NULL, 
	width INTEGER, 
	height INTEGER, 
	taken_at TEXT, 
	"by" TEXT, 
	at TEXT NOT NULL, 
	file_sha256 TEXT, 
	removed_at TEXT, 
	CONSTRAINT pk_attachments PRIMARY KEY (id), 
	CONSTRAINT ck_attachments_at CHECK (at LIKE '____-__-__T__:__:__.___Z'), 
	CONSTRAINT ck_attachments_removed_at CHECK (removed_at LIKE '____-__-__T__:__:__.___Z'), 
	CONSTRAINT ck_attachments_taken_at CHECK (taken_at LIKE '____-__-__T__:__:__.___Z'), 
	CONSTRAINT ck_attachments_removed CHECK ((removed_at IS NULL) = (file_sha256 IS NOT NULL)), 
	CONSTRAINT ck_attachments_shape CHECK ((width IS NULL) = (height IS NULL) AND (width IS NULL OR (width > 0 AND height > 0))), 
	CONSTRAINT ck_attachments_file_sha256 CHECK (file_sha256 IS NULL OR file_sha256 = sha256), 
	CONSTRAINT ck_attachments_id CHECK (length(id) = 36), 
	CONSTRAINT ck_attachments_media_type CHECK (length(media_type) BETWEEN 3 AND 100), 
	CONSTRAINT ck_attachments_name CHECK (length(name) <= 200), 
	CONSTRAINT ck_attachments_sha256 CHECK (length(sha256) = 64), 
	CONSTRAINT ck_attachments_size CHECK (size >= 0), 
	CONSTRAINT fk_attachments_engine_id FOREIGN KEY(engine_id) REFERENCES engines (id), 
	CONSTRAINT fk_attachments_file_sha256 FOREIGN KEY(file_sha256) REFERENCES attachment_files (sha256), 
	CONSTRAINT fk_attachments_visit_id FOREIGN KEY(visit_id) REFERENCES visits (id)
)
 STRICT

;
INSERT INTO "attachments" VALUES('00000000-0000-4000-8000-00000000001e','00000000-0000-4000-8000-000000000003','00000000-0000-4000-8000-000000000004','E3','image/jpeg','seat.jpg','der Sitz','da8509555ad27dac0593c6952d947eff96058cb6e81376f852f54ef9caf7e652',3,4,3,'2024-05-04T12:00:00.000Z','Ann','2024-05-04T12:00:00.000Z','da8509555ad27dac0593c6952d947eff96058cb6e81376f852f54ef9caf7e652',NULL);
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
CREATE TABLE engine_facts (
	engine_file_id TEXT NOT NULL, 
	facts TEXT NOT NULL, 
	CONSTRAINT pk_engine_facts PRIMARY KEY (engine_file_id), 
	CONSTRAINT fk_engine_facts_engine_file_id FOREIGN KEY(engine_file_id) REFERENCES engine_files (id)
)
 STRICT

;
INSERT INTO "engine_facts" VALUES('00000000-0000-4000-8000-00000000000e','{}');
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
INSERT INTO "engine_files" VALUES('686c1b46-22ec-4f35-a27a-05578bea113e','00000000-0000-4000-8000-000000000003',1,'# Generic air-cooled flat-four with aluminium pushrods.
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
INSERT INTO "engines" VALUES('00000000-0000-4000-8000-000000000003','Delivery van engine','delivery van engine','00000000-0000-4000-8000-000000000014','2024-05-04T12:00:00.000Z');
CREATE TABLE fitments (
	seq INTEGER NOT NULL PRIMARY KEY AUTOINCREMENT, 
	id TEXT NOT NULL, 
	engine_id TEXT NOT NULL, 
	vehicle_id TEXT, 
	day TEXT, 
	meter_reading INTEGER, 
	meter_unit TEXT, 
	distance_m INTEGER, 
	note TEXT NOT NULL, 
	"by" TEXT, 
	device TEXT, 
	replaces TEXT, 
	reason TEXT NOT NULL, 
	withdrawn INTEGER NOT NULL, 
	at TEXT NOT NULL, 
	CONSTRAINT ck_fitments_at CHECK (at LIKE '____-__-__T__:__:__.___Z'), 
	CONSTRAINT ck_fitments_day CHECK (day LIKE '____-__-__'), 
	CONSTRAINT ck_fitments_meter_unit CHECK (meter_unit IN ('km', 'mile', 'h')), 
	CONSTRAINT ck_fitments_meter CHECK ((meter_reading IS NULL) = (meter_unit IS NULL) AND (meter_reading IS NULL OR meter_reading >= 0)), 
	CONSTRAINT ck_fitments_taken_out_on_a_day CHECK (day IS NOT NULL OR vehicle_id IS NOT NULL), 
	CONSTRAINT ck_fitments_distance_m CHECK (distance_m BETWEEN 0 AND 10000000000), 
	CONSTRAINT ck_fitments_id CHECK (length(id) = 36), 
	CONSTRAINT ck_fitments_withdrawn CHECK (withdrawn = 0 OR (withdrawn = 1 AND replaces IS NOT NULL)), 
	CONSTRAINT fk_fitments_engine_id FOREIGN KEY(engine_id) REFERENCES engines (id), 
	CONSTRAINT fk_fitments_replaces FOREIGN KEY(replaces) REFERENCES fitments (id), 
	CONSTRAINT fk_fitments_vehicle_id FOREIGN KEY(vehicle_id) REFERENCES vehicles (id), 
	CONSTRAINT uq_fitments_id UNIQUE (id), 
	CONSTRAINT uq_fitments_replaces UNIQUE (replaces)
)
 STRICT

;
INSERT INTO "fitments" VALUES(1,'1b7f06e5-cde5-40a6-9ebc-ed3dc6f9c8d2','00000000-0000-4000-8000-000000000003','00000000-0000-4000-8000-000000000001',NULL,NULL,NULL,NULL,'',NULL,NULL,NULL,'',0,'2024-05-04T12:00:00.000Z');
INSERT INTO "fitments" VALUES(2,'00000000-0000-4000-8000-000000000018','00000000-0000-4000-8000-000000000003','00000000-0000-4000-8000-000000000014','2007-01-01',5500,'h',94100000,'',NULL,NULL,NULL,'',0,'2024-05-04T12:00:00.000Z');
CREATE TABLE import_visits (
	visit_id TEXT NOT NULL, 
	import_id TEXT NOT NULL, 
	CONSTRAINT pk_import_visits PRIMARY KEY (visit_id), 
	CONSTRAINT fk_import_visits_import_id FOREIGN KEY(import_id) REFERENCES imports (id), 
	CONSTRAINT fk_import_visits_visit_id FOREIGN KEY(visit_id) REFERENCES visits (id)
)
 STRICT

;
INSERT INTO "import_visits" VALUES('00000000-0000-4000-8000-000000000004','00000000-0000-4000-8000-0000000000aa');
CREATE TABLE imports (
	id TEXT NOT NULL, 
	source TEXT NOT NULL, 
	sha256 TEXT NOT NULL, 
	how TEXT NOT NULL, 
	visits_added INTEGER NOT NULL, 
	rows_added INTEGER NOT NULL, 
	"by" TEXT, 
	at TEXT NOT NULL, 
	undone_at TEXT, 
	undone_reason TEXT NOT NULL, 
	CONSTRAINT pk_imports PRIMARY KEY (id), 
	CONSTRAINT ck_imports_at CHECK (at LIKE '____-__-__T__:__:__.___Z'), 
	CONSTRAINT ck_imports_undone_at CHECK (undone_at LIKE '____-__-__T__:__:__.___Z'), 
	CONSTRAINT ck_imports_id CHECK (length(id) = 36), 
	CONSTRAINT ck_imports_sha256 CHECK (length(sha256) = 64), 
	CONSTRAINT ck_imports_source CHECK (length(source) BETWEEN 1 AND 1000), 
	CONSTRAINT ck_imports_added CHECK (visits_added >= 0 AND rows_added >= 0)
)
 STRICT

;
INSERT INTO "imports" VALUES('00000000-0000-4000-8000-0000000000aa','old.csv','aaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaa','{}',1,4,NULL,'2024-05-04T12:00:00.000Z',NULL,'');
CREATE TABLE instrument_readings (
	seq INTEGER NOT NULL PRIMARY KEY AUTOINCREMENT, 
	id TEXT NOT NULL, 
	vehicle_id TEXT NOT NULL, 
	visit_id TEXT, 
	day TEXT NOT NULL, 
	reading INTEGER NOT NULL, 
	unit TEXT NOT NULL, 
	turned_over INTEGER NOT NULL, 
	note TEXT NOT NULL, 
	"by" TEXT, 
	device TEXT, 
	replaces TEXT, 
	reason TEXT NOT NULL, 
	withdrawn INTEGER NOT NULL, 
	at TEXT NOT NULL, 
	CONSTRAINT ck_instrument_readings_at CHECK (at LIKE '____-__-__T__:__:__.___Z'), 
	CONSTRAINT ck_instrument_readings_day CHECK (day LIKE '____-__-__'), 
	CONSTRAINT ck_instrument_readings_unit CHECK (unit IN ('km', 'mile', 'h')), 
	CONSTRAINT ck_instrument_readings_id CHECK (length(id) = 36), 
	CONSTRAINT ck_instrument_readings_reading CHECK (reading >= 0), 
	CONSTRAINT ck_instrument_readings_turned_over CHECK (turned_over BETWEEN 0 AND 99), 
	CONSTRAINT ck_instrument_readings_withdrawn CHECK (withdrawn = 0 OR (withdrawn = 1 AND replaces IS NOT NULL)), 
	CONSTRAINT fk_instrument_readings_replaces FOREIGN KEY(replaces) REFERENCES instrument_readings (id), 
	CONSTRAINT fk_instrument_readings_vehicle_id FOREIGN KEY(vehicle_id) REFERENCES vehicles (id), 
	CONSTRAINT fk_instrument_readings_visit_id FOREIGN KEY(visit_id) REFERENCES visits (id), 
	CONSTRAINT uq_instrument_readings_id UNIQUE (id), 
	CONSTRAINT uq_instrument_readings_replaces UNIQUE (replaces)
)
 STRICT

;
INSERT INTO "instrument_readings" VALUES(1,'00000000-0000-4000-8000-000000000016','00000000-0000-4000-8000-000000000001',NULL,'2004-09-01',100000,'mile',1,'','Ann','phone',NULL,'',0,'2024-05-04T12:00:00.000Z');
INSERT INTO "instrument_readings" VALUES(2,'00000000-0000-4000-8000-000000000017','00000000-0000-4000-8000-000000000001',NULL,'2004-09-01',110000,'mile',1,'','Ann','phone','00000000-0000-4000-8000-000000000016','misread',0,'2024-05-04T12:00:00.000Z');
CREATE TABLE instruments (
	seq INTEGER NOT NULL PRIMARY KEY AUTOINCREMENT, 
	id TEXT NOT NULL, 
	vehicle_id TEXT NOT NULL, 
	how TEXT NOT NULL, 
	unit TEXT NOT NULL, 
	digits INTEGER, 
	day TEXT, 
	reading INTEGER, 
	old_reading INTEGER, 
	note TEXT NOT NULL, 
	"by" TEXT, 
	device TEXT, 
	replaces TEXT, 
	reason TEXT NOT NULL, 
	withdrawn INTEGER NOT NULL, 
	at TEXT NOT NULL, 
	CONSTRAINT ck_instruments_at CHECK (at LIKE '____-__-__T__:__:__.___Z'), 
	CONSTRAINT ck_instruments_day CHECK (day LIKE '____-__-__'), 
	CONSTRAINT ck_instruments_only_the_first_has_no_day CHECK (how = 'first' OR day IS NOT NULL), 
	CONSTRAINT ck_instruments_how CHECK (how IN ('first', 'replaced', 'repaired')), 
	CONSTRAINT ck_instruments_old_reading CHECK (old_reading IS NULL OR (old_reading >= 0 AND how <> 'first')), 
	CONSTRAINT ck_instruments_unit CHECK (unit IN ('km', 'mile', 'h')), 
	CONSTRAINT ck_instruments_digits CHECK (digits BETWEEN 3 AND 9), 
	CONSTRAINT ck_instruments_id CHECK (length(id) = 36), 
	CONSTRAINT ck_instruments_reading CHECK (reading >= 0), 
	CONSTRAINT ck_instruments_withdrawn CHECK (withdrawn = 0 OR (withdrawn = 1 AND replaces IS NOT NULL)), 
	CONSTRAINT fk_instruments_replaces FOREIGN KEY(replaces) REFERENCES instruments (id), 
	CONSTRAINT fk_instruments_vehicle_id FOREIGN KEY(vehicle_id) REFERENCES vehicles (id), 
	CONSTRAINT uq_instruments_id UNIQUE (id), 
	CONSTRAINT uq_instruments_replaces UNIQUE (replaces)
)
 STRICT

;
INSERT INTO "instruments" VALUES(1,'00000000-0000-4000-8000-000000000015','00000000-0000-4000-8000-000000000001','replaced','km',6,'2005-06-01',0,99999000,'second-hand','Ann','phone',NULL,'',0,'2024-05-04T12:00:00.000Z');
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
CREATE TABLE search_texts (
	seq INTEGER NOT NULL PRIMARY KEY AUTOINCREMENT, 
	source TEXT NOT NULL, 
	row_id TEXT NOT NULL, 
	engine_id TEXT, 
	visit_id TEXT, 
	vehicle_id TEXT, 
	text TEXT NOT NULL, 
	CONSTRAINT uq_search_texts_source_row_id UNIQUE (source, row_id)
)
 STRICT

;
INSERT INTO "search_texts" VALUES(1,'vehicles','00000000-0000-4000-8000-000000000001',NULL,NULL,'00000000-0000-4000-8000-000000000001','grey');
INSERT INTO "search_texts" VALUES(3,'readings','00000000-0000-4000-8000-000000000006','00000000-0000-4000-8000-000000000003','00000000-0000-4000-8000-000000000004',NULL,'read twice');
INSERT INTO "search_texts" VALUES(4,'visits','00000000-0000-4000-8000-000000000004','00000000-0000-4000-8000-000000000003','00000000-0000-4000-8000-000000000004',NULL,'rainy; 雨');
INSERT INTO "search_texts" VALUES(5,'visit_changes','debda849-f3d4-556c-9cc5-0e8343be9d5e','00000000-0000-4000-8000-000000000003','00000000-0000-4000-8000-000000000004',NULL,'remembered later');
INSERT INTO "search_texts" VALUES(6,'readings','00000000-0000-4000-8000-00000000000d','00000000-0000-4000-8000-000000000003','00000000-0000-4000-8000-000000000004',NULL,'the first was right');
INSERT INTO "search_texts" VALUES(7,'visits','00000000-0000-4000-8000-00000000000f','00000000-0000-4000-8000-000000000003','00000000-0000-4000-8000-00000000000f',NULL,'n');
INSERT INTO "search_texts" VALUES(8,'visits','00000000-0000-4000-8000-000000000012','00000000-0000-4000-8000-000000000003','00000000-0000-4000-8000-000000000012',NULL,'n');
INSERT INTO "search_texts" VALUES(9,'visit_changes','38820e13-cb61-4a77-bee9-0f19a643f809','00000000-0000-4000-8000-000000000003','00000000-0000-4000-8000-000000000012',NULL,'another engine''s');
INSERT INTO "search_texts" VALUES(10,'visits','00000000-0000-4000-8000-000000000013','00000000-0000-4000-8000-000000000003','00000000-0000-4000-8000-000000000013',NULL,'n');
INSERT INTO "search_texts" VALUES(11,'instruments','00000000-0000-4000-8000-000000000015',NULL,NULL,'00000000-0000-4000-8000-000000000001','second-hand');
INSERT INTO "search_texts" VALUES(12,'instrument_readings','00000000-0000-4000-8000-000000000017',NULL,NULL,'00000000-0000-4000-8000-000000000001','misread');
INSERT INTO "search_texts" VALUES(13,'work','00000000-0000-4000-8000-000000000019','00000000-0000-4000-8000-000000000003','00000000-0000-4000-8000-000000000004',NULL,'pitted; 錆');
INSERT INTO "search_texts" VALUES(14,'work','00000000-0000-4000-8000-00000000001b','00000000-0000-4000-8000-000000000003',NULL,NULL,'another engine''s');
INSERT INTO "search_texts" VALUES(15,'attachments','00000000-0000-4000-8000-00000000001e','00000000-0000-4000-8000-000000000003','00000000-0000-4000-8000-000000000004',NULL,'der Sitz seat.jpg');
PRAGMA writable_schema=ON;
CREATE TABLE settings (
	"key" TEXT NOT NULL, 
	value TEXT NOT NULL, 
	CONSTRAINT pk_settings PRIMARY KEY ("key")
)
 STRICT

;
INSERT INTO "settings" VALUES('gap_unit','mm');
CREATE TABLE tests (
	seq INTEGER NOT NULL PRIMARY KEY AUTOINCREMENT, 
	id TEXT NOT NULL, 
	engine_id TEXT NOT NULL, 
	visit_id TEXT, 
	day TEXT NOT NULL, 
	distance_m INTEGER, 
	cylinders TEXT NOT NULL, 
	valves TEXT NOT NULL, 
	kind TEXT NOT NULL, 
	data TEXT NOT NULL, 
	result TEXT NOT NULL, 
	note TEXT NOT NULL, 
	"by" TEXT, 
	device TEXT, 
	replaces TEXT, 
	reason TEXT NOT NULL, 
	withdrawn INTEGER NOT NULL, 
	at TEXT NOT NULL, 
	CONSTRAINT ck_tests_at CHECK (at LIKE '____-__-__T__:__:__.___Z'), 
	CONSTRAINT ck_tests_day CHECK (day LIKE '____-__-__'), 
	CONSTRAINT ck_tests_distance_m CHECK (distance_m BETWEEN 0 AND 10000000000), 
	CONSTRAINT ck_tests_id CHECK (length(id) = 36), 
	CONSTRAINT ck_tests_kind CHECK (length(kind) BETWEEN 1 AND 60), 
	CONSTRAINT ck_tests_result CHECK (length(result) <= 60), 
	CONSTRAINT ck_tests_withdrawn CHECK (withdrawn = 0 OR (withdrawn = 1 AND replaces IS NOT NULL)), 
	CONSTRAINT fk_tests_engine_id FOREIGN KEY(engine_id) REFERENCES engines (id), 
	CONSTRAINT fk_tests_replaces FOREIGN KEY(replaces) REFERENCES tests (id), 
	CONSTRAINT fk_tests_visit_id FOREIGN KEY(visit_id) REFERENCES visits (id), 
	CONSTRAINT uq_tests_id UNIQUE (id), 
	CONSTRAINT uq_tests_replaces UNIQUE (replaces)
)
 STRICT

;
INSERT INTO "tests" VALUES(1,'00000000-0000-4000-8000-00000000001c','00000000-0000-4000-8000-000000000003','00000000-0000-4000-8000-000000000004','2004-03-01',NULL,'[]','["E3"]','leak_down','{"percent":12.5}','low','','Ann','phone',NULL,'',0,'2024-05-04T12:00:00.000Z');
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
INSERT INTO "vehicles" VALUES('00000000-0000-4000-8000-000000000014','Boat','boat','h',NULL,'');
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
INSERT INTO "visit_changes" VALUES(2,'38820e13-cb61-4a77-bee9-0f19a643f809','00000000-0000-4000-8000-000000000012','state','"draft"','"discarded"','another engine''s',NULL,'2024-05-04T12:00:00.000Z');
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
INSERT INTO "visits" VALUES('00000000-0000-4000-8000-000000000004','00000000-0000-4000-8000-000000000003','686c1b46-22ec-4f35-a27a-05578bea113e','2004-03-01',84210000,18500,-2000,52325500,'mile','Ann','[50,100,150,200]','{"by":"fewest"}','E3 found','rainy; 雨','closed','2024-05-04T12:00:00.000Z','2024-05-04T12:00:00.000Z');
INSERT INTO "visits" VALUES('00000000-0000-4000-8000-00000000000f','00000000-0000-4000-8000-000000000003','00000000-0000-4000-8000-00000000000e','2005-03-01',89000000,18500,-2000,52325500,'mile','Ann','[50,100,150,200]','{"by":"fewest"}','E3 found','n','closed','2024-05-04T12:00:00.000Z','2024-05-04T12:00:00.000Z');
INSERT INTO "visits" VALUES('00000000-0000-4000-8000-000000000012','00000000-0000-4000-8000-000000000003','00000000-0000-4000-8000-00000000000e','2005-04-01',89500000,18500,-2000,52325500,'mile','Ann','[50,100,150,200]','{"by":"fewest"}','E3 found','n','discarded','2024-05-04T12:00:00.000Z',NULL);
INSERT INTO "visits" VALUES('00000000-0000-4000-8000-000000000013','00000000-0000-4000-8000-000000000003','00000000-0000-4000-8000-00000000000e','2006-03-01',94000000,18500,-2000,52325500,'mile','Ann','[50,100,150,200]','{"by":"fewest"}','E3 found','n','draft','2024-05-04T12:00:00.000Z',NULL);
CREATE TABLE work (
	seq INTEGER NOT NULL PRIMARY KEY AUTOINCREMENT, 
	id TEXT NOT NULL, 
	engine_id TEXT NOT NULL, 
	visit_id TEXT, 
	day TEXT NOT NULL, 
	distance_m INTEGER, 
	cylinders TEXT NOT NULL, 
	valves TEXT NOT NULL, 
	kind TEXT NOT NULL, 
	part TEXT NOT NULL, 
	note TEXT NOT NULL, 
	"by" TEXT, 
	device TEXT, 
	replaces TEXT, 
	reason TEXT NOT NULL, 
	withdrawn INTEGER NOT NULL, 
	at TEXT NOT NULL, 
	CONSTRAINT ck_work_at CHECK (at LIKE '____-__-__T__:__:__.___Z'), 
	CONSTRAINT ck_work_day CHECK (day LIKE '____-__-__'), 
	CONSTRAINT ck_work_kind CHECK (kind IN ('replaced', 'ground', 'retorqued', 'refitted', 'machined', 'repaired', 'cleaned', 'rebuilt')), 
	CONSTRAINT ck_work_part CHECK (part IN ('valve', 'seat', 'guide', 'spring', 'head', 'gasket', 'barrel', 'lifter', 'camshaft', 'pushrod', 'rocker', 'stand', 'adjuster', 'stud', 'engine', 'other')), 
	CONSTRAINT ck_work_distance_m CHECK (distance_m BETWEEN 0 AND 10000000000), 
	CONSTRAINT ck_work_id CHECK (length(id) = 36), 
	CONSTRAINT ck_work_withdrawn CHECK (withdrawn = 0 OR (withdrawn = 1 AND replaces IS NOT NULL)), 
	CONSTRAINT fk_work_engine_id FOREIGN KEY(engine_id) REFERENCES engines (id), 
	CONSTRAINT fk_work_replaces FOREIGN KEY(replaces) REFERENCES work (id), 
	CONSTRAINT fk_work_visit_id FOREIGN KEY(visit_id) REFERENCES visits (id), 
	CONSTRAINT uq_work_id UNIQUE (id), 
	CONSTRAINT uq_work_replaces UNIQUE (replaces)
)
 STRICT

;
INSERT INTO "work" VALUES(1,'00000000-0000-4000-8000-000000000019','00000000-0000-4000-8000-000000000003','00000000-0000-4000-8000-000000000004','2004-03-01',84210000,'[1]','["E3"]','ground','seat','pitted; 錆','Ann','phone',NULL,'',0,'2024-05-04T12:00:00.000Z');
INSERT INTO "work" VALUES(2,'00000000-0000-4000-8000-00000000001a','00000000-0000-4000-8000-000000000003',NULL,'2004-04-01',NULL,'[]','[]','replaced','camshaft','',NULL,NULL,NULL,'',0,'2024-05-04T12:00:00.000Z');
INSERT INTO "work" VALUES(3,'00000000-0000-4000-8000-00000000001b','00000000-0000-4000-8000-000000000003',NULL,'2004-04-01',NULL,'[]','[]','replaced','camshaft','',NULL,NULL,'00000000-0000-4000-8000-00000000001a','another engine''s',1,'2024-05-04T12:00:00.000Z');
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
CREATE INDEX ix_imports_sha256 ON imports (sha256);
CREATE INDEX ix_instruments_vehicle_id_day ON instruments (vehicle_id, day);
CREATE INDEX ix_fitments_engine_id_day ON fitments (engine_id, day);
CREATE INDEX ix_fitments_vehicle_id_day ON fitments (vehicle_id, day);
CREATE INDEX ix_accepted_causes_engine_id_day ON accepted_causes (engine_id, day);
CREATE INDEX ix_attachments_engine_id_visit_id ON attachments (engine_id, visit_id);
CREATE INDEX ix_attachments_file_sha256 ON attachments (file_sha256);
CREATE INDEX ix_import_visits_import_id ON import_visits (import_id);
CREATE INDEX ix_instrument_readings_vehicle_id_day ON instrument_readings (vehicle_id, day);
CREATE INDEX ix_tests_engine_id_day ON tests (engine_id, day);
CREATE INDEX ix_work_engine_id_day ON work (engine_id, day);
CREATE TRIGGER instruments_no_update BEFORE UPDATE ON instruments BEGIN SELECT RAISE(ABORT, 'rows of instruments are only ever added'); END;
CREATE TRIGGER instruments_no_delete BEFORE DELETE ON instruments BEGIN SELECT RAISE(ABORT, 'rows of instruments are only ever added'); END;
CREATE TRIGGER instrument_readings_no_update BEFORE UPDATE ON instrument_readings BEGIN SELECT RAISE(ABORT, 'rows of instrument_readings are only ever added'); END;
CREATE TRIGGER instrument_readings_no_delete BEFORE DELETE ON instrument_readings BEGIN SELECT RAISE(ABORT, 'rows of instrument_readings are only ever added'); END;
CREATE TRIGGER fitments_no_update BEFORE UPDATE ON fitments BEGIN SELECT RAISE(ABORT, 'rows of fitments are only ever added'); END;
CREATE TRIGGER fitments_no_delete BEFORE DELETE ON fitments BEGIN SELECT RAISE(ABORT, 'rows of fitments are only ever added'); END;
CREATE TRIGGER work_no_update BEFORE UPDATE ON work BEGIN SELECT RAISE(ABORT, 'rows of work are only ever added'); END;
CREATE TRIGGER work_no_delete BEFORE DELETE ON work BEGIN SELECT RAISE(ABORT, 'rows of work are only ever added'); END;
CREATE TRIGGER tests_no_update BEFORE UPDATE ON tests BEGIN SELECT RAISE(ABORT, 'rows of tests are only ever added'); END;
CREATE TRIGGER tests_no_delete BEFORE DELETE ON tests BEGIN SELECT RAISE(ABORT, 'rows of tests are only ever added'); END;
CREATE TRIGGER accepted_causes_no_update BEFORE UPDATE ON accepted_causes BEGIN SELECT RAISE(ABORT, 'rows of accepted_causes are only ever added'); END;
CREATE TRIGGER accepted_causes_no_delete BEFORE DELETE ON accepted_causes BEGIN SELECT RAISE(ABORT, 'rows of accepted_causes are only ever added'); END;
CREATE TRIGGER visits_noted AFTER INSERT ON visits BEGIN INSERT INTO search_texts (source, row_id, engine_id, visit_id, vehicle_id, text) SELECT 'visits', NEW.id, NEW.engine_id, NEW.id, NULL, NEW.note WHERE NEW.note <> ''; END;
CREATE TRIGGER visits_noted_again AFTER UPDATE OF note ON visits BEGIN DELETE FROM search_texts WHERE source = 'visits' AND row_id = NEW.id; INSERT INTO search_texts (source, row_id, engine_id, visit_id, vehicle_id, text) SELECT 'visits', NEW.id, NEW.engine_id, NEW.id, NULL, NEW.note WHERE NEW.note <> ''; END;
CREATE TRIGGER readings_noted AFTER INSERT ON readings BEGIN INSERT INTO search_texts (source, row_id, engine_id, visit_id, vehicle_id, text) SELECT 'readings', NEW.id, (SELECT engine_id FROM visits v WHERE v.id = NEW.visit_id), NEW.visit_id, NULL, trim(NEW.note || ' ' || NEW.reason) WHERE trim(NEW.note || ' ' || NEW.reason) <> ''; END;
CREATE TRIGGER visit_changes_noted AFTER INSERT ON visit_changes BEGIN INSERT INTO search_texts (source, row_id, engine_id, visit_id, vehicle_id, text) SELECT 'visit_changes', NEW.id, (SELECT engine_id FROM visits v WHERE v.id = NEW.visit_id), NEW.visit_id, NULL, NEW.reason WHERE NEW.reason <> ''; END;
CREATE TRIGGER instruments_noted AFTER INSERT ON instruments BEGIN INSERT INTO search_texts (source, row_id, engine_id, visit_id, vehicle_id, text) SELECT 'instruments', NEW.id, NULL, NULL, NEW.vehicle_id, trim(NEW.note || ' ' || NEW.reason) WHERE trim(NEW.note || ' ' || NEW.reason) <> ''; END;
CREATE TRIGGER instrument_readings_noted AFTER INSERT ON instrument_readings BEGIN INSERT INTO search_texts (source, row_id, engine_id, visit_id, vehicle_id, text) SELECT 'instrument_readings', NEW.id, NULL, NEW.visit_id, NEW.vehicle_id, trim(NEW.note || ' ' || NEW.reason) WHERE trim(NEW.note || ' ' || NEW.reason) <> ''; END;
CREATE TRIGGER fitments_noted AFTER INSERT ON fitments BEGIN INSERT INTO search_texts (source, row_id, engine_id, visit_id, vehicle_id, text) SELECT 'fitments', NEW.id, NEW.engine_id, NULL, NEW.vehicle_id, trim(NEW.note || ' ' || NEW.reason) WHERE trim(NEW.note || ' ' || NEW.reason) <> ''; END;
CREATE TRIGGER work_noted AFTER INSERT ON work BEGIN INSERT INTO search_texts (source, row_id, engine_id, visit_id, vehicle_id, text) SELECT 'work', NEW.id, NEW.engine_id, NEW.visit_id, NULL, trim(NEW.note || ' ' || NEW.reason) WHERE trim(NEW.note || ' ' || NEW.reason) <> ''; END;
CREATE TRIGGER tests_noted AFTER INSERT ON tests BEGIN INSERT INTO search_texts (source, row_id, engine_id, visit_id, vehicle_id, text) SELECT 'tests', NEW.id, NEW.engine_id, NEW.visit_id, NULL, trim(NEW.note || ' ' || NEW.reason) WHERE trim(NEW.note || ' ' || NEW.reason) <> ''; END;
CREATE TRIGGER accepted_causes_noted AFTER INSERT ON accepted_causes BEGIN INSERT INTO search_texts (source, row_id, engine_id, visit_id, vehicle_id, text) SELECT 'accepted_causes', NEW.id, NEW.engine_id, NEW.visit_id, NULL, trim(NEW.note || ' ' || NEW.reason) WHERE trim(NEW.note || ' ' || NEW.reason) <> ''; END;
CREATE TRIGGER vehicles_noted AFTER INSERT ON vehicles BEGIN INSERT INTO search_texts (source, row_id, engine_id, visit_id, vehicle_id, text) SELECT 'vehicles', NEW.id, NULL, NULL, NEW.id, NEW.note WHERE NEW.note <> ''; END;
CREATE TRIGGER vehicles_noted_again AFTER UPDATE OF note ON vehicles BEGIN DELETE FROM search_texts WHERE source = 'vehicles' AND row_id = NEW.id; INSERT INTO search_texts (source, row_id, engine_id, visit_id, vehicle_id, text) SELECT 'vehicles', NEW.id, NULL, NULL, NEW.id, NEW.note WHERE NEW.note <> ''; END;
CREATE TRIGGER attachments_noted AFTER INSERT ON attachments BEGIN INSERT INTO search_texts (source, row_id, engine_id, visit_id, vehicle_id, text) SELECT 'attachments', NEW.id, NEW.engine_id, NEW.visit_id, NULL, (CASE WHEN NEW.removed_at IS NULL THEN trim(NEW.caption || ' ' || NEW.name) ELSE '' END) WHERE (CASE WHEN NEW.removed_at IS NULL THEN trim(NEW.caption || ' ' || NEW.name) ELSE '' END) <> ''; END;
CREATE TRIGGER attachments_noted_again AFTER UPDATE OF caption, name, removed_at ON attachments BEGIN DELETE FROM search_texts WHERE source = 'attachments' AND row_id = NEW.id; INSERT INTO search_texts (source, row_id, engine_id, visit_id, vehicle_id, text) SELECT 'attachments', NEW.id, NEW.engine_id, NEW.visit_id, NULL, (CASE WHEN NEW.removed_at IS NULL THEN trim(NEW.caption || ' ' || NEW.name) ELSE '' END) WHERE (CASE WHEN NEW.removed_at IS NULL THEN trim(NEW.caption || ' ' || NEW.name) ELSE '' END) <> ''; END;
PRAGMA writable_schema=OFF;
DELETE FROM "sqlite_sequence";
INSERT INTO "sqlite_sequence" VALUES('search_texts',15);
INSERT INTO "sqlite_sequence" VALUES('fitments',2);
INSERT INTO "sqlite_sequence" VALUES('readings',10);
INSERT INTO "sqlite_sequence" VALUES('visit_changes',2);
INSERT INTO "sqlite_sequence" VALUES('instruments',1);
INSERT INTO "sqlite_sequence" VALUES('instrument_readings',2);
INSERT INTO "sqlite_sequence" VALUES('work',3);
INSERT INTO "sqlite_sequence" VALUES('tests',1);
INSERT INTO "sqlite_sequence" VALUES('accepted_causes',1);
COMMIT;
CREATE VIRTUAL TABLE search_words USING fts5(text, content='search_texts', content_rowid='seq', tokenize='unicode61 remove_diacritics 2');
