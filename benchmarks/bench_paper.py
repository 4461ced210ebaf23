"""How long print and calendar take; a report of 200 visits against the same pages made by ReportLab in the same run.

ReportLab gets the same texts, the same tables and charts with the same marks (bars, flags, bands, limits), laid out by
its Platypus; it makes no tags, text alternatives or PDF/UA check, which ours does. Readings are invented, from a seed.
"""

from __future__ import annotations

import io
import sys
import tempfile
from collections.abc import Callable
from datetime import UTC, date, datetime, timedelta
from itertools import pairwise
from pathlib import Path
from random import Random
from time import perf_counter
from typing import Any

from coldlash.bench.checklists import closing_up, getting_ready
from coldlash.bench.marks import describe_position, how_to_find
from coldlash.bench.stops import plan_stops
from coldlash.desk.desk import Desk
from coldlash.desk.engines import load_engine
from coldlash.desk.printing import due_calendar
from coldlash.desk.reporting import report_of
from coldlash.engine.spec import Engine
from coldlash.logbook.records import NewReading, NewVisit, PastVisit
from coldlash.paper.calendar import DueEntry, calendar_bytes
from coldlash.paper.readings import Band
from coldlash.paper.report import ReportData, print_report, report_data
from coldlash.paper.sheet import SheetData, SheetStop, SheetValve, print_sheet
from coldlash.paper.tape import Mark, plan_strip
from coldlash.paper.tape_page import StripPage, print_strip
from coldlash.wear.record import GapInterval

TODAY = date(2026, 5, 31)
VISITS, ENGINES = (20, 20) if "--quick" in sys.argv[1:] else (200, 1000)


def _fastest(what: Callable[[], Any], rounds: int) -> tuple[float, Any]:
    """(milliseconds of the fastest round, its result)."""
    times, result = [], None
    for _ in range(rounds):
        start = perf_counter()
        result = what()
        times.append(perf_counter() - start)
    return 1000 * min(times), result


def _visits(engine: Engine, count: int, seed: int) -> tuple[PastVisit, ...]:
    random = Random(seed)
    visits = []
    for i in range(count):
        day = TODAY - timedelta(days=61 * (count - i))
        readings = []
        for valve in engine.valves:
            go = random.choice((100, 130, 150, 180))
            readings.append(NewReading(valve=valve, step="found", go_um=go, nogo_um=go + 30))
            if random.random() < 0.4:
                readings.append(NewReading(valve=valve, step="set", blade_um=150))
                readings.append(NewReading(valve=valve, step="left", go_um=130, nogo_um=180))
        new = NewVisit(
            day=day, distance_m=700_000 * (i + 1), engine_temp_mc=14_000, by="Oona",
            note="Gaskets renewed, one stand retightened." if i % 4 == 0 else "", at=f"{day.isoformat()}T15:00:00Z",
        )  # fmt: skip
        visits.append(PastVisit(visit=new, readings=tuple(readings)))
    return tuple(visits)


def _book(folder: str) -> Desk:
    """One engine with many visits and a shed of engines, each with its own file and three visits."""
    desk = Desk.open(f"{folder}/bench.coldlash", create=True, now=lambda: datetime(2026, 5, 31, tzinfo=UTC))
    loaded = load_engine("flat-four")
    with desk.book.transaction():
        desk.add_engine(loaded, "Van engine")
        desk.book.add_past_visits("Van engine", _visits(loaded.engine, VISITS, 1))
        three = _visits(loaded.engine, 3, 2)
        for n in range(ENGINES - 1):
            desk.book.add_engine(f"Engine {n}", f"{loaded.text}\n# number {n}\n", loaded.tables)
            desk.book.add_past_visits(f"Engine {n}", three)
    return desk


def _sheet(engine: Engine) -> SheetData:
    stops = tuple(
        SheetStop(
            describe_position(engine, stop.crank_deg), "one full turn", "the mark meets the pointer",
            how_to_find(engine, stop), "",
            tuple(
                SheetValve(e.valve, GapInterval(0.1, 0.15), 0.15, TODAY, Band(0.1, 0.2)) for e in stop.valves
            ),
        )
        for stop in plan_stops(engine).stops
    )  # fmt: skip
    return SheetData(engine, TODAY, stops, ready=getting_ready(engine), closing=closing_up(engine))


def _entries() -> list[DueEntry]:
    changed = datetime(2026, 5, 31, tzinfo=UTC)
    return [
        DueEntry(
            f"engine-{i}", f"Engine {i}", TODAY + timedelta(days=i % 400), i, changed, True, TODAY, TODAY, 84_210.0,
            TODAY, "Delivery van", ("By 15 Aug 2026 at the latest.",), f"https://shed.local/engines/{i}",
        )
        for i in range(ENGINES)
    ]  # fmt: skip


