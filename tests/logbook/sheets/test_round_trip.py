"""Readings written in many styles come back as the same readings. The oracle: the readings themselves."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from tests.logbook.sheets import written
from tests.logbook.sheets.written import Style, Writer
from tests.logbook.shelf import FLAT_FOUR

from coldlash.bench.blades import STANDARD_SETS
from coldlash.engine.spec import Valve
from coldlash.logbook.logfile import LogRow, LogVisit
from coldlash.logbook.sheets.guessing import guess
from coldlash.logbook.sheets.questions import questions
from coldlash.logbook.sheets.rows import take
from coldlash.logbook.sheets.understanding import corrected
from coldlash.logbook.sheets.workbook import read_workbook

BLADES = {"mm": STANDARD_SETS["metric"].blades_um, "in": STANDARD_SETS["inch"].blades_um}
BLADES["in"] = tuple(round(thou * 25.4) for thou in range(2, 20))
BLADES["thou"] = BLADES["in"]


@st.composite
def styles(draw: st.DrawFn) -> Style:
    kind = draw(st.sampled_from(["csv", "csv", "csv", "xlsx", "ods"]))
    german = draw(st.booleans())
    decimal = draw(st.sampled_from([".", ","]))
    layout = draw(st.sampled_from(["long", "wide", "cylinder"]))
    return Style(
        layout=layout,
        german=german,
        dates=draw(st.sampled_from(["ymd", "dmy", "mdy", "dotted"])),
        decimal=decimal,
        unit=draw(st.sampled_from(["mm", "in", "thou"])),
        miles=draw(st.booleans()),
        fahrenheit=draw(st.booleans()),
        gaps=draw(st.sampled_from(["pair", "felt"] + ["go and no-go"] * (layout == "long"))),
        separator=draw(st.sampled_from([";", "\t", "|", ","])),
        kind=kind,
        encoding=draw(st.sampled_from(["utf-8", "utf-8-sig", "utf-16", "cp1252"])),
        title=draw(st.booleans()),
        totals=draw(st.booleans()),
        blanks=draw(st.booleans()),
        dates_once=layout != "wide" and draw(st.booleans()),
    )


@st.composite
def logs(draw: st.DrawFn, style: Style) -> list[LogVisit]:
    blades = BLADES[style.unit]
    steps = draw(st.lists(st.integers(1, 900), min_size=1, max_size=5))
    day, units, found = (
        date(1985, 1, 1) + timedelta(days=draw(st.integers(0, 9000))),
        draw(st.integers(900, 90_000)),
        [],
    )
    for step in steps:
        day, units = day + timedelta(days=step), units + step
        valves = draw(st.lists(st.sampled_from(FLAT_FOUR.valves), min_size=1, max_size=8, unique=True))
        rows = []
        for valve in sorted({*valves, Valve("E", 1), Valve("I", 2)}):
            at = draw(st.integers(0, len(blades) - 3))
            go, nogo = blades[at], blades[at + 2]
            adjusted = draw(st.booleans())
            # Set on a blade that is neither what was found nor nothing.
            left = draw(st.sampled_from([b for b in blades if b >= nogo])) if adjusted else None
            note = (
                draw(st.sampled_from(["", "rough", "klemmt, öfter", 'said "tight"']))
                if style.layout == "long"
                else ""
            )
            by = draw(st.sampled_from([None, "Ann", "Jörg"])) if style.layout == "long" else None
            rows.append(
                LogRow(
                    valve=valve,
                    found_go_um=go,
                    found_nogo_um=nogo,
                    adjusted=adjusted,
                    left_um=left,
                    note=note,
                    by=by,
                )
            )
        fahrenheit = draw(st.integers(40, 90))
        mc = round((fahrenheit - 32) / 1.8 * 1000) if style.fahrenheit else fahrenheit // 3 * 1000
        metres = round(units * 1609.344) if style.miles else units * 1000
        found.append(
            LogVisit(
                day=day, distance_m=metres, engine_temp_mc=draw(st.sampled_from([None, mc])), rows=tuple(rows)
            )
        )
    return found


def truth(style: Style) -> dict[str, str]:
    """What the person who wrote it would say if asked."""
    return {
        "single": "felt",
        "order": {"dotted": "dmy"}.get(style.dates, style.dates),
        "decimal": style.decimal,
        "unit": style.unit,
        "letters": "de" if style.german else "en",
    }


def told_what_was_asked(sheet, told, style: Style):
    """Only what is asked is answered: what was told wrongly without a question would come out wrong."""
    said = truth(style)
    answers = {}
    for question in questions(sheet, told):
        assert question.choices, question.text
        value = said[question.key.rpartition(":")[2]]
        assert value in [choice for choice, _ in question.choices], question
        answers[question.key] = value
    return corrected(told, answers)


@settings(
    max_examples=150, deadline=None, derandomize=True,
    suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large],
)  # fmt: skip
@given(st.data())
def test_readings_written_in_any_style_come_back_as_they_were(data):
    style = data.draw(styles())
    if style.separator == "," and style.decimal == ",":
        style = replace(style, separator=";")
    visits = data.draw(logs(style))
    written.LADDERS = BLADES[style.unit]
    book = read_workbook(Writer(style).file(visits), "notebook")
    sheet = book.sheets[0]
    told = guess(sheet, this_year=2026, blades_um=BLADES[style.unit], engine="Van")
    taken = take(sheet, told_what_was_asked(sheet, told, style), {"Van": FLAT_FOUR})
    assert [str(fault) for fault in taken.faults] == []
    assert [visit.log.rows for visit in taken.visits["Van"]] == [visit.rows for visit in visits]
    places = [
        (
            v.log.day,
            v.meter_reading if v.meter_reading is not None else v.log.distance_m,
            v.log.engine_temp_mc,
        )
        for v in taken.visits["Van"]
    ]
    metered = taken.visits["Van"][0].meter_reading is not None
    assert places == [
        (v.day, round(v.distance_m / 1.609344) if metered and style.miles else v.distance_m, v.engine_temp_mc)
        for v in visits
    ]
    assert [row.why for row in taken.left_out] == ["total"] * style.totals
