"""Visits and their readings: opened, written in, closed, corrected. A part of the book.

A visit is a draft until it is closed. Nothing that was written is ever altered: a correction is a new reading that
replaces an older one, and the older one stays to be seen. A closed visit takes corrections only with a reason.
"""

from __future__ import annotations

import uuid
from collections.abc import Mapping, Sequence
from dataclasses import fields, replace
from datetime import date
from typing import Any

from sqlalchemy import ColumnElement, Connection, RowMapping, Select, and_, func, literal_column, select, true

from coldlash.errors import BookError, InputError, ReadingConflictError
from coldlash.language import day as day_in_words
from coldlash.language import say
from coldlash.logbook import models as m
from coldlash.logbook.records import (
    NOTE_MAX,
    PLAN_MAX,
    VISIT_FIELDS,
    FieldValue,
    NewReading,
    NewVisit,
    PastVisit,
    Reading,
    State,
    Visit,
    VisitHead,
    checked_choice,
    checked_field,
    checked_id,
    checked_name,
    checked_text,
    new_id,
    reading_words,
)
from coldlash.logbook.shed import Shelf, by_id, find
from coldlash.logbook.telling import label, told
from coldlash.logbook.visit_rows import as_reading, field_text, load, no_visit, one_visit, reading_values

READING_CONTENT = tuple(f.name for f in fields(NewReading) if f.name not in ("id", "at", "valve", "replaces"))


