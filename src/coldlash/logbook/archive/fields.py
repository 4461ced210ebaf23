"""What each field of an archive means, with its unit, for somebody who has only the archive.

These texts are written into archives and stay English, so that the same book gives the same bytes everywhere.
"""

from __future__ import annotations

TABLES: dict[str, str] = {
    "settings": "What the owner chose: in which units things are shown, and so on.",
    "vehicles": "Vehicles, and machines without wheels.",
    "engines": "Engines. An engine may have been in several vehicles: see fitments.",
    "engine_files": "Descriptions of the engine (TOML), one for each version of it.",
    "blade_sets": "Feeler blades the owner has.",
    "visits": "One valve service each. Readings of the valve gaps stand below it.",
    "readings": "What was found, set and left at one valve. A correction is a new row that replaces an older one; "
    "the row that nothing replaces stands, unless it is withdrawn.",
    "visit_changes": "What was changed in a visit afterwards, and why.",
    "instruments": "Odometers and hour meters put into a vehicle, beside the one it is listed with.",
    "instrument_readings": "What an instrument showed on a day, apart from what visits say of it.",
    "fitments": "An engine put into a vehicle, or taken out (then vehicle_id is absent).",
    "work": "Parts that were replaced, ground, retorqued and so on.",
    "tests": "Tests other than a gap: compression, leak-down and so on.",
    "accepted_causes": "Causes of a change that the owner holds for found.",
    "attachment_files": "The bytes of photos and scanned pages.",
    "attachments": "Photos and scanned pages: what they show.",
    "imports": "Files of older records that were taken into the book.",
    "import_visits": "The visits that came with an import.",
    "applied_requests": "What devices sent and was carried out, so that one thing sent twice is done once.",
}
"""What each table holds."""

COMMON: dict[str, str] = {
    "id": "Name of this row that never changes (UUID). Other rows refer to it.",
    "seq": "Number of this row in the order in which rows were written.",
    "name": "What the owner calls it.",
    "name_key": "The name without difference of case and width (Unicode NFKC, casefolded); no two are the same.",
    "note": "What the owner wrote about it.",
    "by": "Who did it or wrote it, as given.",
    "device": "The phone or computer it was written on.",
    "at": "When this row was written, UTC, ISO 8601 with milliseconds.",
    "replaces": "The id of the row that this one corrects. Absent: it corrects none.",
    "reason": "Why it was corrected or changed.",
    "withdrawn": "True: the row it replaces is taken back, and nothing stands in its place.",
    "day": "Calendar day at the owner's place, ISO 8601.",
    "engine_id": "The engine: id in engines.",
    "vehicle_id": "The vehicle: id in vehicles.",
    "visit_id": "The visit: id in visits. Absent: at no visit.",
    "distance_m": "The engine's own distance, in metres. Of an engine without wheels: its hours, counted as metres "
    "by km_per_h of its engine file. Absent: unknown.",
    "meter_reading": "What the vehicle's instrument showed, in thousandths of meter_unit. Absent: unknown.",
    "meter_unit": "What that instrument counts: kilometres, miles or hours. Absent with the reading.",
    "cylinders": "The cylinders it is about, by number; empty with empty valves: all of it.",
    "valves": 'The valves it is about, as JSON text like ["E3"]; empty with empty cylinders: all of it.',
    "sha256": "SHA-256 checksum of the bytes, hexadecimal.",
    "unit": "What the instrument counts: kilometres, miles or hours.",
}
"""Fields that mean the same wherever they stand."""

