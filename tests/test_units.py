"""Numbers are read strictly; conversions are exact."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from coldlash import units
from coldlash.errors import ConvergenceError, Fault, FaultyFileError, InputError


@pytest.mark.parametrize(
    ("text", "value"),
    [
        ("0.15", 0.15),
        ("0,15", 0.15),
        (".15", 0.15),
        ("\u22123", -3.0),
        ("-3", -3.0),
        ("+2", 2.0),
        ("0,150", 0.15),
        ("84210", 84210),
    ],
)
def test_numbers_are_read_with_point_or_comma(text, value):
    assert units.parse_number(text, "gap") == value


@pytest.mark.parametrize(
    "text", ["", ".", "1e3", "nan", "inf", "1.2.3", "0x10", "1_000", "12 3", "--1", "١٢x"]
)
def test_what_is_not_a_plain_number_is_refused(text):
    with pytest.raises(InputError, match="is not a number"):
        units.parse_number(text, "gap")


def test_a_comma_that_may_mark_thousands_is_refused_with_both_readings():
    with pytest.raises(InputError, match=r"84210 or as 84\.210"):
        units.parse_number("84,210", "distance")


@given(st.integers(-9999, 9999), st.integers(0, 99))
def test_a_decimal_comma_never_changes_the_size(whole, hundredths):
    assert units.parse_number(f"{whole},{hundredths:02d}", "x") == units.parse_number(
        f"{whole}.{hundredths:02d}", "x"
    )


def test_factors_are_the_exact_international_ones():
    # Exact by definition: international yard and pound agreement (1959); standard gravity 9.80665 m/s2 (CGPM 1901).
    assert units.mm_from_inch(1) == 25.4
    assert units.km_from_mile(1) == 1.609344
    assert pytest.approx(0.45359237 * 9.80665 / 0.0254**2, rel=1e-15) == units.PA_PER_PSI
    assert units.c_from_f(212) == pytest.approx(100)
    assert units.f_from_c(-40) == pytest.approx(-40)


@given(st.integers(-10_000, 10_000))
def test_micrometres_and_metres_survive_the_way_there_and_back(n):
    assert units.um_from_mm(units.mm_from_um(n)) == n
    assert units.m_from_km(units.km_from_m(n)) == n


def test_faults_of_a_file_are_listed_by_line_and_say_nothing_was_taken():
    error = FaultyFileError("launch.toml", [Fault("second", 7, 3), Fault("whole file"), Fault("first", 2)])
    assert str(error).splitlines() == [
        "launch.toml: 3 faults, nothing was taken from it",
        "  whole file",
        "  line 2: first",
        "  line 7, column 3: second",
    ]


def test_exit_codes_tell_whose_fault_it_was():
    assert InputError("x").exit_code == 2
    assert ConvergenceError("x").exit_code == 1