class Visiting(Shelf):
    """Visits, readings, corrections."""

    # --- looking ----------------------------------------------------------------------------------------

    def visit(self, visit_id: str) -> Visit:
        """One visit with all its readings and its whole history. Raises InputError when there is none."""
        with self._file.reading() as connection:
            return one_visit(connection, checked_id(visit_id, "visit id"))

    def visits(self, engine: str | None = None, state: State | None = "closed") -> tuple[Visit, ...]:
        """Visits by day, then distance; of one engine (name or id) or of all, in one state or (None) in any.

        Three queries, however many visits. Raises InputError, BookError.
        """
        if state is not None:
            checked_choice(state, "state", ("draft", "closed", "discarded"))
        with self._file.reading() as connection:
            wanted: list[ColumnElement[bool]] = [true()]
            if engine is not None:
                wanted.append(m.visits.c.engine_id == find(connection, m.engines, engine, "engine")["id"])
            if state is not None:
                wanted.append(m.visits.c.state == state)
            return load(connection, and_(*wanted))

    def recent_visits(self, most: int = 6) -> tuple[VisitHead, ...]:
        """The last closed visits of every engine, at most ``most`` each, and every draft, without their readings.

        By engine, then day. ``count`` is how many visits the engine has in that state. Three queries, for a whole shed.
        """
        table = m.visits
        of_state = (
            select(table.c.engine_id, table.c.state, func.count().label("count"))
            .where(table.c.state.in_(("closed", "draft")))
            .group_by(table.c.engine_id, table.c.state)
        )
        columns = [table.c[name] for name in ("id", "engine_id", "day", "distance_m", "state")]
        with self._file.reading() as connection:
            counts = {(engine, state): count for engine, state, count in connection.execute(of_state)}
            rows = [
                *connection.execute(_last_closed(most, connection.dialect.name == "postgresql")),
                *connection.execute(select(*columns).where(table.c.state == "draft")),
            ]
        heads = [
            VisitHead(
                id=id,
                engine_id=engine,
                day=date.fromisoformat(day),
                distance_m=distance_m,
                state=state,
                count=counts[engine, state],
            )
            for id, engine, day, distance_m, state in rows
        ]
        return tuple(sorted(heads, key=lambda head: (head.engine_id, head.day, head.distance_m)))

    def draft_visits(self, engine: str | None = None) -> tuple[Visit, ...]:
        """Visits that were opened and not yet closed, of one engine or of all."""
        return self.visits(engine, "draft")

    # --- a visit from opening to closing ------------------------------------------------------------------

    def open_visit(self, engine: str, new: NewVisit) -> Visit:
        """Open a draft. Its day may lie before other visits: old notebooks are typed in.

        Sent again with the same id and content it changes nothing. Raises InputError, BookError.
        """
        with self._file.writing() as connection:
            engine_id = find(connection, m.engines, engine, "engine")["id"]
            there = None if new.id is None else by_id(connection, m.visits, new.id)
            if there is not None:
                return _same_visit(one_visit(connection, there["id"]), engine_id, new)
            visit_id = new.id or new_id()
            values = self._visit_values(connection, engine_id, new, visit_id)
            _check_file_of(connection, engine_id, values["engine_file_id"])
            _refuse_same_day_and_distance(connection, values)
            connection.execute(m.visits.insert().values(values))
            return one_visit(connection, visit_id)

    def set_place(self, visit_id: str, place: str) -> None:
        """Keep where the owner is in a draft, so that leaving and coming back lands there. Not in its history."""
        place = checked_text(place, "place", PLAN_MAX)
        with self._file.writing() as connection:
            row = _draft(connection, visit_id)
            connection.execute(m.visits.update().where(m.visits.c.id == row["id"]).values(place=place))

    def change_visit(
        self,
        visit_id: str,
        changes: Mapping[str, FieldValue],
        *,
        reason: str = "",
        by: str | None = None,
        id: str | None = None,
        at: str | None = None,
        was: Mapping[str, FieldValue] | None = None,
    ) -> Visit:
        """Change fields of a visit (``VISIT_FIELDS``); every value before stays to be seen in ``Visit.changes``.

        A closed visit needs a reason. ``was``: what the caller believes stood there; if it does not, nothing is
        changed. The same id sent again changes nothing. Raises InputError, BookError.
        """
        checked = {name: checked_field(name, value) for name, value in changes.items()}
        reason = checked_text(reason, "reason", NOTE_MAX).strip()
        base = None if id is None else uuid.UUID(checked_id(id, "change id"))
        with self._file.writing() as connection:
            visit = one_visit(connection, checked_id(visit_id, "visit id"))
            ids = {name: new_id() if base is None else str(uuid.uuid5(base, name)) for name in checked}
            done = {change.id: change for change in visit.changes}
            if base is not None and any(ids[name] in done for name in checked):
                same = all(
                    ids[name] in done and done[ids[name]].new == value for name, value in checked.items()
                )
                if not same:
                    raise _id_taken(str(base), say("a change of this visit"))
                return visit
            _may_change(visit, reason)
            for name, value in (was or {}).items():
                if checked_field(name, value) != getattr(visit, name):
                    raise BookError(
                        say(
                            "the visit of {day} at {km} km: {name} is now {said}, not {expected}; "
                            "it was changed elsewhere; nothing was changed; look at the visit again",
                            name=label(name),
                            said=_said(getattr(visit, name)),
                            expected=_said(value),
                            **_place(visit),
                        )
                    )
            differing = {name: value for name, value in checked.items() if value != getattr(visit, name)}
            if not differing:
                return visit
            self._write_changes(connection, visit, differing, ids, reason=reason, by=by, at=at)
            return one_visit(connection, visit.id)

    def close_visit(self, visit_id: str, *, at: str | None = None) -> Visit:
        """Close a draft: from now on it takes corrections only. A closed one stays as it is.

        Raises InputError, BookError.
        """
        with self._file.writing() as connection:
            visit = one_visit(connection, checked_id(visit_id, "visit id"))
            if visit.state == "closed":
                return visit
            if visit.state == "discarded":
                raise InputError(
                    say("the visit of {day} at {km} km was discarded; it can't be closed", **_place(visit))
                )
            connection.execute(
                m.visits.update()
                .where(m.visits.c.id == visit.id)
                .values(state="closed", closed_at=self._at(at))
            )
            return one_visit(connection, visit.id)

    def discard_visit(
        self, visit_id: str, *, reason: str = "", by: str | None = None, at: str | None = None
    ) -> Visit:
        """Take a whole visit out of the engine's history; it stays in the book, marked. A closed one needs a reason.

        Raises InputError, BookError.
        """
        reason = checked_text(reason, "reason", NOTE_MAX).strip()
        with self._file.writing() as connection:
            visit = one_visit(connection, checked_id(visit_id, "visit id"))
            if visit.state == "discarded":
                return visit
            _may_change(visit, reason)
            self._write_changes(
                connection, visit, {"state": "discarded"}, {"state": new_id()}, reason=reason, by=by, at=at
            )
            return one_visit(connection, visit.id)

    def add_past_visits(
        self, engine: str, visits: Sequence[PastVisit], *, at: str | None = None
    ) -> tuple[str, ...]:
        """Add whole closed visits at once, all or none: from a notebook, a log, a demo. Returns their ids.

        ``at`` stands for every time the visits and readings do not say themselves. A visit with an id and content
        that the book has already changes nothing. Raises InputError, BookError.
        """
        with self._file.writing() as connection:
            engine_id = find(connection, m.engines, engine, "engine")["id"]
            there = _with_ids(connection, [past.visit.id for past in visits if past.visit.id is not None])
            file_id = _current_file(connection, engine_id)
            taken = _days_and_distances(connection, engine_id)
            ids: list[str] = []
            visit_rows: list[dict[str, Any]] = []
            reading_rows: list[dict[str, Any]] = []
            for past in visits:
                if past.visit.id in there:
                    ids.append(_same_past_visit(there[past.visit.id], engine_id, past).id)
                    continue
                opened = self._at(past.visit.at if past.visit.at is not None else at)
                new = replace(past.visit, at=opened, engine_file_id=past.visit.engine_file_id or file_id)
                values = self._visit_values(connection, engine_id, new, new.id or new_id())
                if new.engine_file_id != file_id:
                    _check_file_of(connection, engine_id, new.engine_file_id)
                key = (values["day"], values["distance_m"])
                if key in taken:
                    raise _same_day_and_distance(*key)
                taken.add(key)
                values |= {"state": "closed", "closed_at": past.closed_at or opened}
                ids.append(values["id"])
                visit_rows.append(values)
                reading_rows += [
                    reading_values(values["id"], r, r.id or new_id(), r.at or opened) for r in past.readings
                ]
            if len(set(ids)) != len(ids):
                raise InputError(
                    say("two of these visits have the same id; nothing was added; make a new id")
                )
            if visit_rows:
                connection.execute(m.visits.insert(), visit_rows)
            if reading_rows:
                connection.execute(m.readings.insert(), reading_rows)
            return tuple(ids)

    # --- readings ---------------------------------------------------------------------------------------

    def record(self, visit_id: str, new: NewReading) -> Reading:
        """Write a reading into a draft, or correct one there (``replaces``).

        Where a reading already stands for that valve and step and is not the one replaced, nothing is written
        and ReadingConflictError names both. Sent again with the same id and content it changes nothing.
        Raises InputError, BookError, ReadingConflictError.
        """
        return self._write(visit_id, new, amending=False)

    def amend(self, visit_id: str, new: NewReading) -> Reading:
        """Correct or complete a closed visit: ``new.reason`` says why. What stood before stays to be seen.

        Raises InputError, BookError, ReadingConflictError.
        """
        return self._write(visit_id, new, amending=True)

    def withdraw(
        self,
        reading_id: str,
        *,
        reason: str = "",
        by: str | None = None,
        device: str | None = None,
        id: str | None = None,
        at: str | None = None,
    ) -> Reading:
        """Take back a reading, as if it had not been made; it stays to be seen. A closed visit needs a reason.

        Returns the row that says so. Raises InputError, BookError, ReadingConflictError.
        """
        reading_id = checked_id(reading_id, "reading id")
        with self._file.writing() as connection:
            old = self._reading_of(connection, reading_id)
            new = NewReading(
                valve=old.valve,
                step=old.step,
                withdrawn=True,
                replaces=old.id,
                reason=reason,
                by=by,
                device=device,
                id=id,
                at=at,
            )
            closed = by_id(connection, m.visits, old.visit_id)
            return self._write(old.visit_id, new, amending=closed is not None and closed["state"] != "draft")

    def _reading_of(self, connection: Connection, reading_id: str) -> Reading:
        row = connection.execute(select(m.readings).where(m.readings.c.id == reading_id)).mappings().first()
        if row is None:
            raise InputError(say("this book has no reading with the id {reading_id}", reading_id=reading_id))
        return as_reading(row)

    def _write(self, visit_id: str, new: NewReading, *, amending: bool) -> Reading:
        with self._file.writing() as connection:
            visit = by_id(connection, m.visits, checked_id(visit_id, "visit id"))
            if visit is None:
                raise no_visit(visit_id)
            chain = [
                as_reading(row)
                for row in connection.execute(
                    select(m.readings)
                    .where(
                        (m.readings.c.visit_id == visit["id"])
                        & (m.readings.c.valve == str(new.valve))
                        & (m.readings.c.step == new.step)
                    )
                    .order_by(m.readings.c.seq)
                ).mappings()
            ]
            if new.id is not None:
                there = by_id(connection, m.readings, new.id)
                if there is not None:
                    return _same_reading(as_reading(there), visit["id"], new, chain)
            _may_write(visit, new, amending)
            standing = chain[-1] if chain else None
            if new.replaces is None and standing is not None and standing.withdrawn:
                new = replace(new, replaces=standing.id)  # nothing stands, so nothing is overwritten
            if new.replaces != (standing.id if standing else None):
                raise _conflict(visit, new, standing, chain)
            reading_id = new.id or new_id()
            connection.execute(
                m.readings.insert().values(reading_values(visit["id"], new, reading_id, self._at(new.at)))
            )
            return self._reading_of(connection, reading_id)

    # --- helpers ----------------------------------------------------------------------------------------

    def _visit_values(
        self, connection: Connection, engine_id: str, new: NewVisit, visit_id: str
    ) -> dict[str, Any]:
        values: dict[str, Any] = {name: getattr(new, name) for name in VISIT_FIELDS}
        values["day"] = new.day.isoformat()
        if new.engine_file_id is None:
            values["engine_file_id"] = _current_file(connection, engine_id)
        values |= {"id": visit_id, "engine_id": engine_id, "place": new.place, "state": "draft"}
        values |= {"opened_at": self._at(new.at), "closed_at": None}
        return values

    def _write_changes(
        self,
        connection: Connection,
        visit: Visit,
        differing: Mapping[str, FieldValue],
        ids: Mapping[str, str],
        *,
        reason: str,
        by: str | None,
        at: str | None,
    ) -> None:
        row: dict[str, Any] = {
            name: value.isoformat() if isinstance(value, date) else value for name, value in differing.items()
        }
        after = {name: differing.get(name, getattr(visit, name)) for name in ("meter_reading", "meter_unit")}
        if (after["meter_reading"] is None) != (after["meter_unit"] is None):
            raise InputError(say("meter: give the reading and its unit together, or neither"))
        if "engine_file_id" in row:
            _check_file_of(connection, visit.engine_id, row["engine_file_id"])
        if "day" in row or "distance_m" in row:
            _refuse_same_day_and_distance(
                connection,
                {
                    "id": visit.id,
                    "engine_id": visit.engine_id,
                    "day": row.get("day", visit.day.isoformat()),
                    "distance_m": row.get("distance_m", visit.distance_m),
                },
            )
        connection.execute(m.visits.update().where(m.visits.c.id == visit.id).values(row))
        when = self._at(at)
        who = None if by is None else checked_name(by, "by")
        connection.execute(
            m.visit_changes.insert(),
            [
                {
                    "id": ids[name],
                    "visit_id": visit.id,
                    "field": name,
                    "old": field_text(getattr(visit, name)),
                    "new": field_text(value),
                    "reason": reason,
                    "by": who,
                    "at": when,
                }
                for name, value in differing.items()
            ],
        )


