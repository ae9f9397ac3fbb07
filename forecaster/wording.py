"""The answer in words: the same sentence on the page, in the command and in every message.

It takes a forecast and nothing else that could disagree with it: every litre, date and chance in a
sentence is one of the forecast's own. A withheld forecast has no dates ahead, so none can be said.

Flow     forecast -> **words** -> doors
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from zoneinfo import ZoneInfo

import numpy as np

from forecaster.civil import civil_date
from forecaster.confidence import (
    Forecast,
    LitresBand,
    OrderAdvice,
    OrderMoney,
    State,
    ToldForecast,
    WithheldForecast,
)
from forecaster.phrases import (
    chance_text,
    day_text,
    days_text,
    litres_text,
    moment_text,
    money_text,
    span_text,
    told_litres,
)
from forecaster.reorder import OrderSettings

SD_PER_BAND = 2.563
"""Width of a normal's 10 to 90 % band in standard deviations. [-]"""
ORDER_BELOW_STEP_L = 20.0
"""The gauge reading at which to order is told in steps of that. [L]"""
HALF_YEAR_D = 182
LEVEL_SD_L = 8.0
"""The last trusted level is told as if known so well: to ten litres. [L]"""
LEAST_WINTERS = 2
"""Rarer than one winter in that is worth a figure."""
NEAR_DAYS = 14
"""An appointment that close is said to be near when the tank cannot be seen. [d]"""

ESTIMATE = (
    "This is an estimate from a sensor and the weather, not a measurement. Read the gauge, or dip the "
    "tank at its dip point, before you order and before you rely on it."
)
"""Stands beside every forecast. Common practice, no source."""
NOT_AN_ALARM = (
    "This is not a leak detector, not an overfill alarm and not a safety device; that nothing is "
    "reported does not mean that nothing is wrong."
)
"""Stands with every possible loss. Common practice, no source."""
LOSSES = ("loss", "slow_loss", "unconfirmed_fall")
"""Codes of possible losses that are not urgent."""
ROOM_TO_EXPAND = (
    "The driver decides at the tank what is safe to fill: oil needs room to expand. Do not order more "
    "than the tank can safely take."
)
"""Stands with every quantity. UK government advice: do not order more oil than you can safely store."""


@dataclass(frozen=True, slots=True)
class Answer:
    """What a person is told, in reading order.

    ``sentence`` the answer itself; ``reasons`` why it is wide or withheld, a sentence each;
    ``cautions`` those that belong beside this answer.
    """

    sentence: str
    reasons: tuple[str, ...]
    cautions: tuple[str, ...]

    @property
    def text(self) -> str:
        """All of it, a line each."""
        return "\n".join((self.sentence, *self.reasons, *self.cautions))


def answer(forecast: Forecast, *, zone: ZoneInfo, settings: OrderSettings) -> Answer:
    """Say a forecast.

    Parameters
    ----------
    forecast : ToldForecast or WithheldForecast
    zone : ZoneInfo
        Of the tank.
    settings : OrderSettings
        Lead time and risk that the order advice was made with.
    """
    reasons = tuple(r.text for r in forecast.reasons if r.text)
    match forecast:
        case ToldForecast():
            sentence = _told(forecast, zone=zone, settings=settings)
            risk = risk_text(forecast, settings)
            reasons = (*reasons, risk) if risk is not None else reasons
            cautions = (ESTIMATE,) if forecast.order.litres is None else (ESTIMATE, ROOM_TO_EXPAND)
        case WithheldForecast():
            sentence = _withheld(forecast, zone=zone)
            lost = forecast.state is State.URGENT or any(r.code in LOSSES for r in forecast.reasons)
            cautions = (NOT_AN_ALARM,) if lost else (ESTIMATE,)
    return Answer(sentence, reasons, cautions)


def risk_text(forecast: ToldForecast, settings: OrderSettings) -> str | None:
    """Say how seldom the tank runs dry when orders are placed in the window; None without a quantity.

    The risk is accepted once in each order cycle; a winter has as many cycles as the half-year ahead
    burns such orders.
    """
    litres = forecast.order.litres
    if litres is None or len(forecast.daily) <= HALF_YEAR_D:
        return None
    burned = forecast.litres.p50 - forecast.daily[HALF_YEAR_D].p50
    cycles = max(burned / litres, 1.0)
    winters = int(1.0 / (settings.risk * cycles))
    if winters < LEAST_WINTERS:
        return (
            "Ordered by then every time, the tank may run dry in any winter: the risk accepted is that large."
        )
    return f"Ordered by then every time, the tank runs dry less often than one winter in {winters:,}."


def _told(forecast: ToldForecast, *, zone: ZoneInfo, settings: OrderSettings) -> str:
    today = civil_date(forecast.as_of, zone)
    parts = [
        _left(forecast.litres),
        _order(forecast.order, settings=settings, today=today),
        _money(forecast.order, today),
        _promised(forecast, today),
        _run_dry(forecast, today),
    ]
    if forecast.last_trusted is not None:
        at = moment_text(forecast.last_trusted.at, zone, today=today)
        parts.append(f"Last level of {at}.")
    return " ".join(p for p in parts if p)


def _left(band: LitresBand) -> str:
    """Litres left with their spread; never below none, and never finer than they are known."""
    sd = max((band.p90 - band.p10) / SD_PER_BAND, 1.0)
    low, middle, high = (told_litres(max(v, 0.0), sd=sd) for v in (band.p10, band.p50, band.p90))
    spread = f" ({low:,.0f} to {high:,.0f} litres)" if low < high else ""
    if middle <= 0.0:
        return f"Hardly any oil is left{spread}."
    return f"About {litres_text(middle)} {'is' if middle == 1.0 else 'are'} left{spread}."


