"""Column types that hold the same thing on every database."""

import json
from datetime import UTC, datetime
from typing import Any

from sqlalchemy import DateTime, Dialect, Text
from sqlalchemy.types import TypeDecorator


class UtcDateTime(TypeDecorator[datetime]):
    """An aware moment, kept as UTC without its offset: SQLite has no aware times, and this orders alike everywhere."""

    impl = DateTime
    cache_ok = True

    @property
    def python_type(self) -> type[datetime]:
        return datetime

    def process_bind_param(self, value: datetime | None, dialect: Dialect) -> datetime | None:
        if value is None:
            return None
        if value.utcoffset() is None:
            raise ValueError(f"a time without its zone can't be stored: {value!r}")
        return value.astimezone(UTC).replace(tzinfo=None)

    def process_result_value(self, value: Any, dialect: Dialect) -> datetime | None:
        return None if value is None else value.replace(tzinfo=UTC)


def canonical_json(value: Any) -> str:
    """The one spelling of a JSON value: sorted keys, no spaces, no NaN. Equal values give equal text."""
    return json.dumps(value, sort_keys=True, separators=(",", ":"), ensure_ascii=False, allow_nan=False)


class JsonText(TypeDecorator[Any]):
    """A JSON value as canonical text; None is SQL NULL. Mutating a loaded value in place is not noticed: replace it."""

    impl = Text
    cache_ok = True

    def process_bind_param(self, value: Any, dialect: Dialect) -> str | None:
        return None if value is None else canonical_json(value)

    def process_result_value(self, value: Any, dialect: Dialect) -> Any:
        return None if value is None else json.loads(value)
