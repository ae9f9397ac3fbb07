"""A forecast in words: the answer, the days ahead, what this rests on.

Every figure is the forecast's own, rounded as in the sentence; a withheld forecast has no days to show.

Flow     working -> **lines**
"""

import math
from collections.abc import Iterator, Sequence
from zoneinfo import ZoneInfo

import numpy as np

from forecaster.civil import civil_date, to_datetime
from forecaster.confidence import DayOutlook, Forecast, ToldForecast
from forecaster.phrases import day_text, told_litres
from forecaster.pipeline import Inputs, Working
from forecaster.screening import CENSORED, Flag
from forecaster.wording import SD_PER_BAND, Answer

EVERY_DAYS, MOST_ROWS = 7, 12
"""The days ahead are shown week by week, until the tank is more likely dry than not."""


def tell_forecast(answer: Answer, forecast: Forecast, *, zone: ZoneInfo) -> Iterator[str]:
    """Give the lines of an answer: the sentence, why it is wide or withheld, the weeks ahead, cautions."""
    yield answer.sentence
    yield from answer.reasons
    if isinstance(forecast, ToldForecast):
        yield ""
        yield from tell_days(forecast, zone=zone)
    yield ""
    yield from answer.cautions


def tell_days(forecast: ToldForecast, *, zone: ZoneInfo) -> Iterator[str]:
    """Give a table of litres left week by week, if nothing is delivered."""
    year = civil_date(forecast.as_of, zone).year
    sd = max((forecast.litres.p90 - forecast.litres.p10) / SD_PER_BAND, 1.0)  # as in the sentence
    rows = [
        (
            day_text(day.date, year=day.date.year != year),
            *(f"{told_litres(max(litres, 0.0), sd=sd):,.0f}" for litres in (day.p10, day.p50, day.p90)),
            _chance(day.p_dry),
        )
        for day in _weeks(forecast.daily)
    ]
    head = ("evening of", "1 in 10 less", "middle", "1 in 10 more", "chance of running dry")
    yield "Litres left if nothing is delivered, heel included:"
    widths = [max(len(row[i]) for row in (head, *rows)) for i in range(len(head))]
    for row in (head, *rows):
        first, *others = (
            cell.ljust(width) if i == 0 else cell.rjust(width)
            for i, (cell, width) in enumerate(zip(row, widths, strict=True))
        )
        yield "  " + "   ".join((first, *others))


def tell_grounds(working: Working, inputs: Inputs, notes: Sequence[str]) -> Iterator[str]:
    """Give the lines of what this rests on: readings, tickets, weather, survey, and what was left out."""
    yield "What this rests on:"
    for line in (*_levels(working, inputs), _tickets(inputs), *_weather(working, inputs)):
        if line:
            yield f"  {line}"
    for line in (*working.rests_on, *notes):
        yield f"  {line}"


def _weeks(days: Sequence[DayOutlook]) -> list[DayOutlook]:
    shown: list[DayOutlook] = []
    for day in days[::EVERY_DAYS][:MOST_ROWS]:
        shown.append(day)
        if day.p_dry > 0.5:
            break
    return shown


def _chance(p_dry: float) -> str:
    """Say a chance, downwards, so that 50 in 100 stands from the sentence's own day on."""
    if p_dry < 0.01:
        return "less than 1 in 1,000" if p_dry < 0.001 else "less than 1 in 100"
    return f"{math.floor(p_dry * 100 + 1e-9)} in 100"


def _levels(working: Working, inputs: Inputs) -> Iterator[str]:
    levels = working.levels
    if len(levels) == 0:
        yield "No reading of the level."
        return
    first, last = (to_datetime(at).date().isoformat() for at in levels.at[[0, -1]])
    yield f"{len(levels):,} readings, {first} to {last}; {int(levels.trusted().sum()):,} used."
    found = [
        (int(((levels.flags & flag) != 0).sum()), str(flag.name).lower().replace("_", " "))
        for flag in Flag
        if flag != CENSORED
    ]
    left_out = ", ".join(f"{count:,} {name}" for count, name in found if count)
    if left_out:
        yield f"Left out: {left_out}."
    censored = int(levels.censored.sum())
    if censored:
        yield f"{censored:,} readings in the dead band say only: at least so much."
    later = len(inputs.readings or ()) - len(levels)
    if later > 0:
        yield f"{later:,} readings later than this forecast's moment were not looked at."


def _tickets(inputs: Inputs) -> str:
    if inputs.deliveries is None:
        return ""
    as_of = np.datetime64(inputs.as_of.replace(tzinfo=None), "s")
    known = int((inputs.deliveries.at <= as_of).sum())
    return f"{known} delivery ticket{'' if known == 1 else 's'}."


def _weather(working: Working, inputs: Inputs) -> Iterator[str]:
    past = working.past
    days, assumed = len(past.date) - 1, int(past.assumed[:-1].sum())
    filled = f"; {assumed:,} of them not known and taken from the normals" if assumed else ""
    yield f"Weather of {days:,} days before{filled}."
    if inputs.years is not None:
        count = len(inputs.years.date) // 365
        yield f"Weather ahead from a record of {count} years, of the place of {working.normals.name}."
    else:
        yield f"Weather ahead drawn around the monthly normals of {working.normals.name}."
    if inputs.outlook is not None:
        yield f"In front of it a weather forecast of {len(inputs.outlook.date)} days."