def _last_closed(most: int, postgresql: bool) -> Select[Any]:
    """The last closed visits of every engine: an index range per engine, however many visits there are."""
    engines, visits = m.engines, m.visits
    names = ("id", "engine_id", "day", "distance_m", "state")
    last = (
        select(*(visits.c[name] for name in names))
        .where((visits.c.engine_id == engines.c.id) & (visits.c.state == "closed"))
        .order_by(visits.c.day.desc(), visits.c.distance_m.desc())
        .limit(most)
        .correlate(engines)
    )
    if postgresql:
        each = last.lateral()
        return select(*(each.c[name] for name in names)).select_from(engines.join(each, true()))
    # By SQLite's own row numbers, which stand in the index: one look at each visit's row, not two.
    outer = visits.alias("recent")
    own: ColumnElement[int] = literal_column("visits.rowid")
    wanted = literal_column("recent.rowid").in_(last.with_only_columns(own))
    return select(*(outer.c[name] for name in names)).select_from(engines.join(outer, wanted))


# --- rules --------------------------------------------------------------------------------------------------


def _id_taken(id: str, owner: str) -> InputError:
    return InputError(
        say(
            "the id {id} already belongs to {owner}, with other content; nothing was changed; make a new id",
            id=id,
            owner=owner,
        )
    )