OF_TABLE: dict[str, str] = {
    "settings.key": "What is chosen.",
    "settings.value": "The choice.",
    "vehicles.meter": "What its first instrument counts: kilometres, miles or hours.",
    "vehicles.meter_digits": "How many whole digits that instrument shows before it rolls over. Absent: unknown.",
    "engines.vehicle_id": "The vehicle it was put into when it was added: id in vehicles. "
    "Absent: none. See fitments for later ones.",
    "engines.created": "When the engine was added, UTC, ISO 8601 with milliseconds.",
    "engine_files.version": "1 for the first description of the engine, one more for each later one.",
    "engine_files.toml": "The description itself; in an archive it is a file of its own, named by toml_file.",
    "engine_files.tables": "Tables that the description refers to (lift of a lobe), as JSON text: name to content.",
    "engine_files.since": "When this description was given, UTC, ISO 8601 with milliseconds.",
    "blade_sets.unit": "How the owner writes blades: millimetres or inches.",
    "blade_sets.blades_um": "The blades, in micrometres (thousandths of a millimetre), rising.",
    "blade_sets.stacks_of": "How many blades may be put together.",
    "visits.engine_file_id": "The description of the engine as it was then: id in engine_files.",
    "visits.distance_m": "The engine's own distance at this visit, in metres. Of an engine without wheels: its hours, "
    "counted as metres by km_per_h of its engine file.",
    "visits.engine_temp_mc": "Temperature of the engine, in thousandths of a degree Celsius. Absent: unknown.",
    "visits.air_temp_mc": "Temperature of the air, in thousandths of a degree Celsius. Absent: unknown.",
    "visits.blades_um": "The blades at hand, in micrometres, rising.",
    "visits.plan": "How the crank stops were chosen, as JSON text; empty: not noted.",
    "visits.place": "Where in the visit the owner was last; empty: nowhere.",
    "visits.state": "draft: still open; closed: done; discarded: it does not count.",
    "visits.opened_at": "When it was opened, UTC, ISO 8601 with milliseconds.",
    "visits.closed_at": "When it was closed, UTC, ISO 8601 with milliseconds. Absent: it was not.",
    "readings.visit_id": "The visit: id in visits.",
    "readings.valve": "I for intake or E for exhaust, and the number of the cylinder.",
    "readings.step": "found: as found; set: the blade it was set on; left: measured again afterwards.",
    "readings.go_um": "The thickest blade that went, in micrometres; 0: none went. Absent: not measured.",
    "readings.nogo_um": "The thinnest blade that did not go, in micrometres. Absent: the thickest went.",
    "readings.blade_um": "Of step set: the blade it was set on, in micrometres. Absent: the engine's cold gap.",
    "readings.feel": "How the blade that went passed: free, or with drag; with drag the gap is that blade.",
    "readings.spin": "How the pushrod spun between the fingers.",
    "visit_changes.visit_id": "The visit: id in visits.",
    "visit_changes.field": "Which field of the visit was changed.",
    "visit_changes.old": "What it said before, as JSON text.",
    "visit_changes.new": "What it says since, as JSON text.",
    "instruments.how": "first: the one it came with; replaced: another was put in; repaired: it was set to a number.",
    "instruments.digits": "How many whole digits it shows before it rolls over. Absent: unknown.",
    "instruments.day": "When it was put in, ISO 8601. Absent: from the beginning.",
    "instruments.reading": "What it showed when it was put in, in thousandths of unit. Absent: unknown.",
    "instruments.old_reading": "What the one before showed last, in thousandths of its unit. Absent: unknown.",
    "instrument_readings.visit_id": "The visit whose own reading this explains: id in visits. Absent: none.",
    "instrument_readings.reading": "What it showed, in thousandths of unit.",
    "instrument_readings.turned_over": "How often it rolled over since the reading before.",
    "fitments.vehicle_id": "The vehicle it was put into: id in vehicles. Absent: it was taken out.",
    "fitments.day": "When, ISO 8601. Absent: before the book began.",
    "work.kind": "What was done.",
    "work.part": "To which part.",
    "tests.kind": "Which test.",
    "tests.data": "What was read, as JSON text of an object.",
    "tests.result": "What it said, in one word; empty: nothing yet.",
    "accepted_causes.cause": "Which cause.",
    "accepted_causes.direction": "Whether the gap became tighter or looser.",
    "accepted_causes.amount_um": "By how much, in micrometres, at the valve it changed most. Absent: unknown.",
    "attachment_files.size": "How many bytes.",
    "attachment_files.bytes": "The bytes; in an archive they are a file of its own, photos/SHA256 with an ending.",
    "attachments.valve": "The valve it shows, like E3. Absent: no single one.",
    "attachments.media_type": "What kind of file it is (RFC 6838), like image/jpeg.",
    "attachments.name": "What its file was called.",
    "attachments.caption": "What the owner wrote below it.",
    "attachments.size": "How many bytes it has or had.",
    "attachments.width": "Of a picture: how wide, in pixels.",
    "attachments.height": "Of a picture: how high, in pixels.",
    "attachments.taken_at": "When the camera says it was taken, UTC, ISO 8601 with milliseconds. Absent: unknown.",
    "attachments.file_sha256": "The file in photos, by its checksum. Absent: it was removed.",
    "attachments.removed_at": "When it was removed, UTC, ISO 8601 with milliseconds. Absent: it is there.",
    "imports.source": "The name of the file.",
    "imports.how": "How its columns were understood, as JSON text.",
    "imports.visits_added": "How many visits were new.",
    "imports.rows_added": "How many of its rows were new.",
    "imports.undone_at": "When the import was undone, UTC, ISO 8601 with milliseconds. Absent: it stands.",
    "imports.undone_reason": "Why it was undone.",
    "import_visits.visit_id": "The visit: id in visits.",
    "import_visits.import_id": "The import: id in imports.",
    "applied_requests.key": "What the device called its request.",
    "applied_requests.sha256": "SHA-256 checksum of the request, hexadecimal.",
    "applied_requests.answer": "What it was answered, as JSON text.",
}
"""Fields that mean something of their own in one table."""

