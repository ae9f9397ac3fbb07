"""Finding dates ahead and counts of days in what people are told."""

import re
from datetime import date

MONTHS = (
    "January", "February", "March", "April", "May", "June",
    "July", "August", "September", "October", "November", "December",
)  # fmt: skip
_WORDS = re.compile(rf"\b(\d{{1,2}}) ({'|'.join(MONTHS)})(?: (\d{{4}}))?")
_ISO = re.compile(r"\b(\d{4})-(\d{2})-(\d{2})\b")
_BASIC = re.compile(r"\b(20\d{2})(\d{2})(\d{2})(?:T\d{6}Z?)?\b")
_COUNT = re.compile(
    r"\b(?:in|within|for|another)\s+(?:about\s+)?\d+(?:\s+to\s+\d+)?\s+(?:days?|weeks?)\b", re.IGNORECASE
)


def dates_ahead(text: str, *, today: date) -> list[date]:
    """Find the dates after today; one without a year is of the year in which it is nearest."""
    found = []
    for day, month, year in _WORDS.findall(text):
        number = MONTHS.index(month) + 1
        years = [int(year)] if year else [today.year - 1, today.year, today.year + 1]
        found.append(min((date(y, number, int(day)) for y in years), key=lambda d: abs(d - today)))
    found += [date(int(y), int(m), int(d)) for y, m, d in (*_ISO.findall(text), *_BASIC.findall(text))]
    return [day for day in found if day > today]


def says_when(text: str, *, today: date) -> list[str]:
    """Find whatever tells a day ahead: a date, or a number of days."""
    return [f"{day}" for day in dates_ahead(text, today=today)] + _COUNT.findall(text)
