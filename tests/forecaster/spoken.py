"""Reading a sentence back: its dates, chances, litres and day counts, as a stranger would understand them."""

import re
from datetime import date

WEEKDAYS = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")
MONTHS = (
    "January", "February", "March", "April", "May", "June",
    "July", "August", "September", "October", "November", "December",
)  # fmt: skip

_DATE = re.compile(rf"\b({'|'.join(WEEKDAYS)}) (\d{{1,2}})(?: ({'|'.join(MONTHS)})(?: (\d{{4}}))?)?")
_DAYS = re.compile(r"\b(?:\d+|one|two|three)\s+(?:working )?(?:day|week|month)s?\b(?! ago)", re.IGNORECASE)
_BEHIND = re.compile(r"\b(?:over|watched for) \d+ days?\b|the one day known since")
_QUANTITY = re.compile(r"\border(?:ing)?\b[^.;:]*?([\d,]+) litres", re.IGNORECASE)
_THRESHOLD = re.compile(r"order if it is below ([\d,]+) litres")


def dates_in(text: str, *, today: date) -> list[date]:
    """All dates of a text; a date without a year is of today's, one without a month of the next one's.

    Raises
    ------
    AssertionError
        Where a weekday is not that of its date.
    """
    found = list(_DATE.finditer(text))
    out: list[date] = []
    month, year = "", ""
    for match in reversed(found):
        weekday, day, own_month, own_year = match.groups()
        if own_month:
            month, year = own_month, own_year or ""
        told = date(int(year) if year else today.year, MONTHS.index(month) + 1, int(day))
        assert WEEKDAYS[told.weekday()] == weekday, f"{match.group()} is no {weekday}"
        out.append(told)
    return out[::-1]


def days_ahead_in(text: str) -> list[str]:
    """Counts of days or weeks that do not lie behind."""
    return _DAYS.findall(_BEHIND.sub("", text))


def order_quantities_in(text: str) -> list[str]:
    """Litres that a text asks to order; the gauge reading below which to order is none."""
    return _QUANTITY.findall(_THRESHOLD.sub("", text))


def thresholds_in(text: str) -> list[float]:
    """Gauge readings below which a text says to order. [L]."""
    return [number(n) for n in _THRESHOLD.findall(text)]


def number(text: str) -> float:
    """A number with thousands separators."""
    return float(text.replace(",", ""))


def assert_nothing_ahead(text: str, *, today: date) -> None:
    """Refuse a date after today, a count of days ahead, or a quantity to order."""
    assert [d for d in dates_in(text, today=today) if d > today] == []
    assert days_ahead_in(text) == [], text
    assert order_quantities_in(text) == [], text