JSON_TEXT = frozenset(
    {
        "engine_files.tables",
        "visit_changes.old",
        "visit_changes.new",
        "work.valves",
        "tests.valves",
        "tests.data",
        "accepted_causes.valves",
        "imports.how",
    }
)
"""Fields that hold JSON as text, kept letter by letter; the book could not be shown if it could not be read."""


def meaning(table: str, column: str) -> str:
    """What a field means. Raises KeyError for one that is described nowhere."""
    own = OF_TABLE.get(f"{table}.{column}")
    return COMMON[column] if own is None else own


README = """\
A BOOK OF VALVE SERVICES
========================

This file is one whole book kept with coldlash, a program for checking and setting the valve gaps of old engines.
Everything in the book is in here, in plain text and as the photos themselves. No program of ours is needed to read
it: any program that opens ZIP files, CSV tables, JSON, TOML and photos will do.

Where to look first
-------------------

readings/     One table (CSV, UTF-8, RFC 4180) for each engine: what was measured at which valve, when. It opens
              in any spreadsheet. Only closed visits, and of corrected readings only what stands.
photos/       Photos and scanned pages, named by the checksum of their bytes.
engine_files/ What each engine is: its firing order, its gaps, its dimensions (TOML; plain text).

Everything else
---------------

engines/      One file (JSON) for each engine with all that belongs to it: visits, readings with every correction,
              work, tests, photos by checksum. The files in readings/ say a part of this again.
vehicles.json Vehicles and what their odometers showed.
book.json     Settings, blade sets, files that were taken in, and what devices have sent.
schema/       What each field means and in which unit (JSON Schema 2020-12).
manifest.json How many rows there are, and every file in here with its size and SHA-256 checksum.

How to read the fields
----------------------

The end of a field's name is its unit: _um is micrometres (150 is 0.15 mm), _m is metres, _mc is thousandths of a
degree Celsius. Times are UTC. A field that is absent is unknown. Rows refer to each other by id. Engines are numbered
by name; the numbers have no other meaning.

A reading says which blade went into the gap and which one did not: the gap lies between the two.
"""
"""What stands in README.txt of an archive."""
