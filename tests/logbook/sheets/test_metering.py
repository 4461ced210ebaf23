"""What a meter showed made into the engine's own distance. Expected values: by hand from docs/distance.md's table."""

from __future__ import annotations

from datetime import date

from coldlash.logbook.logfile import LogVisit
from coldlash.logbook.sheets.metering import Anchor, reckoned
from coldlash.logbook.sheets.rows import SheetVisit


def seen(day: str, reading: float, explained: str = "", unit: str = "km") -> SheetVisit:
    log = LogVisit(day=date.fromisoformat(day), distance_m=0)
    return SheetVisit(log=log, meter_reading=round(reading * 1000), meter_unit=unit, explained=explained)


def km(visits) -> list[float]:
    return [visit.log.distance_m / 1000 for visit in visits]


def test_the_first_reading_is_the_engines_own_distance_and_the_rest_counts_on():
    visits, faults = reckoned([seen("2019-01-01", 84210), seen("2020-01-01", 89210)])
    assert (km(visits), faults) == ([84210, 89210], ())


def test_readings_are_taken_by_day_however_they_stand_in_the_file():
    visits, _ = reckoned([seen("2020-01-01", 89210), seen("2019-01-01", 84210)])
    assert km(visits) == [84210, 89210]


def test_a_reading_that_went_back_is_asked_about_with_what_it_may_be():
    _, faults = reckoned([seen("2019-01-01", 99800), seen("2020-01-01", 190), seen("2021-01-01", 400)])
    assert [fault.message for fault in faults] == [
        "the meter shows 190 km, but on 2019-01-01 it showed 99800: it rolled over past 99999 km, which makes "
        "100190 km in all; it was replaced or set to 0, which makes 99990 km or more; one of the two is mistyped, "
        "and should be corrected"
    ]


def test_an_explanation_counts_as_the_book_counts_it():
    before, after = seen("2019-01-01", 99800), seen("2021-01-01", 400)
    assert km(reckoned([before, seen("2020-01-01", 190, "rolled over"), after])[0]) == [99800, 100190, 100400]
    assert km(reckoned([before, seen("2020-01-01", 190, "replaced"), after])[0]) == [99800, 99990, 100200]
    assert km(reckoned([before, seen("2020-01-01", 190, "rolled over")], digits=6)[0]) == [99800, 1_000_190]
    assert km(reckoned([before, seen("2020-01-01", 99900, "rolled over")])[0]) == [99800, 99900]


def test_miles_and_hours_become_kilometres():
    # exact: 1.609344 km a mile; 50 km an hour as the engine file says
    assert km(reckoned([seen("2019-01-01", 1000, unit="mile")])[0]) == [1609.344]
    assert km(reckoned([seen("2019-01-01", 10, unit="h"), seen("2020-01-01", 12, unit="h")])[0]) == [500, 600]


def test_rounding_never_adds_up():
    visits, _ = reckoned([seen(f"{1900 + n}-01-01", 0.001 * n, unit="mile") for n in range(1, 100)])
    assert visits[-1].log.distance_m == round(99 * 1.609344)


def test_the_distance_counts_on_from_what_the_book_has():
    anchor = Anchor(date(2018, 1, 1), 100_190_000, 190_000, "km")
    assert km(reckoned([seen("2019-01-01", 500)], [anchor])[0]) == [100_500]
    assert km(reckoned([seen("2018-01-01", 190), seen("2019-01-01", 500)], [anchor])[0]) == [100_190, 100_500]


def test_another_unit_than_the_books_is_said():
    anchor = Anchor(date(2018, 1, 1), 1_000_000, 1_000_000, "km")
    _, (fault,) = reckoned([seen("2019-01-01", 900, unit="mile")], [anchor])
    assert fault.message.startswith(
        "the meter of this engine counted km before, here it counts mile; give the engine's own"
    )


def test_more_than_the_meter_can_show_is_said():
    _, (fault,) = reckoned([seen("2019-01-01", 123_456)], digits=5)
    assert "it has 5 digits" in fault.message


def test_visits_without_a_reading_stay_as_they_are():
    plain = SheetVisit(log=LogVisit(day=date(2019, 1, 1), distance_m=5000))
    assert reckoned([plain]) == ((plain,), ())
