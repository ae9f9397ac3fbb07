"""Column types that refuse what the two databases would treat differently.

SQLite drops the offset of a time and turns NaN into NULL; PostgreSQL keeps NaN and ranks it above
infinity, and refuses NUL in a text. These types refuse all of it before it reaches a database.

Flow     **columns** -> tables -> store
"""

import math
from collections.abc import Sequence
from datetime import UTC, datetime

import numpy as np
import numpy.typing as npt
import sqlalchemy as sa
from sqlalchemy.engine import Dialect

_BEGINNING = datetime(1970, 1, 1, tzinfo=UTC)


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


def to_datetime64(times: Sequence[datetime] | Sequence[str]) -> npt.NDArray[np.datetime64]:
    """Turn many times, as a driver gave them, into an array in UTC; without an offset they are in UTC.

    SQLite gives texts, and thousands of them are read at once ten times faster than one by one.

    Examples
    --------
    >>> to_datetime64([datetime(2024, 1, 1, 7, tzinfo=UTC)])
    array(['2024-01-01T07:00:00'], dtype='datetime64[s]')
    >>> to_datetime64(["2024-01-01 06:00:00.000000"])
    array(['2024-01-01T06:00:00'], dtype='datetime64[s]')
    """
    if isinstance(times[0], str):
        return np.array(times, dtype="S19").astype("datetime64[s]")
    seconds = [(t - _BEGINNING).total_seconds() for t in times if isinstance(t, datetime)]
    return np.floor(seconds).astype(np.int64).view("datetime64[s]")


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
