"""What a forecast rests on, in sentences: readings, tickets, weather, survey, and how oil is ordered.

Everything here lies behind us or was assumed; a date ahead never stands here.

Flow     inputs -> **grounds** -> template
"""

from collections.abc import Iterator
from datetime import date
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

from api.pages.telling.left_out import LeftOut
from forecaster.civil import civil_date, to_datetime
from forecaster.phrases import chance_text, change_text, day_text, litres_text

if TYPE_CHECKING:
    from forecaster.pipeline import Inputs


def tell_grounds(inputs: "Inputs", zone: ZoneInfo, left_out: LeftOut) -> Iterator[str]:
    """Say what a forecast was made from."""
    yield _readings(inputs, zone, left_out)
    yield _tickets(inputs, zone)
    yield from _weather(inputs)
    yield from _house(inputs)
    yield _orders(inputs)


def _readings(inputs: "Inputs", zone: ZoneInfo, left_out: LeftOut) -> str:
    readings = inputs.readings
    if readings is None or len(readings.at) == 0:
        return "No reading of the level yet."
    first, last = (civil_date(to_datetime(at), zone) for at in readings.at[[0, -1]])
    said = f"{left_out.known:,} readings from {_day(first)} to {_day(last)}"
    parts = [f"{left_out.count:,} left out" if left_out.count else "none left out"]
    if left_out.at_least:
        parts.append(f"{left_out.at_least:,} taken as “at least so much”")
    return f"{said}; {', '.join(parts)}."


def _tickets(inputs: "Inputs", zone: ZoneInfo) -> str:
    tickets = inputs.deliveries
    if tickets is None or len(tickets.at) == 0:
        return "No delivery ticket."
    last = int(tickets.at.argmax())
    word = "ticket" if len(tickets.at) == 1 else "tickets"
    what = "taken out" if tickets.removed[last] else "delivered"
    return (
        f"{len(tickets.at)} delivery {word}; the last of {litres_text(float(tickets.litres[last]))} {what} on "
        f"{_day(civil_date(to_datetime(tickets.at[last]), zone))}."
    )


def _weather(inputs: "Inputs") -> Iterator[str]:
    from forecaster.pipeline import place_normals

    weather = inputs.weather
    if weather is None or len(weather.date) == 0:
        yield "No weather of the past: normal weather for the season is assumed."
    else:
        first, last = weather.date[[0, -1]].astype("datetime64[D]").tolist()
        yield f"Daily weather from {_day(first)} to {_day(last)}."
    normals = place_normals(inputs)
    if inputs.years is not None:
        yield "The weather ahead is drawn from the long record that was given for this place."
    else:
        yield f"The weather ahead is drawn from the monthly normals of {normals.name}."
    if inputs.outlook is not None:
        yield "In front of it stands the short-range weather forecast."


def _house(inputs: "Inputs") -> Iterator[str]:
    from forecaster.dwelling import Survey, burn_prior

    yield from burn_prior(inputs.survey or Survey(), inputs.tank.fuel).rests_on
    if inputs.diary:
        yield f"The diary has {len(inputs.diary)} {'entry' if len(inputs.diary) == 1 else 'entries'}."
    for change in inputs.changes:
        said = change_text(change.what, change.date)
        yield f"{said[0].upper()}{said[1:]}."
    if inputs.stove_log is not None:
        yield f"The stove log has {len(inputs.stove_log.date):,} evenings."


def _orders(inputs: "Inputs") -> str:
    settings = inputs.settings
    low, high = settings.lead_days
    lead = f"{low}" if low == high else f"{low} to {high}"
    return (
        f"Ordering: delivery takes {lead} working days, the smallest delivery is "
        f"{litres_text(settings.min_drop_l)}, and the dates keep the chance of the boiler stopping "
        f"to {chance_text(settings.risk)} for each order."
    )


def _day(day: date) -> str:
    return day_text(day, year=True, weekday=False)