def by_icalendar(content: bytes) -> tuple[bytes, float]:
    """The same calendar by icalendar, and the milliseconds of writing it; its objects are made before."""
    import icalendar

    read = icalendar.Calendar.from_ical(content)
    made = icalendar.Calendar()
    for name in ("PRODID", "VERSION", "CALSCALE", "NAME", "X-WR-CALNAME", "X-PUBLISHED-TTL"):
        made.add(name, str(read[name]))
    for event in read.walk("VEVENT"):
        copy = icalendar.Event()
        for name in ("UID", "SUMMARY", "DESCRIPTION", "STATUS", "TRANSP", "URL"):
            copy.add(name, str(event[name]))
        for name in ("DTSTAMP", "LAST-MODIFIED", "DTSTART", "DTEND", "SEQUENCE"):
            copy.add(name, event.decoded(name))
        for alarm in event.walk("VALARM"):
            rings = icalendar.Alarm()
            rings.add("action", "DISPLAY")
            rings.add("description", str(alarm["DESCRIPTION"]))
            rings.add("trigger", alarm.decoded("TRIGGER"))
            copy.add_component(rings)
        made.add_component(copy)
    start = perf_counter()
    written: bytes = made.to_ical(sorted=False)
    return written, 1000 * (perf_counter() - start)


def by_reportlab(report: ReportData) -> bytes:
    """The report's pages by ReportLab: same texts, same tables, charts with the same marks."""
    from reportlab.graphics.shapes import Drawing, Line, Polygon, Rect, String
    from reportlab.lib import colors
    from reportlab.lib.pagesizes import A4
    from reportlab.lib.styles import ParagraphStyle
    from reportlab.pdfbase import pdfmetrics
    from reportlab.pdfbase.ttfonts import TTFont
    from reportlab.platypus import LongTable, PageBreak, Paragraph, SimpleDocTemplate, Spacer, Table

    import coldlash.paper

    font = Path(coldlash.paper.__file__).parent / "fonts" / "ColdlashSans-Regular.ttf"
    pdfmetrics.registerFont(TTFont("Own", str(font)))
    plain = ParagraphStyle("plain", fontName="Own", fontSize=9, leading=11)
    small = ParagraphStyle("small", fontName="Own", fontSize=6.5, leading=7.5)
    head = ParagraphStyle("head", fontName="Own", fontSize=11.5, leading=16)
    data: Any = report_data(report)[0]

    def text(words: str, style: ParagraphStyle = plain) -> Paragraph:
        escaped = words.replace("&", "&amp;").replace("<", "&lt;").replace("\n", "<br/>")
        return Paragraph(escaped, style)

    def table(rows: list[list[str]], widths: list[float] | None = None) -> LongTable:
        made = LongTable(
            [[text(cell, small) for cell in row] for row in rows], colWidths=widths, repeatRows=1
        )
        made.setStyle(
            [("LINEBELOW", (0, 0), (-1, -1), 0.35, colors.grey), ("VALIGN", (0, 0), (-1, -1), "TOP")]
        )
        return made

    def chart(history: Any) -> Drawing:
        wide, high, top = 210.0, 150.0, 0.4
        drawing = Drawing(wide, high + 20)
        last = max(v.distance_km for v in history.visits) + 5000

        def x(km: float) -> float:
            return 30 + (wide - 60) * km / last

        def y(mm: float) -> float:
            return 15 + (high - 15) * max(0.0, min(mm, top)) / top

        for mm in (0, 0.05, 0.1, 0.15, 0.2, 0.25, 0.3, 0.35):
            drawing.add(Line(30, y(mm), wide - 30, y(mm), strokeWidth=0.4, strokeDashArray=(1, 3)))
            drawing.add(String(4, y(mm) - 3, f"{mm:.2f}", fontName="Own", fontSize=7))
        for run in (*history.smoothed, history.forecast):
            for inner in (False, True):
                lows = [(p.band.core_lo if inner else p.band.lo) for p in run]
                highs = [(p.band.core_hi if inner else p.band.hi) for p in run]
                ends = [*zip(run, highs, strict=True), *reversed([*zip(run, lows, strict=True)])]
                points = [c for point, mm in ends for c in (x(point.distance_km), y(mm))]
                drawing.add(Polygon(points, fillColor=colors.lightblue, fillOpacity=0.4, strokeWidth=0))
        for visit in history.visits:
            record = visit.valves[history.valve]
            at = x(visit.distance_km)
            for reading in (record.found, record.left):
                if reading is not None:
                    drawing.add(
                        Rect(at, y(reading.lo), 1.6, y(reading.hi) - y(reading.lo), fillColor=colors.black)
                    )
                    for mm in (reading.lo, reading.hi):
                        drawing.add(Line(at - 1, y(mm), at + 2.6, y(mm), strokeWidth=0.8))
            if record.set_to is not None:
                up = y(record.set_to)
                drawing.add(Polygon([at + 2, up, at + 6, up + 3, at + 6, up - 3], fillColor=colors.white))
        return drawing

    flow: list[Any] = [text(data["title"], head)]
    flow += [text(line) for line in data["due"]["lines"]]
    flow.append(table([["", ""], *data["facts"]]))
    for section in (data["verdict"]["findings"],):
        flow += [text(f"{f['valves']}: {f['text']}") for f in section]
    for title, lines in (("reasons", data["verdict"]["reasons"]), ("done", data["handover"]["done"]),
                         ("unknown", data["handover"]["unknown"])):  # fmt: skip
        flow += [text(title, head), *(text(f"– {line}") for line in lines)]
    flow.append(text(data["charts"]["title"], head))
    drawn = [chart(c) for c in report.charts]
    flow += [Table([list(pair)]) for pair in pairwise([*drawn, drawn[-1]]) if drawn.index(pair[0]) % 2 == 0]
    flow += [PageBreak(), text(data["history"]["title"], head), text(data["history"]["words"])]
    for each in data["history"]["tables"]:
        flow.append(table([each["head"], *each["rows"]], [15, 52, 38, 20, *[50] * (len(each["head"]) - 4)]))
        flow.append(Spacer(1, 8))
    flow.append(text(data["notes"]["title"], head))
    for group in data["notes"]["groups"]:
        flow += [text(f"{group['head']}, {group['by']}"), *(text(line) for line in group["lines"])]
    flow += [PageBreak(), text(data["sums"]["title"], head), text(data["sums"]["words"])]
    flow += [text(data["sums"]["whole"]), table([data["sums"]["head"], *data["sums"]["rows"]])]
    out = io.BytesIO()
    SimpleDocTemplate(out, pagesize=A4, leftMargin=37, rightMargin=37, topMargin=37, bottomMargin=68).build(
        flow
    )
    return out.getvalue()