def _place(visit: Visit | RowMapping) -> dict[str, object]:
    """The day and distance by which messages call a visit."""
    if isinstance(visit, Visit):
        return {"day": visit.day, "km": told(visit.distance_m)}
    return {"day": date.fromisoformat(visit["day"]), "km": told(visit["distance_m"])}


def _label(visit: Visit) -> str:
    return say("the visit of {day} at {km} km", **_place(visit))


def _draft(connection: Connection, visit_id: str) -> RowMapping:
    row = by_id(connection, m.visits, checked_id(visit_id, "visit id"))
    if row is None:
        raise no_visit(visit_id)
    if row["state"] != "draft":
        raise InputError(
            say(
                "the visit of {day} at {km} km is closed; only a draft has a place to come back to",
                **_place(row),
            )
            if row["state"] == "closed"
            else say(
                "the visit of {day} at {km} km is discarded; only a draft has a place to come back to",
                **_place(row),
            )
        )
    return row


def _may_change(visit: Visit, reason: str) -> None:
    if visit.state == "discarded":
        raise InputError(
            say("the visit of {day} at {km} km was discarded; nothing can be changed in it", **_place(visit))
        )
    if visit.state == "closed" and not reason:
        raise InputError(
            say("the visit of {day} at {km} km is closed; a change needs a reason", **_place(visit))
        )


