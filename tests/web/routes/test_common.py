"""Numbers typed into forms: the same text never means two things."""

from __future__ import annotations

import pytest

from coldlash.errors import InputError
from coldlash.language import using
from coldlash.web.routes.common import typed_number


@pytest.mark.parametrize("language", ["en", "de"])
@pytest.mark.parametrize(
    ("text", "value"), [("0,15", 0.15), ("0.15", 0.15), ("0.150", 0.15), ("84210,5", 84210.5)]
)
def test_a_decimal_comma_and_a_decimal_point_are_taken_in_every_language(
    language: str, text: str, value: float
) -> None:
    # Exact: 0,15 is fifteen hundredths and never 15.
    with using(language):
        assert typed_number(text, "distance") == value


def test_a_point_before_three_digits_is_refused_where_a_point_groups_digits() -> None:
    # Published: CLDR's group mark of German is the point, so 84.210 is written for eighty-four thousand there.
    assert typed_number("84.210", "distance") == 84.21
    with using("de"), pytest.raises(InputError, match=r"'84\.210'.*84210.*84,21"):
        typed_number("84.210", "distance")
    with using("de"), pytest.raises(InputError, match=r"'1\.500'.*1500.*1,5"):
        typed_number(" 1.500 ", "distance")
