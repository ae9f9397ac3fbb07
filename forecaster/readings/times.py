"""Times as files give them: with an offset, in a named zone, or with day and month in some order.

Flow     cell -> **UTC instant**, or what is wrong with it
Formula  In a zone an hour is skipped if its offset before the clock change is smaller than after
         it, and shown twice if it is larger.
Source   RFC 3339 for times with an offset; PEP 495 for the two readings of a local time.
"""

import re
from collections.abc import Iterable
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

from forecaster.errors import Problem, ReadingsError
from forecaster.rows import parse_time

YEARS = (2000, 2100)
"""A time before the first or from the second on comes from a clock never set. [year]"""
LARGEST_OFFSET_H = 14
"""No zone is further from UTC. [h]"""

_LOCAL = re.compile(r"\d{4}-\d{2}-\d{2}[Tt ]\d{2}:\d{2}(:\d{2}(\.\d+)?)?", re.ASCII)
_DAY_MONTH = re.compile(r"(\d{1,2})([/.])(\d{1,2})\2(\d{4})[Tt ](\d{2}:\d{2}(:\d{2})?)", re.ASCII)
_DATE_ONLY = re.compile(r"\d{4}-\d{2}-\d{2}", re.ASCII)
_EPOCH = re.compile(r"[+-]?\d+(\.\d*)?", re.ASCII)
_OFFSET = re.compile(r"[+-](\d{2}):\d{2}", re.ASCII)


def parse_local_time(cell: str, zone: ZoneInfo) -> datetime:
    """Read a time that may lack its offset, taking it in a zone; the result is UTC.

    Raises
    ------
    ValueError
        If it is no time, or a local hour that the clock skips or shows twice.

    Examples
    --------
    >>> parse_local_time("2024-07-10 06:30", ZoneInfo("Europe/London"))
    datetime.datetime(2024, 7, 10, 5, 30, tzinfo=datetime.timezone.utc)
    >>> parse_local_time("2024-03-31 01:30", ZoneInfo("Europe/London"))
    Traceback (most recent call last):
    ValueError: give an hour that exists: the clocks of Europe/London skip this one
    """
    text = cell.strip()
    if not _LOCAL.fullmatch(text):
        return parse_time(text)
    first = parse_time(text + "Z").replace(tzinfo=zone, fold=0)
    second = first.replace(fold=1)
    before, after = first.utcoffset() or timedelta(0), second.utcoffset() or timedelta(0)
    if before < after:
        raise ValueError(f"give an hour that exists: the clocks of {zone.key} skip this one")
    if before > after:
        raise ValueError(f"add the offset from UTC: the clocks of {zone.key} show this hour twice")
    try:
        return first.astimezone(UTC)
    except OverflowError:
        raise ValueError("give a day and an hour that exist") from None


def is_day_first(field: str, cells: Iterable[str]) -> bool | None:
    """Whether 10/01/2024 is the tenth of January in this file; None if it has no such dates."""
    matches = [m for m in map(_DAY_MONTH.fullmatch, cells) if m]
    if not matches:
        return None
    pairs = [(int(m[1]), int(m[3])) for m in matches]
    day_first = any(12 < a <= 31 and 1 <= b <= 12 for a, b in pairs)
    month_first = any(12 < b <= 31 and 1 <= a <= 12 for a, b in pairs)
    if day_first == month_first:
        reason = (
            "some rows can only be read day first, some only month first"
            if day_first
            else ("every date in the file can be read both day first and month first")
        )
        raise ReadingsError(
            Problem("day_or_month", field, f"give dates as 2024-01-10: {reason}", matches[0][0])
        )
    return day_first


class RefusedTimeError(ValueError):
    """A cell is no time that can be used; carries a stable code beside its words."""

    def __init__(self, code: str, mend: str) -> None:
        self.code = code
        super().__init__(mend)


def read_time(cell: str, *, zone: ZoneInfo | None = None, day_first: bool | None = None) -> datetime:
    """Read the time of a reading, within the years that make sense.

    Parameters
    ----------
    cell : str
    zone : ZoneInfo, optional
        Where times without an offset were written down; without it they are refused.
    day_first : bool, optional
        Whether 10/01/2024 is the tenth of January; without it such dates are refused.

    Raises
    ------
    RefusedTimeError
        With code ``no_value``, ``no_offset``, ``date_only``, ``epoch``, ``not_a_time``,
        ``odd_offset`` or ``out_of_years``.

    Examples
    --------
    >>> read_time("10/01/2024 06:30", zone=ZoneInfo("Europe/London"), day_first=True)
    datetime.datetime(2024, 1, 10, 6, 30, tzinfo=datetime.timezone.utc)
    """
    text = cell.strip()
    if day_first is not None and (m := _DAY_MONTH.fullmatch(text)):
        day, month = (m[1], m[3]) if day_first else (m[3], m[1])
        text = f"{m[4]}-{month:0>2}-{day:0>2} {m[5]}"
    try:
        at = parse_time(text) if zone is None else parse_local_time(text, zone)
    except ValueError as bad:
        raise RefusedTimeError(_time_code(text), str(bad)) from None
    offset = _OFFSET.fullmatch(text[-6:])
    if offset and int(offset[1]) > LARGEST_OFFSET_H:
        raise RefusedTimeError("odd_offset", f"give an offset of at most {LARGEST_OFFSET_H} hours")
    if not YEARS[0] <= at.year < YEARS[1]:
        raise RefusedTimeError("out_of_years", f"give a time from {YEARS[0]} to {YEARS[1] - 1}")
    return at


def _time_code(text: str) -> str:
    if not text:
        return "no_value"
    if _LOCAL.fullmatch(text):
        return "no_offset"
    if _DATE_ONLY.fullmatch(text):
        return "date_only"
    return "epoch" if _EPOCH.fullmatch(text) else "not_a_time"