def _may_write(visit: RowMapping, new: NewReading, amending: bool) -> None:
    what = f"{new.valve} {new.step}"
    if visit["state"] == "discarded":
        raise InputError(
            say(
                "the visit of {day} at {km} km was discarded; {what} was not written",
                what=label(what),
                **_place(visit),
            )
        )
    if visit["state"] == "closed" and not amending:
        raise InputError(
            say(
                "the visit of {day} at {km} km is closed; {what} was not written; "
                "correct it by an amendment with a reason",
                what=label(what),
                **_place(visit),
            )
        )
    if visit["state"] == "draft" and amending:
        raise InputError(
            say(
                "the visit of {day} at {km} km is still open; write {what} in it, no amendment is needed",
                what=label(what),
                **_place(visit),
            )
        )
    if visit["state"] == "draft" and new.reason and new.replaces is None:
        raise InputError(
            say("{what}: a reason belongs to a correction; name the reading it replaces", what=label(what))
        )
    if visit["state"] == "closed" and not new.reason:
        raise InputError(
            say(
                "the visit of {day} at {km} km is closed; the amendment of {what} needs a reason",
                what=label(what),
                **_place(visit),
            )
        )


def _conflict(
    visit: RowMapping, new: NewReading, standing: Reading | None, chain: Sequence[Reading]
) -> Exception:
    what = label(f"{new.valve} {new.step}")
    if standing is None or (new.replaces is not None and all(r.id != new.replaces for r in chain)):
        return InputError(
            say(
                "the visit of {day} at {km} km, {what}: there is no reading {replaces} to correct; "
                "nothing was written",
                what=what,
                replaces=new.replaces,
                **_place(visit),
            )
        )
    return ReadingConflictError(
        say(
            "the visit of {day} at {km} km, {what}: the book has {kept} ({kept_by}), offered was {offered} "
            "({offered_by}); nothing was written; look at both and correct the one that stands, "
            "if it is the wrong one",
            what=what,
            kept=reading_words(standing),
            kept_by=_by_whom(standing),
            offered=reading_words(new),
            offered_by=_by_whom(new),
            **_place(visit),
        ),
        valve=str(new.valve),
        step=new.step,
        standing_id=standing.id,
    )


def _by_whom(reading: Reading | NewReading) -> str:
    parts = [part for part in (reading.by, reading.device, reading.at) if part]
    return ", ".join(parts) if parts else say("unsigned")


