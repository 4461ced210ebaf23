"""Dates as people type them, their order decided over a column."""

from __future__ import annotations

from datetime import date, datetime

import pytest
from babel import Locale, localedata

from coldlash.logbook.sheets.days import day_of, like_a_day, order_of, readings, serial_day, sure_day

MAY_4 = date(2019, 5, 4)


@pytest.mark.parametrize(
    "text",
    ["2019-05-04", "2019/5/4", "20190504", "04.05.2019", "4.5.19", "4. Mai 2019", "4 May 2019", "May 4, 2019",
     "4-May-19", "Sa 04.05.2019", "Saturday, 4 May 2019", "2019-05-04 10:30", "4.5.2019 10:30 Uhr"],
)  # fmt: skip
def test_a_date_that_can_only_be_one_day_is_that_day(text):
    # derived: 4 May 2019 was a Saturday
    assert set(readings(text, 2026).values()) == {MAY_4}


def test_slashes_can_be_either_order():
    assert readings("4/5/2019", 2026) == {"dmy": MAY_4, "mdy": date(2019, 4, 5)}
    assert readings("13/5/2019", 2026) == {"dmy": date(2019, 5, 13)}


@pytest.mark.parametrize(
    "text", ["32.1.2019", "Mai 2019", "0.15", "84210", "29/2/2019", "", "1.2.3.4", "soon", "4 Foo 2019"]
)
def test_what_is_no_date_is_none(text):
    assert readings(text, 2026) == {}


def test_no_locale_writes_the_month_first_between_dots():
    # independent software: CLDR's short dates of every locale, by babel. That is why 4.5.2019 is never asked about.
    first = set()
    for name in localedata.locale_identifiers():
        pattern = Locale.parse(name).date_formats["short"].pattern
        if "." in pattern and "/" not in pattern and "-" not in pattern:
            first.add(next(letter for letter in pattern if letter in "dMyL"))
    assert first
    assert "M" not in first
    assert "L" not in first


def test_a_year_of_two_digits_comes_first_only_between_dashes():
    assert readings("04.05.19", 2026) == {"dmy": MAY_4}
    assert set(readings("04-05-19", 2026)) == {"ymd", "dmy", "mdy"}


def test_years_of_two_digits_are_the_last_ones_so_far():
    assert readings("4.5.26", 2026)["dmy"].year == 2026
    assert readings("4.5.27", 2026)["dmy"].year == 1927


def test_serial_dates_of_spreadsheets_are_days():
    # common practice: in spreadsheets' 1900 system 43831 is 2020-01-01, 36526 is 2000-01-01 (both from memory)
    assert serial_day(43831.0) == date(2020, 1, 1)
    assert serial_day("36526") == date(2000, 1, 1)
    assert serial_day(43831.75) == date(2020, 1, 1)
    assert serial_day(15.0) is None
    assert serial_day("20200101") is None
    assert serial_day(True) is None


def test_cells_that_are_dates_need_no_order():
    assert sure_day(datetime(2019, 5, 4, 10, 30)) == MAY_4  # noqa: DTZ001
    assert day_of(MAY_4, "mdy", 2026) == MAY_4
    assert day_of("4/5/2019", "mdy", 2026) == date(2019, 4, 5)
    assert day_of("4/5/2019", "", 2026) is None
    assert day_of("5/5/2019", "", 2026) == date(2019, 5, 5)
    assert day_of("13/5/2019", "mdy", 2026) is None
    assert day_of(43831.0, "", 2026) == date(2020, 1, 1)
    assert like_a_day("4/5/2019", 2026)
    assert not like_a_day(43831.0, 2026)


@pytest.mark.parametrize(
    ("cells", "order"),
    [
        (["4/5/2019", "3/6/2019"], ""),
        (["4/5/2019", "13/6/2019"], "dmy"),
        (["4/5/2019", "6/13/2019"], "mdy"),
        (["13/6/2019", "6/13/2019"], ""),
        (["5/5/2019"], "dmy"),
        (["2019-05-04"], "ymd"),
        ([MAY_4, "4/5/2019"], ""),
        ([*[f"{day}/5/2019" for day in range(13, 32)], "6/13/2019", "14/6/2019"], "dmy"),
        ([], "ymd"),
    ],
)
def test_the_order_is_told_only_where_some_cell_can_be_nothing_else(cells, order):
    assert order_of(cells, 2026) == order
