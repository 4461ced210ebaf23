"""Column types for the book: every value is an INTEGER, REAL or TEXT, as SQLite's STRICT tables demand.

STRICT tables refuse type names such as VARCHAR, BOOLEAN or BIGINT, so each type here names what each database
takes (INTEGER and TEXT on SQLite; BIGINT and TEXT elsewhere). Values are checked on the way in: a float never
becomes an integer silently, and text that some database could not hold is refused.
"""

from __future__ import annotations

import json
from typing import Any

from sqlalchemy import BigInteger, Dialect, Double, Integer, Text
from sqlalchemy.dialects.sqlite import REAL
from sqlalchemy.types import TypeDecorator, TypeEngine

from coldlash.errors import InputError

INT64_MAX = 2**63 - 1


class Whole(TypeDecorator[int]):
    """A whole number of 64 bits."""

    impl = BigInteger
    cache_ok = True

    def load_dialect_impl(self, dialect: Dialect) -> TypeEngine[Any]:
        """INTEGER on SQLite, BIGINT elsewhere."""
        return dialect.type_descriptor(Integer() if dialect.name == "sqlite" else BigInteger())

    def process_bind_param(self, value: Any, dialect: Dialect) -> int | None:
        """Refuse what is not a whole number of 64 bits. Raises InputError."""
        if value is None:
            return None
        if type(value) is not int or abs(value) > INT64_MAX:
            raise InputError(f"the book keeps whole numbers of 64 bits here, not {value!r}")
        return value


class Real(TypeDecorator[float]):
    """A floating-point number of 64 bits."""

    impl = Double
    cache_ok = True

    def load_dialect_impl(self, dialect: Dialect) -> TypeEngine[Any]:
        """REAL on SQLite, DOUBLE PRECISION elsewhere."""
        return dialect.type_descriptor(REAL() if dialect.name == "sqlite" else Double())

    def process_bind_param(self, value: Any, dialect: Dialect) -> float | None:
        """Refuse what is not a number. Raises InputError."""
        if value is None:
            return None
        if isinstance(value, bool) or not isinstance(value, int | float):
            raise InputError(f"the book keeps numbers here, not {value!r}")
        return float(value)


class Words(TypeDecorator[str]):
    """Text of any script. NUL and half surrogates are refused: not every database can hold them."""

    impl = Text
    cache_ok = True

    def process_bind_param(self, value: Any, dialect: Dialect) -> str | None:
        """Refuse what is not storable text. Raises InputError."""
        if value is None:
            return None
        if not isinstance(value, str) or not storable(value):
            raise InputError(f"the book keeps text here, not {value!r}")
        return value


class Flag(TypeDecorator[bool]):
    """Yes or no, kept as 1 or 0."""

    impl = BigInteger
    cache_ok = True

    def load_dialect_impl(self, dialect: Dialect) -> TypeEngine[Any]:
        """INTEGER on SQLite, BIGINT elsewhere."""
        return dialect.type_descriptor(Integer() if dialect.name == "sqlite" else BigInteger())

    def process_bind_param(self, value: Any, dialect: Dialect) -> int | None:
        """Refuse what is not True or False. Raises InputError."""
        if value is None:
            return None
        if not isinstance(value, bool):
            raise InputError(f"the book keeps yes or no here, not {value!r}")
        return int(value)

    def process_result_value(self, value: Any, dialect: Dialect) -> bool | None:
        """1 and 0 back to True and False."""
        return None if value is None else bool(value)


class Numbers(TypeDecorator[tuple[int, ...]]):
    """A row of whole numbers, kept as JSON text: ``[50,100,150]``."""

    impl = Text
    cache_ok = True

    def process_bind_param(self, value: Any, dialect: Dialect) -> str | None:
        """Refuse what is not a row of whole numbers. Raises InputError."""
        if value is None:
            return None
        numbers = list(value)
        if any(type(number) is not int for number in numbers):
            raise InputError(f"the book keeps a row of whole numbers here, not {value!r}")
        return json.dumps(numbers, separators=(",", ":"))

    def process_result_value(self, value: Any, dialect: Dialect) -> tuple[int, ...] | None:
        """JSON text back to a tuple."""
        return None if value is None else tuple(json.loads(value))


def storable(text: str) -> bool:
    """True when every database can hold this text: no NUL, no half surrogate."""
    if "\0" in text:
        return False
    try:
        text.encode("utf-8")
    except UnicodeEncodeError:
        return False
    return True