def _same_reading(there: Reading, visit_id: str, new: NewReading, chain: Sequence[Reading]) -> Reading:
    same = there.visit_id == visit_id and there.valve == new.valve
    same = same and all(getattr(there, name) == getattr(new, name) for name in READING_CONTENT)
    same = same and (new.at is None or there.at == new.at)
    if same and there.replaces != new.replaces:
        # Offered as a first reading, kept as the successor of a withdrawn one: the same thing.
        before = next((r for r in chain if r.id == there.replaces), None)
        same = new.replaces is None and before is not None and before.withdrawn
    if not same:
        raise _id_taken(
            there.id,
            say(
                "a reading ({reading}: {words})",
                reading=label(f"{there.valve} {there.step}"),
                words=reading_words(there),
            ),
        )
    return there


def _same_visit(there: Visit, engine_id: str, new: NewVisit) -> Visit:
    first = there.as_first_written()
    same = there.engine_id == engine_id and (new.at is None or there.opened_at == new.at)
    for name in VISIT_FIELDS:
        if name != "engine_file_id" or new.engine_file_id is not None:
            same = same and getattr(first, name) == getattr(new, name)
    if not same:
        raise _id_taken(there.id, _label(there))
    return there


def _same_past_visit(there: Visit, engine_id: str, past: PastVisit) -> Visit:
    _same_visit(there, engine_id, past.visit)
    first = there.as_first_written().readings
    same = len(first) == len(past.readings)
    for new in past.readings:
        kept = first.get((new.valve, new.step))
        same = same and kept is not None and new.id in (None, kept.id)
        same = same and all(getattr(kept, name) == getattr(new, name) for name in READING_CONTENT)
    if not same:
        raise _id_taken(there.id, _label(there))
    return there


def _same_day_and_distance(day: str, distance_m: int) -> InputError:
    return InputError(
        say(
            "this engine already has a visit on {day} at {km} km; a day and a distance make one "
            "visit: write in that one, or give the distance more exactly",
            day=date.fromisoformat(day),
            km=told(distance_m),
        )
    )


def _refuse_same_day_and_distance(connection: Connection, values: Mapping[str, Any]) -> None:
    there = connection.execute(
        select(m.visits.c.id).where(
            (m.visits.c.engine_id == values["engine_id"])
            & (m.visits.c.day == values["day"])
            & (m.visits.c.distance_m == values["distance_m"])
            & (m.visits.c.state != "discarded")
            & (m.visits.c.id != values["id"])
        )
    ).first()
    if there is not None:
        raise _same_day_and_distance(values["day"], values["distance_m"])


def _with_ids(connection: Connection, ids: Sequence[str]) -> dict[str | None, Visit]:
    """Those of these visits that the book has, by id; asked for in portions a database takes."""
    found: dict[str | None, Visit] = {}
    for start in range(0, len(ids), 500):
        wanted = m.visits.c.id.in_(ids[start : start + 500])
        found |= {visit.id: visit for visit in load(connection, wanted)}
    return found


def _days_and_distances(connection: Connection, engine_id: str) -> set[tuple[str, int]]:
    rows = connection.execute(
        select(m.visits.c.day, m.visits.c.distance_m).where(
            (m.visits.c.engine_id == engine_id) & (m.visits.c.state != "discarded")
        )
    )
    return {(row.day, row.distance_m) for row in rows}


def _current_file(connection: Connection, engine_id: str) -> str:
    files = m.engine_files
    newest = (
        select(files.c.id).where(files.c.engine_id == engine_id).order_by(files.c.version.desc()).limit(1)
    )
    return str(connection.execute(newest).scalar_one())


def _check_file_of(connection: Connection, engine_id: str, file_id: str | None) -> None:
    row = None if file_id is None else by_id(connection, m.engine_files, file_id)
    if row is None or row["engine_id"] != engine_id:
        raise InputError(
            say("engine file id: {file_id!r} is not a version of this engine's file", file_id=file_id)
        )


def _said(value: FieldValue) -> str:
    if value is None or value == "":
        return say("empty")
    return day_in_words(value) if isinstance(value, date) else str(value)
