"""Why this date, in words and rows: the sentence, the months, the readings, the weather, survey against data.

Where the forecast is withheld nothing is told of what was burned: its last level is doubted.

Flow     explanation -> **page** -> template
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from types import MappingProxyType
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

from api.pages.charts.months import MonthsPicture, draw_months
from api.pages.telling.left_out import value_words
from api.usecases.why import Aside, Explanation, Rate, ReadingsUsed, Span, WeatherUsed
from forecaster.civil import civil_date
from forecaster.confidence import ToldForecast
from forecaster.phrases import day_text, litres_text, moment_text, told_litres
from forecaster.wording import SD_PER_BAND, answer, list_text

if TYPE_CHECKING:
    from forecaster.account import Account, Entry, Figure

MOST_ROWS = 60
"""Of more readings that were set aside, the newest are shown."""
MOST_SPANS = 6
NOT_SEEN_L = 0.5
"""A column whose figures all round to nothing is left out. [l]"""
COLUMNS: Mapping[str, str] = MappingProxyType(
    {
        "burned": "Burned", "heating": "Heating", "hot_water": "Hot water and the like",
        "sun": "Spared by sun", "panels": "Spared by panels", "wood": "Spared by wood",
        "opening": "In the tank before", "delivered": "Delivered", "unexplained": "Unexplained",
        "closing": "In the tank after", "co2_kg": "CO₂, kg",
    }
)  # fmt: skip
"""Columns of the account, in order."""
NEEDED = ("burned", "heating", "hot_water", "opening", "delivered", "closing")
RATES: Mapping[str, str] = MappingProxyType(
    {
        "steady_l_per_day": "Litres a day whatever the weather: hot water, standing losses, a range cooker",
        "cold_l_per_kday": "Litres for each degree of cold that lasts a day",
        "wood_l_per_kwh": "Litres spared by each kilowatt-hour of heat from wood",
    }
)


@dataclass(frozen=True, slots=True)
class Row:
    """A row of a table: its name and its cells."""

    name: str
    cells: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class WhyPage:
    """The page, in reading order; without an account its picture and tables are empty."""

    name: str
    as_of: str
    sentence: str
    answer: str
    reasons: tuple[str, ...]
    picture: MonthsPicture | None
    has_panels: bool
    has_wood: bool
    columns: tuple[str, ...]
    months: tuple[Row, ...]
    notes: tuple[str, ...]
    readings: str
    by_reason: tuple[Row, ...]
    aside: tuple[Row, ...]
    aside_caption: str
    weather: tuple[str, ...]
    rates: tuple[Row, ...]
    rests_on: tuple[str, ...]


def tell_why(seen: Explanation, *, to_the_minute: bool) -> WhyPage:
    """Turn an explanation into its page.

    Parameters
    ----------
    seen
        As the use case made it.
    to_the_minute
        Whether the reader may know when in a day something was read.
    """
    forecast, zone, account = seen.forecast, seen.zone, seen.account
    today = civil_date(forecast.as_of, zone)
    months = account.months if account is not None else ()
    columns = _columns(account) if account is not None and account.total is not None else ()
    return WhyPage(
        name=seen.name,
        as_of=f"{day_text(today, year=True)}, {forecast.as_of.astimezone(zone):%H:%M}",
        sentence=" ".join(_sentence(seen)),
        answer=answer(forecast, zone=zone, settings=seen.inputs.settings).sentence,
        reasons=tuple(r.text for r in forecast.reasons if r.text),
        picture=draw_months(months, says=_says(months)) if months else None,
        has_panels=_is_seen("panels", months),
        has_wood=_is_seen("wood", months),
        columns=("Month", *(_head(name, account) for name in columns)) if account is not None else (),
        months=tuple(_month_rows(account, columns)) if account is not None else (),
        notes=tuple(_notes(account, columns)) if account is not None else (),
        readings=_readings(seen.readings, zone),
        by_reason=tuple(
            Row(f"{why[:1].upper()}{why[1:]}", (f"{n:,}",)) for why, n in seen.readings.by_reason
        ),
        aside=tuple(_aside(one, zone, to_the_minute) for one in seen.readings.aside[:MOST_ROWS]),
        aside_caption=_caption(len(seen.readings.aside)),
        weather=tuple(_weather(seen.weather, zone)),
        rates=tuple(_rate(rate) for rate in seen.rates),
        rests_on=seen.rests_on,
    )


def _sentence(seen: Explanation) -> Iterator[str]:
    read = seen.readings
    yield f"This rests on {read.used:,} of {read.known:,} readings." if read.known else "No reading was used."
    total = seen.account.total if seen.account is not None else None
    if not isinstance(seen.forecast, ToldForecast):
        yield "The tank cannot be trusted today, so where the oil went is not told either."
    elif total is not None:
        yield (
            f"Since {_day(total.first)} about {_litres(total.burned)} were burned: about {_litres(total.heating)} for "
            f"heating and about {_litres(total.hot_water)} for hot water and all else that does not follow the weather."
        )
        spared = [
            f"about {_litres(getattr(total, name))} by {words}"
            for name, words in (("sun", "the sun"), ("panels", "panels on the roof"), ("wood", "wood"))
            if getattr(total, name).mean >= NOT_SEEN_L
        ]
        if spared:
            yield f"Spared, by our reckoning: {list_text(spared)}."


def _litres(figure: "Figure") -> str:
    """A figure rounded to half a standard deviation, its range beside it."""
    half_sd = (figure.high - figure.low) / SD_PER_BAND / 2.0
    low, high = (told_litres(v, sd=half_sd) for v in (figure.low, figure.high))
    return f"{litres_text(figure.mean, sd=half_sd)} ({low:,.0f} to {high:,.0f})"


def _cell(value: "Figure | float | None") -> str:
    if value is None:
        return "not known"
    if isinstance(value, float):
        return f"{value:,.0f}"
    half_sd = (value.high - value.low) / SD_PER_BAND / 2.0
    mean, low, high = (told_litres(v, sd=half_sd) for v in (value.mean, value.low, value.high))
    return f"{mean:,.0f} ({low:,.0f} to {high:,.0f})" if low < high else f"{mean:,.0f}"


def _columns(account: "Account") -> tuple[str, ...]:
    return tuple(name for name in COLUMNS if name in NEEDED or _is_seen(name, account.months))


def _is_seen(name: str, months: "tuple[Entry, ...]") -> bool:
    values = (getattr(month, name) for month in months)
    return any(value is not None and max(abs(value.low), abs(value.high)) >= NOT_SEEN_L for value in values)


def _head(name: str, account: "Account") -> str:
    return COLUMNS[name] + (" *" if account.grounds.get(name) == "survey" else "")


def _month_rows(account: "Account", columns: tuple[str, ...]) -> Iterator[Row]:
    for month in reversed(account.months):
        yield Row(_month(month), tuple(_cell(getattr(month, name)) for name in columns))
    if account.total is not None:
        yield Row("All", tuple(_cell(getattr(account.total, name)) for name in columns))


def _month(entry: "Entry") -> str:
    is_whole = entry.first.day == 1 and (entry.last + timedelta(days=1)).day == 1
    return f"{entry.first:%B %Y}" + ("" if is_whole else f", {entry.first.day} to {entry.last.day}")


def _notes(account: "Account", columns: tuple[str, ...]) -> Iterator[str]:
    if not columns:
        return
    if any(account.grounds.get(name) == "survey" for name in columns):
        yield "* From your survey: your readings cannot tell this part from the others."
    yield "Litres at 15 °C, so that cold and warmth neither make nor burn oil; in brackets the range that holds the truth 8 times in 10."  # noqa: E501 - one sentence
    yield (
        "Hot water stands for all that does not follow the weather, such as standing losses and a range cooker. "
        "Heating and hot water add up to what was burned; before, delivered and unexplained, less what was "
        "burned, add up to what is there after. Each figure is rounded to what is known of it."
    )
    yield from account.notes


def _says(months: "tuple[Entry, ...]") -> str:
    most = max(months, key=lambda month: month.burned.mean)
    return (
        f"Columns by month from {months[0].first:%B %Y} to {months[-1].first:%B %Y}: hot water and heating above the "
        f"line, what sun and wood spared below it. Most was burned in {most.first:%B %Y}, about {_litres(most.burned)}."
    )


def _readings(read: ReadingsUsed, zone: ZoneInfo) -> str:
    if read.first is None or read.last is None:
        return "No reading of the level is known yet."
    first, last = (_day(civil_date(at, zone)) for at in (read.first, read.last))
    said = f"{read.known:,} readings from {first} to {last}: {read.used:,} were used, {len(read.aside):,} set aside."
    if read.at_least:
        said += (
            f" Of those used, {read.at_least:,} say only “at least so much”: the oil was too near the sensor."
        )
    return said


def _caption(count: int) -> str:
    if count > MOST_ROWS:
        return f"The newest {MOST_ROWS} of {count:,} readings that were set aside"
    return "Readings that were set aside: kept and shown, and not reckoned with"


def _aside(one: Aside, zone: ZoneInfo, to_the_minute: bool) -> Row:
    at = day_text(civil_date(one.at, zone), year=True)
    if to_the_minute:
        at += f" {one.at.astimezone(zone):%H:%M}"
    return Row(at, (value_words(one.quantity, one.value), one.reason))


def _weather(used: WeatherUsed, zone: ZoneInfo) -> Iterator[str]:
    if used.source is not None:
        yield used.source
    if used.observed is None:
        yield "Observed: no day. Normal weather for the season stands for all of the past."
    else:
        whose = "" if used.source else ", from the file or station given for this tank"
        yield f"Observed: {_span(used.observed)}{whose}."
    if used.assumed:
        shown = list_text([_span(span) for span in used.assumed[-MOST_SPANS:]])
        more = (
            f", and {len(used.assumed) - MOST_SPANS} spells before" if len(used.assumed) > MOST_SPANS else ""
        )
        yield f"Not observed, normal weather for the season assumed: {shown}{more}."
    if used.outlook is not None and used.issued_at is not None:
        yield f"Forecast: {_span(used.outlook)}, as issued {_moment(used.issued_at, zone)}."
    else:
        yield "Forecast: none; the next days are drawn like all others."
    if used.years is not None:
        whence = (
            f"the monthly normals of {used.years_from}"
            if used.years_from
            else "the long record of this place"
        )
        yield f"From weather years: {_span(used.years)}, drawn many times over from {whence}."


def _rate(rate: Rate) -> Row:
    now = _interval(rate.now)
    said = (
        f"{now}, from your readings"
        if rate.measured
        else f"{now}, your survey’s still: your readings cannot tell it"
    )
    return Row(RATES[rate.name], (_interval(rate.survey), said))


def _interval(values: tuple[float, float, float]) -> str:
    middle, low, high = values
    digits = max(0, min(3, 1 - _order_of(high - low)))
    return f"{middle:.{digits}f} ({low:.{digits}f} to {high:.{digits}f})"


def _order_of(width: float) -> int:
    """Power of ten of a width."""
    return int(f"{max(width, 1e-3):e}".split("e")[1])


def _span(span: Span) -> str:
    if span.days == 1:
        return _day(span.first)
    return f"{span.days:,} days from {_day(span.first)} to {_day(span.last)}"


def _day(day: date) -> str:
    return day_text(day, year=True, weekday=False)


def _moment(at: datetime, zone: ZoneInfo) -> str:
    return moment_text(at, zone)
