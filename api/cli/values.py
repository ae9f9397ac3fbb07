"""Options that are more than a word: numbers, days, lead times, orders placed.

Each parser is strict, as the engine's are; what it refuses names the mend.

Flow     argument -> **value** -> commands
"""

from collections.abc import Callable
from datetime import UTC, date, datetime, time, timedelta
from enum import StrEnum
from typing import TypeVar
from zoneinfo import ZoneInfo

from forecaster.errors import InputError, Problem
from forecaster.rows import parse_date, parse_number, parse_time

Value = TypeVar("Value")

YEARS = (1900, 2200)
"""An as-of outside is a slip of the pen. [yr]"""
MOST_DIGITS = 8
"""A longer whole number is none of an option. [digits]"""


class TempKind(StrEnum):
    """How the daily temperature of a weather file is formed."""

    MEAN = "mean"
    MIDRANGE = "midrange"


class DecimalSign(StrEnum):
    """The decimal sign of the files."""

    POINT = "."
    COMMA = ","


def read_option(option: str, text: str, parse: Callable[[str], Value]) -> Value:
    """Read the value of an option.

    Raises
    ------
    InputError
        With the option's name and what the parser says of the value.

    Examples
    --------
    >>> read_option("--risk", "0.002", parse_number)
    0.002
    """
    try:
        return parse(text)
    except ValueError as bad:
        raise InputError(Problem("option", option, str(bad), text)) from None


def parse_whole(text: str) -> int:
    """Read a whole number; raises ValueError for anything else."""
    if not (text.strip().isascii() and text.strip().isdigit() and len(text) < MOST_DIGITS):
        raise ValueError("give a whole number")
    return int(text)


def parse_lead_days(text: str) -> tuple[int, int]:
    """Read working days from order to delivery; raises ValueError for anything else.

    Examples
    --------
    >>> parse_lead_days("3-10"), parse_lead_days("5")
    ((3, 10), (5, 5))
    """
    low, dash, high = text.partition("-")
    try:
        return parse_whole(low), parse_whole(high if dash else low)
    except ValueError:
        raise ValueError("give working days from-to, such as 3-10, or one number") from None


def parse_ordered(text: str) -> tuple[date, float]:
    """Read an order placed: the day it is promised for, and its litres; raises ValueError for anything else.

    Examples
    --------
    >>> parse_ordered("2024-01-22:900")
    (datetime.date(2024, 1, 22), 900.0)
    """
    day, colon, litres = text.partition(":")
    if not colon:
        raise ValueError("give DATE:litres, such as 2024-01-22:900")
    return parse_date(day), parse_number(litres)


def parse_quote(text: str) -> tuple[float, float]:
    """Read a price of a litre from a quantity on; raises ValueError for anything else.

    Examples
    --------
    >>> parse_quote("500:0.62")
    (500.0, 0.62)
    """
    litres, colon, price = text.partition(":")
    if not colon:
        raise ValueError("give LITRES:PRICE, such as 500:0.62")
    return parse_number(litres), parse_number(price)


def parse_as_of(text: str, zone: ZoneInfo) -> datetime:
    """Read the instant of knowledge: a date means the end of that civil day, a time that instant.

    Raises
    ------
    InputError
        For anything else, and for a time without its offset.

    Examples
    --------
    >>> parse_as_of("2024-01-10", ZoneInfo("Europe/Dublin")).isoformat()
    '2024-01-11T00:00:00+00:00'
    """
    try:
        if ":" in text:
            at = parse_time(text)
        else:
            at = datetime.combine(parse_date(text) + timedelta(days=1), time(), zone).astimezone(UTC)
        if not YEARS[0] <= at.year < YEARS[1]:
            raise ValueError(f"give a year from {YEARS[0]} to {YEARS[1] - 1}")
    except (ValueError, OverflowError) as bad:
        mend = f"{bad}, or a date alone for the end of that day"
        raise InputError(Problem("as_of", "--as-of", mend, text)) from None
    return at