def _order(order: OrderAdvice, *, settings: OrderSettings, today: date) -> str:
    said = f"{order.text.removesuffix('.')}"
    if order.litres is None:
        return order.text
    match order.note:
        case "order_today":
            return f"{said}; {_takes(settings)}."
        case "window" if order.earliest is not None and order.latest is not None:
            first = max(order.earliest, today)
            on = "on" if first == order.latest else "any day from"
            return f"{said} {on} {span_text(first, order.latest, today=today)}; {_takes(settings)}."
        case _:
            return order.text


def _takes(settings: OrderSettings) -> str:
    """How long a delivery takes."""
    low, high = settings.lead_span
    if high == 0:
        return "delivery is on the same working day"
    lead = f"{low}" if low == high else f"{low} to {high}"
    return f"delivery takes {lead} working {'day' if low == high == 1 else 'days'}"


def _money(order: OrderAdvice, today: date) -> str:
    """What the order costs by the quotes, and what waiting for a better price would do."""
    money = order.money
    if money is None or money.cost is None or money.price_per_l is None:
        return ""
    said = (
        f"By the quotes of {_day(money.quoted, today)} that costs about {money_text(money.cost)}, at "
        f"{money.price_per_l:.4g} a litre."
    )
    if money.limited_by_budget and money.budget is not None:
        said += f" It is the most that {money_text(money.budget)} pays for."
    return " ".join(part for part in (said, _waiting(money, order, today)) if part)


def _waiting(money: OrderMoney, order: OrderAdvice, today: date) -> str:
    """How long it is safe to wait for a better price, and what that costs at the expected drift."""
    until, cost = money.safe_until, money.waiting_cost
    if until is None or cost is None or until <= max(order.earliest or today, today):
        return ""
    said = f"It is safe to wait for a better price until {_day(until, today)}"
    if money.drift_per_month == 0.0:
        return f"{said}."
    way = "rise" if money.drift_per_month > 0 else "fall"
    does = "costs" if cost > 0 else "saves"
    # in hundredths of a per cent and no finer: it is somebody's guess
    rate = f"{round(100 * abs(money.drift_per_month), 2):g}"
    return f"{said}; if prices {way} by {rate} % a month, that {does} about {money_text(abs(cost))}."


def _promised(forecast: ToldForecast, today: date) -> str:
    """Recall an earlier date that still stands because the tank has not been seen since."""
    kept, latest = forecast.appointment, forecast.order.latest
    if kept is None or kept.told_at == forecast.as_of or (latest is not None and kept.order_by >= latest):
        return ""
    return (
        f"We had told you to order by {_day(kept.order_by, today)}; as the tank has not been seen since, that "
        "date stands."
    )


def _run_dry(forecast: ToldForecast, today: date) -> str:
    first, even = forecast.run_dry.p10, forecast.run_dry.p50
    one_in_ten, one_in_two = (chance_text(c).replace("1 in", "1 chance in") for c in (0.1, 0.5))
    if first is None:
        return (
            f"If nothing is ordered, there is less than {one_in_ten} that the boiler stops within "
            f"{days_text(forecast.horizon_days)}."
        )
    if first == even:
        return f"If nothing is ordered, there is {one_in_two} that the boiler stops by {_day(even, today)}."
    said = f"If nothing is ordered, there is {one_in_ten} that the boiler stops by {_day(first, today)}"
    return f"{said} and {chance_text(0.5)} by {_day(even, today)}." if even is not None else f"{said}."


def _day(day: date, today: date) -> str:
    return day_text(day, year=day.year != today.year)


def _withheld(forecast: WithheldForecast, *, zone: ZoneInfo) -> str:
    today = civil_date(forecast.as_of, zone)
    parts = [_lead(forecast.state)]
    if forecast.last_trusted is not None:
        at = moment_text(forecast.last_trusted.at, zone, today=today)
        level = litres_text(max(forecast.last_trusted.litres, 0.0), sd=LEVEL_SD_L)
        parts.append(f"The last level we trust is about {level}, of {at}.")
    kept = forecast.appointment
    if kept is not None and (kept.order_by - today).days <= NEAR_DAYS:
        # an appointment may have moved earlier than what was told: no date that was given "has passed" then
        near = "the date we gave is near" if kept.order_by >= today else "the day to order by may have passed"
        parts.append(f"We cannot see the tank and {near}: {_near(forecast.order_below_l)}")
    else:
        parts.append("Read the gauge, or dip the tank at a dip point that you can reach from the ground.")
    return " ".join(parts)


def _near(order_below: float | None) -> str:
    """What to do when the date that was given comes and the tank cannot be seen."""
    if order_below is None:
        return "read the gauge today, and order if in doubt."
    # upwards: a household that reads a little less than the threshold orders
    below = float(np.ceil(order_below / ORDER_BELOW_STEP_L)) * ORDER_BELOW_STEP_L
    return f"read the gauge today, and order if it is below {litres_text(below)}."


def _lead(state: State) -> str:
    match state:
        case State.URGENT:
            return "Please look at the tank now."
        case State.BLIND:
            return "No level of this tank has been seen yet, so nothing can be said about the oil in it."
        case State.STALE:
            return "We have not seen the tank for too long to give a date."
        case _:
            return "What we see does not fit together, so we give no date."


def list_text(items: Sequence[str]) -> str:
    """Join items as in a sentence.

    Examples
    --------
    >>> list_text(["oil", "sun", "wood"])
    'oil, sun and wood'
    """
    return items[0] if len(items) == 1 else ", ".join(items[:-1]) + " and " + items[-1]
