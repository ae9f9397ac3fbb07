"""Numbers and dates as people read them: rounded to what is known, dates with their weekday.

Every door speaks through here, so that the page, the command and the mail say the same.
"""

from datetime import date, datetime
from zoneinfo import ZoneInfo

import numpy as np

_WEEKDAYS = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")
_MONTHS = (
    "January", "February", "March", "April", "May", "June",
    "July", "August", "September", "October", "November", "December",
)  # fmt: skip
_STEPS = (1.0, 2.0, 5.0, 10.0, 20.0, 50.0, 100.0, 200.0, 500.0, 1000.0)


def rounding_step(sd: float) -> float:
    """Step to which a figure with that standard deviation is told: never finer than it.

    Examples
    --------
    >>> rounding_step(3.5), rounding_step(14.0)
    (5.0, 20.0)
    """
    return next((s for s in _STEPS if s >= sd), _STEPS[-1])


def told_litres(litres: float, *, sd: float) -> float:
    """Round litres for people.

    Examples
    --------
    >>> told_litres(823.4, sd=6.0)
    820.0
    """
    step = rounding_step(sd)
    return float(np.round(litres / step) * step) + 0.0


def litres_text(litres: float, *, sd: float = 0.0) -> str:
    """Litres with a thousands separator, rounded to what is known.

    Examples
    --------
    >>> litres_text(1234.6, sd=8.0), litres_text(1.0)
    ('1,230 litres', '1 litre')
    """
    told = f"{told_litres(litres, sd=sd):,.0f}"
    return f"{told} litre" if told == "1" else f"{told} litres"


def money_text(sum_of_money: float) -> str:
    """A sum in whatever currency was given: whole from 10 on, to the penny below.

    Examples
    --------
    >>> money_text(1234.5), money_text(9.876)
    ('1,234', '9.88')
    """
    return f"{sum_of_money:,.0f}" if abs(sum_of_money) >= 9.995 else f"{sum_of_money:,.2f}"


def day_text(day: date, *, year: bool = False, weekday: bool = True) -> str:
    """A date with its weekday.

    Examples
    --------
    >>> day_text(date(2025, 1, 3))
    'Fri 3 January'
    """
    head = f"{_WEEKDAYS[day.weekday()]} " if weekday else ""
    tail = f" {day.year}" if year else ""
    return f"{head}{day.day} {_MONTHS[day.month - 1]}{tail}"


def change_text(what: str, day: date) -> str:
    """What a change of the house for good does to the forecast.

    Examples
    --------
    >>> change_text("new boiler", date(2025, 1, 3))
    'new boiler: used from Fri 3 January 2025 on; what was learnt before it counts less'
    """
    return f"{what}: used from {day_text(day, year=True)} on; what was learnt before it counts less"


def span_text(first: date, last: date, *, today: date | None = None) -> str:
    """A span of dates, without saying the month twice; a year other than today's is said.

    Examples
    --------
    >>> span_text(date(2025, 1, 3), date(2025, 1, 7)), span_text(date(2025, 1, 30), date(2025, 2, 3))
    ('Fri 3 to Tue 7 January', 'Thu 30 January to Mon 3 February')
    >>> span_text(date(2024, 12, 30), date(2025, 1, 7), today=date(2024, 12, 20))
    'Mon 30 December to Tue 7 January 2025'
    """

    def told(day: date) -> str:
        return day_text(day, year=today is not None and day.year != today.year)

    if first == last:
        return told(first)
    if (first.year, first.month) == (last.year, last.month):
        return f"{_WEEKDAYS[first.weekday()]} {first.day} to {told(last)}"
    return f"{told(first)} to {told(last)}"


def moment_text(at: datetime, zone: ZoneInfo, *, today: date | None = None) -> str:
    """A local time, "today" where it is today; a year other than today's is said.

    Examples
    --------
    >>> from datetime import UTC
    >>> moment_text(datetime(2025, 1, 3, 6, 10, tzinfo=UTC), ZoneInfo("Europe/Dublin"))
    'Fri 3 January 06:10'
    """
    local = at.astimezone(zone)
    day = local.date()
    said = day_text(day, year=today is not None and day.year != today.year)
    return f"{'today' if day == today else said} {local:%H:%M}"


def chance_text(chance: float) -> str:
    """A chance as one in so many, cautious towards the larger chance.

    Examples
    --------
    >>> chance_text(0.1), chance_text(0.5), chance_text(0.0043)
    ('1 in 10', '1 in 2', '1 in 232')
    """
    if chance <= 0:
        return "less than 1 in 1,000"
    return f"1 in {max(int(np.floor(1 / chance + 1e-9)), 1):,}"


def days_text(days: float) -> str:
    """Whole days in words.

    Examples
    --------
    >>> days_text(1), days_text(9.4)
    ('1 day', '9 days')
    """
    whole = round(days)
    return f"{whole} day" if whole == 1 else f"{whole} days"
