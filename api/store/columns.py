"""Column types that refuse what the two databases would treat differently.

SQLite drops the offset of a time and turns NaN into NULL; PostgreSQL keeps NaN and ranks it above
infinity, and refuses NUL in a text. These types refuse all of it before it reaches a database.

Flow     **columns** -> tables -> store
"""

import math
from datetime import UTC, datetime

import sqlalchemy as sa
from sqlalchemy.engine import Dialect


class Instant(sa.TypeDecorator[datetime]):
    """A point in time: goes in with an offset, comes out in UTC with its offset."""

    impl = sa.DateTime(timezone=True)
    cache_ok = True

    def process_bind_param(self, value: datetime | None, dialect: Dialect) -> datetime | None:
        """Refuse a time without offset; turn any other into UTC."""
        if value is None:
            return None
        if value.tzinfo is None:
            raise ValueError("a time without offset cannot be stored")
        return value.astimezone(UTC)

    def process_result_value(self, value: datetime | None, dialect: Dialect) -> datetime | None:
        """Give back UTC, also from SQLite, which holds no offset."""
        if value is None:
            return None
        return value.replace(tzinfo=UTC) if value.tzinfo is None else value.astimezone(UTC)


class Finite(sa.TypeDecorator[float]):
    """A double-precision number that is neither NaN nor infinite; minus zero becomes zero."""

    impl = sa.Double()
    cache_ok = True

    def process_bind_param(self, value: float | None, dialect: Dialect) -> float | None:
        """Refuse NaN and the infinities."""
        if value is None:
            return None
        number = float(value)
        if not math.isfinite(number):
            raise ValueError("a number that is not finite cannot be stored")
        return number + 0.0


class PlainText(sa.TypeDecorator[str]):
    """Text without NUL and without lone surrogates."""

    impl = sa.Text()
    cache_ok = True

    def process_bind_param(self, value: str | None, dialect: Dialect) -> str | None:
        """Refuse what one of the databases, or UTF-8, cannot hold."""
        if value is None:
            return None
        if "\0" in value:
            raise ValueError("a text with NUL cannot be stored")
        try:
            value.encode()
        except UnicodeEncodeError:
            raise ValueError("a text with a lone surrogate cannot be stored") from None
        return str(value)
