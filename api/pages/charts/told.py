"""What the fan tells in words: the dates on it, and the sentence for those who do not see it.

Flow     forecast -> **words** -> fan
"""

from dataclasses import dataclass
from datetime import date, timedelta
from zoneinfo import ZoneInfo

from api.pages.charts.days import DaySpan
from forecaster.civil import civil_date
from forecaster.confidence import OrderAdvice, ToldForecast
from forecaster.phrases import day_text, litres_text, span_text
from forecaster.tanks import Tank
from forecaster.wording import SD_PER_BAND


@dataclass(frozen=True, slots=True)
class ChanceMark:
    """A date by whose end the boiler has stopped with a chance that people are told."""

    day: date
    text: str
    short: str


def chance_marks(forecast: ToldForecast) -> tuple[ChanceMark, ...]:
    """Find the two dates of the sentence, the earlier first."""
    today = forecast.daily[0].date
    told = ((forecast.run_dry.p10, "1 in 10 by"), (forecast.run_dry.p50, "1 in 2 by"))
    return tuple(
        ChanceMark(day, f"{words} {_day(day, today)}", f"{words} {day.day} {day:%b}")
        for day, words in told
        if day is not None
    )


def order_days(order: OrderAdvice, *, today: date) -> tuple[date, date] | None:
    """Find the first and the last day on which to order, from today on; None where there is none."""
    if order.note == "order_today":
        return today, today
    if order.note == "window" and order.earliest is not None and order.latest is not None:
        return max(order.earliest, today), order.latest
    return None


def last_safe_day(order: OrderAdvice, *, today: date) -> date | None:
    """Find the last day that is safe from running dry, where the smallest delivery will not yet fit."""
    ahead = order.note == "no_safe_window" and order.latest is not None and order.latest >= today
    return order.latest if ahead else None


def order_words(order: OrderAdvice, *, today: date) -> str:
    """Say when to order, short enough to stand under a bracket."""
    days = order_days(order, today=today)
    if order.note == "order_today":
        return "order today"
    if days is not None:
        return f"order {'on ' if days[0] == days[1] else ''}{span_text(*days)}"
    if order.note == "no_safe_window":
        last = last_safe_day(order, today=today)
        return "no day to order is safe" if last is None else f"last safe day to order {day_text(last)}"
    return "no order is needed in these days"


def floor_l(forecast: ToldForecast, tank: Tank) -> float:
    """Litres below which the level does not fall: the boiler stops at the heel. [L]."""
    return min(tank.heel_l, max(forecast.litres.p10, 0.0))


def known_to_l(forecast: ToldForecast) -> float:
    """How well today's level is known, as the sentence has it: nothing is told finer. [L]."""
    return max((forecast.litres.p90 - forecast.litres.p10) / SD_PER_BAND, 1.0)


def say_fan(forecast: ToldForecast, tank: Tank, *, zone: ZoneInfo, shown: DaySpan) -> str:
    """Say what the picture shows."""
    today = civil_date(forecast.as_of, zone)
    half_way = forecast.daily[(shown.days - 1) // 2]
    floor, sd = floor_l(forecast, tank), known_to_l(forecast)
    now = litres_text(forecast.litres.p50, sd=sd)
    low, high = (litres_text(max(value, floor), sd=sd) for value in (half_way.p10, half_way.p90))
    end = shown.end - timedelta(days=1)
    said = [
        f"Litres left from {_day(today, today)} to {_day(end, today)} if nothing is delivered: a band that "
        f"falls from about {now} now to between {low.removesuffix(' litres')} and {high} "
        f"on {_day(half_way.date, today)} in 8 of 10 cases.",
        f"Lines stand at the safe fill, {litres_text(tank.safe_fill_l)}, and at the heel, where the boiler "
        f"stops, {litres_text(tank.heel_l)}.",
    ]
    marks = [mark.text for mark in chance_marks(forecast)]
    if marks:
        said.append(f"The chance that the boiler has stopped is {' and '.join(marks)}.")
    order = order_words(forecast.order, today=today)
    return " ".join([*said, f"{order[0].upper()}{order[1:]}."])


def _day(day: date, today: date) -> str:
    return day_text(day, year=day.year != today.year)