def run() -> list[dict[str, Any]]:
    """One row a case: ``what``, ``ms``, ``bar_ms`` or None, ``reference``, ``reference_ms``, ``ratio`` or None."""
    rows: list[dict[str, Any]] = []

    def row(what: str, ms: float, bar_ms: float | None = None, **more: Any) -> None:
        rows.append(
            {"what": what, "ms": ms, "bar_ms": bar_ms, "reference": None, "reference_ms": None, "ratio": None}
            | more
        )

    engine = load_engine("flat-four").engine
    strip = plan_strip("clockwise", [Mark(0), Mark(180), Mark(350, "static timing")], diameter_mm=175)
    page = StripPage(strip, TODAY, engine.name, engine)
    # The typesetter remembers what it has set, so each document is printed once; another one first, to load it.
    other_strip = plan_strip("counterclockwise", [Mark(0)], diameter_mm=99)
    print_strip(StripPage(other_strip, TODAY))
    row("pulley strip, 175 mm", _fastest(lambda: print_strip(page), 1)[0])
    sheet = _sheet(engine)
    row("blank visit sheet, flat-four", _fastest(lambda: print_sheet(sheet), 1)[0])
    entries = _entries()
    ms, content = _fastest(lambda: calendar_bytes(entries), 3)
    theirs = min(by_icalendar(content)[1] for _ in range(3))
    row(f"calendar of {ENGINES} engines written", ms, 1000.0, reference="icalendar, writing only",
        reference_ms=theirs, ratio=ms / theirs)  # fmt: skip
    with tempfile.TemporaryDirectory() as folder, _book(folder) as desk:
        ms, _ = _fastest(lambda: due_calendar(desk, TODAY), 1)
        row(f"the same from the book, {ENGINES} different engine files read for the first time", ms)
        ms, _ = _fastest(lambda: due_calendar(desk, TODAY), 2)
        row(f"the feed of {ENGINES} engines, files known", ms, 1000.0)
        ms, report = _fastest(lambda: report_of(desk, "Van engine", TODAY), 1)
        row(f"report of {VISITS} visits gathered from the book, charts with the trend", ms)
    ours, printed = _fastest(lambda: print_report(report), 1)
    theirs, other = _fastest(lambda: by_reportlab(report), 1)
    row(
        f"report of {VISITS} visits printed: {printed.pages} pages, {len(printed.pdf) / 1e6:.1f} MB",
        ours, 2000.0, reference=f"ReportLab, {len(other) / 1e6:.1f} MB", reference_ms=theirs, ratio=ours / theirs,
    )  # fmt: skip
    return rows


def main() -> int:
    """Print the rows; 1 when a bar is missed."""
    missed = 0
    for row in run():
        line = f"{row['what']}: {row['ms']:.0f} ms"
        if row["bar_ms"] is not None:
            missed += row["ms"] >= row["bar_ms"]
            line += f" (bar {row['bar_ms']:g} ms)"
        if row["ratio"] is not None:
            line += f"; {row['reference']}: {row['reference_ms']:.0f} ms; ratio {row['ratio']:.3g}"
        print(line)
    return 1 if missed else 0


if __name__ == "__main__":
    raise SystemExit(main())
