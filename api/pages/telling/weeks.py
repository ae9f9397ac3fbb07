"""The picture's numbers as a table, week by week.

Flow     forecast -> **rows** -> template
"""

from dataclasses import dataclass
from datetime import date

from api.pages.charts import DaySpan, floor_l, known_to_l
from api.pages.telling.chances import chance_words
from forecaster.confidence import DayOutlook, ToldForecast
from forecaster.phrases import day_text, told_litres
from forecaster.tanks import Tank

EVERY_DAYS = 7


@dataclass(frozen=True, slots=True)
class Week:
    """One evening: the likely litres, and between what they lie in 5, 8 and 19 of 10, 10 and 20 cases."""

    day: str
    middle: str
    half: str
    eight_in_ten: str
    nineteen_in_twenty: str
    chance: str


def weeks_ahead(forecast: ToldForecast, tank: Tank, *, today: date, shown: DaySpan) -> tuple[Week, ...]:
    """Take every seventh evening of the days that the picture shows, rounded as in the sentence."""
    floor, sd = floor_l(forecast, tank), known_to_l(forecast)
    return tuple(_row(day, today, floor=floor, sd=sd) for day in forecast.daily[: shown.days : EVERY_DAYS])


def _row(day: DayOutlook, today: date, *, floor: float, sd: float) -> Week:
    def litres(value: float) -> str:
        return f"{told_litres(max(value, floor), sd=sd):,.0f}"

    def between(low: float, high: float) -> str:
        return f"{litres(low)} to {litres(high)}"

    return Week(
        day_text(day.date, year=day.date.year != today.year),
        litres(day.p50),
        between(day.p25, day.p75),
        between(day.p10, day.p90),
        between(day.p025, day.p975),
        chance_words(day.p_dry),
    )
