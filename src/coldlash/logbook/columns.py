"""Column types for the book: every value is an INTEGER, TEXT or BLOB, as SQLite's STRICT tables demand.

STRICT tables refuse type names such as VARCHAR, BOOLEAN or BIGINT, so each type here names what each database
takes (INTEGER, TEXT and BLOB on SQLite; BIGINT, TEXT and BYTEA elsewhere). Values are checked on the way in: a
float never becomes an integer silently, and text that some database could not hold is refused.
"""

from __future__ import annotations

import json
from abc import abstractmethod
from typing import Any

from sqlalchemy import BigInteger, Dialect, Integer, LargeBinary, Text
from sqlalchemy.types import TypeDecorator, TypeEngine

from coldlash.errors import InputError
from coldlash.language import say

INT64_MAX = 2**63 - 1


class _Checked(TypeDecorator[Any]):
    """A type that checks each value on its way in, by its own ``accept``."""

    cache_ok = True

    @abstractmethod
    def accept(self, value: Any) -> Any:
        """The value as the database takes it. Raises InputError."""

    def process_bind_param(self, value: Any, dialect: Dialect) -> Any:  # noqa: ARG002  (SQLAlchemy's signature)
        """None as it is, everything else checked. Raises InputError."""
        return None if value is None else self.accept(value)


class Whole(_Checked):
    """A whole number of 64 bits: INTEGER on SQLite, BIGINT elsewhere."""

    impl = BigInteger
    cache_ok = True

    def load_dialect_impl(self, dialect: Dialect) -> TypeEngine[Any]:
        """The database's own type."""
        return dialect.type_descriptor(Integer() if dialect.name == "sqlite" else BigInteger())

    def accept(self, value: Any) -> int:
        """Whole numbers only. Raises InputError."""
        if type(value) is not int or abs(value) > INT64_MAX:
            raise InputError(say("the book keeps whole numbers of 64 bits here, not {value!r}", value=value))
        return value


class _Written(_Checked):
    """Kept as text; compared and sorted by its bytes on every database, whatever language the server speaks."""

    impl = Text
    cache_ok = True

    def load_dialect_impl(self, dialect: Dialect) -> TypeEngine[Any]:
        """The database's own type."""
        return Text(collation="C") if dialect.name == "postgresql" else Text()


class Words(_Written):
    """Text of any script. NUL and half surrogates are refused: not every database can hold them."""

    cache_ok = True

    def accept(self, value: Any) -> str:
        """Storable text only. Raises InputError."""
        if not isinstance(value, str) or not storable(value):
            raise InputError(say("the book keeps text here, not {value!r}", value=value))
        return value


class Flag(_Checked):
    """Yes or no, kept as 1 or 0."""

    impl = BigInteger
    cache_ok = True

    def load_dialect_impl(self, dialect: Dialect) -> TypeEngine[Any]:
        """The database's own type."""
        return dialect.type_descriptor(Integer() if dialect.name == "sqlite" else BigInteger())

    def accept(self, value: Any) -> int:
        """True and False only. Raises InputError."""
        if not isinstance(value, bool):
            raise InputError(say("the book keeps yes or no here, not {value!r}", value=value))
        return int(value)

    def process_result_value(self, value: Any, dialect: Dialect) -> bool | None:  # noqa: ARG002
        """1 and 0 back to True and False."""
        return None if value is None else bool(value)


class Numbers(_Written):
    """A row of whole numbers, kept as JSON text: ``[50,100,150]``."""

    cache_ok = True

    def accept(self, value: Any) -> str:
        """Rows of whole numbers only. Raises InputError."""
        if not isinstance(value, list | tuple) or any(type(number) is not int for number in value):
            raise InputError(say("the book keeps a row of whole numbers here, not {value!r}", value=value))
        return json.dumps(list(value), separators=(",", ":"))

    def process_result_value(self, value: Any, dialect: Dialect) -> tuple[int, ...] | None:  # noqa: ARG002
        """JSON text back to a tuple."""
        return None if value is None else tuple(json.loads(value))


class Octets(_Checked):
    """Bytes as they are (a photo): BLOB on SQLite, BYTEA on PostgreSQL."""

    impl = LargeBinary
    cache_ok = True

    def accept(self, value: Any) -> bytes:
        """Bytes only. Raises InputError."""
        if not isinstance(value, bytes):
            raise InputError(say("the book keeps bytes here, not {kind}", kind=type(value).__name__))
        return value


def storable(text: str) -> bool:
    """True when every database can hold this text: no NUL, no half surrogate."""
    if "\0" in text:
        return False
    try:
        text.encode("utf-8")
    except UnicodeEncodeError:
        return False
    return True
