"""Which days ahead are shown, and where their axis has marks: always at the beginning of civil days.

The axis counts in the tank's own civil time. A picture has one length for every day, also for the
two of the year that are an hour shorter or longer.

Flow     forecast -> **days** -> fan, table
"""

from dataclasses import dataclass
from datetime import date, timedelta

from forecaster.confidence import ToldForecast

LEAST_DAYS = 28
"""A picture shows at least so many days."""
AFTERWARDS = 7
"""Days shown beyond the last thing to be seen."""
NEARLY_SURE = 0.95
"""The fan is followed until that chance of being dry."""
MONTH_DAYS = 30.4


@dataclass(frozen=True, slots=True)
class DaySpan:
    """The days shown: the first, and how many; the last one's evening ends the axis."""

    first: date
    days: int

    @property
    def end(self) -> date:
        """The day whose beginning ends the axis."""
        return self.first + timedelta(days=self.days)


@dataclass(frozen=True, slots=True)
class Tick:
    """A mark at the beginning of a day, with its label."""

    day: date
    label: str


def days_shown(forecast: ToldForecast) -> DaySpan:
    """Choose the days: until the tank is nearly sure to be dry, and past the order window.

    Where the order window or half the chance of being dry lies beyond what is forecast, all of it is
    shown.
    """
    daily = forecast.daily
    first = daily[0].date
    dry = next((i for i, day in enumerate(daily) if day.p_dry >= NEARLY_SURE), len(daily))
    latest = forecast.order.latest
    ordered = (latest - first).days if latest is not None else 0
    wanted = max(dry, ordered) + AFTERWARDS
    return DaySpan(first, min(max(wanted, LEAST_DAYS), len(daily)))


def day_ticks(shown: DaySpan, *, most: int) -> tuple[Tick, ...]:
    """Choose at most so many marks: Mondays, firsts and fifteenths, or firsts of months.

    Examples
    --------
    >>> [tick.label for tick in day_ticks(DaySpan(date(2025, 1, 14), 42), most=6)]
    ['20 Jan', '27 Jan', '3 Feb', '10 Feb', '17 Feb', '24 Feb']
    >>> [tick.label for tick in day_ticks(DaySpan(date(2025, 1, 14), 200), most=4)]
    ['Feb', 'Apr', 'Jun', 'Aug']
    """
    for weeks in (1, 2):
        if shown.days / (7 * weeks) <= most:
            monday = shown.first + timedelta(days=-shown.first.weekday() % 7)
            days = [monday + timedelta(weeks=i) for i in range(0, shown.days // 7 + 1, weeks)]
            return tuple(Tick(day, f"{day.day} {day:%b}") for day in days if day < shown.end)
    if 2 * shown.days / MONTH_DAYS <= most:
        firsts = [_month_after(shown.first, i) for i in range(-1, 14)]
        halves = [day for first in firsts for day in (first, first.replace(day=15))]
        return tuple(Tick(d, f"{d.day} {d:%b}") for d in halves if shown.first <= d < shown.end)
    step = next(s for s in (1, 2, 3, 6, 12) if shown.days / (MONTH_DAYS * s) <= most or s == 12)
    months = [_month_after(shown.first, i) for i in range(1, 14)]
    return tuple(Tick(m, _month_label(m)) for m in months[::step] if m < shown.end)


def _month_after(day: date, months: int) -> date:
    years, month = divmod(day.month - 1 + months, 12)
    return date(day.year + years, month + 1, 1)


def _month_label(day: date) -> str:
    return f"{day:%b %Y}" if day.month == 1 else f"{day:%b}"
