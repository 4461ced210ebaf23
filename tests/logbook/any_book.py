"""Generated books, row by row: every table and every column in use, text of any script, bytes of any kind.

The rows go past the book's own API, so that also what it writes only in rare cases, or no longer, is there.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable
from datetime import UTC, date, datetime
from typing import Any

from hypothesis import strategies as st

from coldlash.logbook import models as m
from coldlash.logbook.copying import go_on_numbering, plain_tables
from coldlash.logbook.records import name_key, utc_text
from coldlash.logbook.store import Book

Row = dict[str, Any]
Rows = dict[str, list[Row]]

TOUGH = (
    "Lieferwagen 'Öl'",
    "سيارة الإطفاء",  # written from right to left
    "\u202eabc\u202c עגלה 12 km",  # told to be written from right to left
    "消防車 三号",
    "e\u0301 \u00e9 o\u0308\u0323",  # combining, composed and not
    "👩\u200d🔧🛢\ufe0f",
    "ⅠⅡ ﬁ Ｗide",
    'a "quoted", b\'s; c\\d %s {x} ${y}',
    "first line\nsecond\r\nthird\rfourth\ttab",
    "\u2028\u2029\ufeff\x01\x7f",
    "=1+1",
    "../../etc/passwd",
    "CON",
    "'; DROP TABLE visits; --",
    " ",
)
texts = st.one_of(
    st.sampled_from(TOUGH),
    st.text(st.characters(exclude_categories=("Cs",), exclude_characters="\0"), min_size=1, max_size=30),
)
json_texts = st.dictionaries(
    texts, st.one_of(texts, st.integers(), st.none(), st.booleans()), min_size=1, max_size=2
).map(json.dumps)
days = st.dates(min_value=date(1900, 1, 1)).map(lambda day: day.isoformat())
times = st.datetimes(
    timezones=st.just(UTC),
    min_value=datetime(1900, 1, 2),  # noqa: DTZ001  (naive, as hypothesis wants it)
).map(utc_text)
blades = st.lists(st.integers(1, 20_000), min_size=1, max_size=12, unique=True).map(
    lambda each: json.dumps(sorted(each), separators=(",", ":"))
)
valves = st.builds(lambda kind, number: f"{kind}{number}", st.sampled_from("IE"), st.integers(1, 16))
checksums = st.binary(max_size=4).map(lambda data: hashlib.sha256(data).hexdigest())
units = st.sampled_from(["km", "mile", "h"])


@st.composite
def books(draw: st.DrawFn) -> Rows:
    """The rows of a book by table, as the database holds them."""
    return _Making(draw).made()


class _Making:
    def __init__(self, draw: st.DrawFn) -> None:
        self.draw = draw
        self.rows: Rows = {
            name: [] for name in m.metadata.tables if name not in ("engine_facts", "search_texts")
        }
        self.used: set[str] = set()
        self.last = 0

    def made(self) -> Rows:
        for key in {self.draw(texts) for _ in range(2)}:
            self.rows["settings"].append({"key": key, "value": self.draw(texts)})
        for number in range(self.draw(st.integers(1, 2))):
            self.named("vehicles", number, meter=units, meter_digits=st.integers(3, 9), note=texts)
        self.named(
            "blade_sets", 0, unit=st.sampled_from(["mm", "in"]), blades_um=blades, stacks_of=st.just(2)
        )
        for number in range(self.draw(st.integers(1, 2))):
            self.engine(number)
        self.imports()
        self.row(
            "applied_requests",
            key=texts.map(lambda text: text[:200]),
            sha256=checksums,
            answer=texts,
            device=texts,
            at=times,
        )
        for row in self.rows["vehicles"]:
            self.vehicle(row["id"])
        return self.rows

    def row(self, table: str, **values: Any) -> Row:
        row = {
            name: self.draw(value) if isinstance(value, st.SearchStrategy) else value
            for name, value in values.items()
        }
        self.rows[table].append(row)
        return row

    def uid(self) -> str:
        made = str(self.draw(st.uuids().filter(lambda each: str(each) not in self.used)))
        self.used.add(made)
        return made

    def seq(self) -> int:
        self.last += self.draw(st.integers(1, 1000))
        return self.last

    def named(self, table: str, number: int, **values: Any) -> Row:
        name = f"{self.draw(texts)} {number}"
        return self.row(table, id=self.uid(), name=name, name_key=name_key(name), **values)

    def lasting(self, table: str, **values: Any) -> None:
        """A row, one that corrects it, and one that takes that back."""
        before = None
        for withdrawn in (0, 0, 1):
            row = self.row(
                table,
                seq=self.seq(),
                id=self.uid(),
                note=texts,
                by=texts,
                device=texts,
                replaces=before,
                reason=texts,
                withdrawn=withdrawn,
                at=times,
                **values,
            )
            before = row["id"]

    def engine(self, number: int) -> None:
        engine = self.named("engines", number, vehicle_id=self.rows["vehicles"][0]["id"], created=times)["id"]
        for version in (1, 3):
            file = self.row(
                "engine_files",
                id=self.uid(),
                engine_id=engine,
                version=version,
                toml=texts,
                tables=json_texts,
                since=times,
            )
        for each, state in enumerate(("closed", "draft", "discarded")):
            self.visit(engine, file["id"], each, state)
        visit = self.rows["visits"][-3]["id"]
        self.lasting(
            "fitments",
            engine_id=engine,
            vehicle_id=self.rows["vehicles"][-1]["id"],
            day=days,
            meter_reading=st.integers(1, 2**63 - 1),
            meter_unit=units,
            distance_m=st.integers(1, 10**10),
        )
        where: Row = {
            "engine_id": engine,
            "visit_id": visit,
            "day": days,
            "distance_m": st.integers(1, 10**10),
            "cylinders": blades,
            "valves": st.lists(valves, min_size=1, max_size=3).map(json.dumps),
        }
        self.lasting("work", **where, kind=st.sampled_from(["replaced", "ground"]), part=st.just("other"))
        self.lasting("tests", **where, kind=texts, data=json_texts, result=texts)
        self.lasting(
            "accepted_causes",
            **where,
            cause=texts,
            direction=st.sampled_from(["tighter", "looser"]),
            amount_um=st.integers(1, 20_000),
        )
        for there in (True, False):
            self.photo(engine, visit, there=there)

    def visit(self, engine: str, file: str, number: int, state: str) -> None:
        visit = self.row(
            "visits",
            id=self.uid(),
            engine_id=engine,
            engine_file_id=file,
            day=days,
            distance_m=st.integers(0, 10**9).map(lambda metres: metres * 3 + number),
            engine_temp_mc=st.integers(-60_000, 400_000).filter(bool),
            air_temp_mc=st.integers(-60_000, 400_000).filter(bool),
            meter_reading=st.integers(1, 2**63 - 1),
            meter_unit=units,
            by=texts,
            blades_um=blades,
            plan=texts,
            place=texts,
            note=texts,
            state=state,
            opened_at=times,
            closed_at=times if state == "closed" else None,
        )["id"]
        self.chain(visit, "E1", "found", go_um=100, nogo_um=st.integers(101, 20_000), blade_um=None)
        self.chain(visit, "I12", "set", go_um=None, nogo_um=None, blade_um=st.integers(1, 20_000))
        self.chain(visit, "E1", "left", go_um=st.integers(1, 99), nogo_um=None, blade_um=None)
        self.row(
            "visit_changes",
            seq=self.seq(),
            id=self.uid(),
            visit_id=visit,
            field="note",
            old=texts.map(json.dumps),
            new=texts.map(json.dumps),
            reason=texts,
            by=texts,
            at=times,
        )

    def chain(self, visit: str, valve: str, step: str, **values: Any) -> None:
        """A reading and, perhaps, corrections of it and its withdrawal."""
        before = None
        for _ in range(self.draw(st.integers(1, 3))):
            before = self.reading(visit, valve, step, before, 0, **values)
        if step == "set":
            nothing = {"go_um": None, "nogo_um": None, "blade_um": None, "feel": None, "spin": None}
            self.reading(visit, valve, step, before, 1, **nothing)

    def reading(self, visit: str, valve: str, step: str, before: str | None, gone: int, **values: Any) -> str:
        kinds = {
            "feel": st.sampled_from(["free", "drag"]),
            "spin": st.sampled_from(["free", "stiff", "none"]),
        }
        row = self.row(
            "readings",
            seq=self.seq(),
            id=self.uid(),
            visit_id=visit,
            valve=valve,
            step=step,
            note=texts,
            by=texts,
            device=texts,
            replaces=before,
            reason=texts,
            withdrawn=gone,
            at=times,
            **(kinds | values),
        )
        return str(row["id"])

    def photo(self, engine: str, visit: str, *, there: bool) -> None:
        data = self.draw(st.binary(min_size=1, max_size=60))
        sha256 = hashlib.sha256(data).hexdigest()
        if there and all(row["sha256"] != sha256 for row in self.rows["attachment_files"]):
            self.row("attachment_files", sha256=sha256, size=len(data), bytes=data)
        self.row(
            "attachments",
            id=self.uid(),
            engine_id=engine,
            visit_id=visit,
            valve=valves,
            media_type=st.sampled_from(["image/jpeg", "image/png", "application/pdf", "text/x-unheard-of"]),
            name=texts,
            caption=texts,
            sha256=sha256,
            size=len(data),
            width=st.integers(1, 10_000),
            height=st.integers(1, 10_000),
            taken_at=times,
            by=texts,
            at=times,
            file_sha256=sha256 if there else None,
            removed_at=None if there else self.draw(times),
        )

    def imports(self) -> None:
        made = self.row(
            "imports",
            id=self.uid(),
            source=texts,
            sha256=checksums,
            how=json_texts,
            visits_added=st.integers(1, 10**6),
            rows_added=st.integers(1, 10**6),
            by=texts,
            at=times,
            undone_at=times,
            undone_reason=texts,
        )["id"]
        for visit in self.rows["visits"]:
            if self.draw(st.booleans()) or visit is self.rows["visits"][0]:
                self.row("import_visits", visit_id=visit["id"], import_id=made)

    def vehicle(self, vehicle: str) -> None:
        self.lasting(
            "instruments",
            vehicle_id=vehicle,
            how=st.sampled_from(["replaced", "repaired"]),
            unit=units,
            digits=st.integers(3, 9),
            day=days,
            reading=st.integers(1, 2**63 - 1),
            old_reading=st.integers(1, 2**63 - 1),
        )
        self.lasting(
            "instrument_readings",
            vehicle_id=vehicle,
            visit_id=self.rows["visits"][0]["id"],
            day=days,
            reading=st.integers(1, 2**63 - 1),
            unit=units,
            turned_over=st.integers(1, 99),
        )


def fill(book: Book, rows: Rows) -> None:
    """Put generated rows into an empty book."""
    with book._file.writing() as connection:
        for t in plain_tables(connection):
            connection.execute(t.clause.insert(), rows[t.name])
            go_on_numbering(connection, t)


def unused(rows: Rows) -> set[str]:
    """Columns that hold nothing but what a new row holds by itself, in every row; empty = all are in use."""
    ordinary: Callable[[object], bool] = lambda value: value in (None, "", 0, "[]", "{}", b"")  # noqa: E731
    return {
        f"{table.name}.{column.name}"
        for table in m.metadata.sorted_tables
        if table not in m.WORKED_OUT
        for column in table.columns
        if all(ordinary(row.get(column.name)) for row in rows.get(table.name, []))
    }
