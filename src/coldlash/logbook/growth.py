"""How much the book holds of each engine, and since when: it only ever grows. A part of the book."""

from __future__ import annotations

from collections.abc import Mapping

from sqlalchemy import func, select

from coldlash.logbook import models as m
from coldlash.logbook.shed import Shelf


class Growth(Shelf):
    """What was written in closed visits, and of work, tests and causes found, counted."""

    def growth(self) -> Mapping[str, tuple[int, str]]:
        """By engine id: closed visits, their readings and changes, work, tests and accepted causes counted together,
        and when the newest was written.

        Six queries, however many visits; times as the book keeps them (UTC). Raises BookError.
        """
        closed = m.visits.c.state == "closed"
        asked = [
            select(m.visits.c.engine_id, func.count(), func.max(m.visits.c.closed_at))
            .where(closed)
            .group_by(m.visits.c.engine_id)
        ]
        for table in (m.readings, m.visit_changes):
            asked.append(
                select(m.visits.c.engine_id, func.count(), func.max(table.c.at))
                .join(table, table.c.visit_id == m.visits.c.id)
                .where(closed)
                .group_by(m.visits.c.engine_id)
            )
        for table in (m.work, m.tests, m.accepted_causes):
            asked.append(
                select(table.c.engine_id, func.count(), func.max(table.c.at)).group_by(table.c.engine_id)
            )
        grown: dict[str, tuple[int, str]] = {}
        with self._file.reading() as connection:
            for each in asked:
                for engine_id, count, newest in connection.execute(each):
                    so_far, at = grown.get(engine_id, (0, ""))
                    grown[engine_id] = so_far + count, max(at, newest)
        return grown
