"""Labels and their QR code."""

from __future__ import annotations

import sys
from datetime import date

import pytest
from tests.engines import flat_four

from coldlash.errors import InputError
from coldlash.paper.label import LabelData, label_data, print_labels, qr_svg
from coldlash.paper.words import Words

DAY = date(2026, 5, 31)
GAPS = flat_four().gaps


def only(label):
    return label_data([label], DAY)[0]["labels"][0]


def test_the_distance_comes_first_then_the_day_and_a_forecast_says_about():
    label = only(LabelData("Van", GAPS, due_day=DAY, forecast=True, due_km=78480.0))
    assert label["due"] == ["at 78\u202f480\u00a0km", "about 31 May 2026"]
    assert only(LabelData("Van", GAPS, due_day=DAY))["due"] == ["by 31 May 2026"]


def test_an_engine_never_checked_says_how_to_begin():
    label = only(LabelData("Van", GAPS))
    assert (label["due"], label["last"]) == (["measure once to begin"], "not checked yet")


def test_the_last_check_is_said_in_hours_where_hours_are_counted():
    words = Words(distance_unit="h", km_per_h=50)
    label = only(LabelData("Pump", GAPS, last_day=DAY, last_km=5000.0, words=words))
    assert label["last"] == "last: 31 May 2026, 100\u00a0h"
    assert only(LabelData("Pump", GAPS, last_day=DAY))["last"] == "last: 31 May 2026"


def test_without_an_address_there_is_no_code():
    label = only(LabelData("Van", GAPS))
    assert label["qr"] == label["alt"] == ""
    assert only(LabelData("Van", GAPS, address="http://a.b/1"))["alt"] == "QR code for http://a.b/1"


def test_one_label_is_titled_by_its_engine_several_are_labels():
    assert print_labels([LabelData("Van", GAPS)], DAY).title == "Label, Van"
    assert print_labels([LabelData("Van", GAPS)] * 2, DAY).title == "Labels"


def test_no_labels_and_addresses_too_long_for_a_code_are_refused():
    with pytest.raises(InputError, match="labels: there is no engine to make one for; name at least one"):
        label_data([], DAY)
    with pytest.raises(InputError, match="an address of 201 characters is not printed; give 1 to 200"):
        qr_svg("x" * 201)
    with pytest.raises(InputError, match="an address of 0 characters"):
        qr_svg("")


def test_without_the_library_the_remedy_is_named(monkeypatch):
    monkeypatch.setitem(sys.modules, "segno", None)
    with pytest.raises(
        InputError, match=r"the QR code needs a library that is not installed; install coldlash\[paper\]"
    ):
        qr_svg("http://a.b/1")
