"""How oil is ordered at a tank: asked in plain words, read from a form or JSON, and answered.

Flow     form or JSON -> **what was said** -> store; store -> **answer**
"""

import re
from dataclasses import replace
from datetime import date
from typing import Any

from pydantic import BaseModel, Field

from api.schemas.told.members import Asked, Member, a_past_day, json_schema, number, read_json, read_texts
from api.store.orderings import StoredOrdering
from api.usecases.order_settings import to_settings
from forecaster.errors import InputError, OrderError, Problem
from forecaster.reorder import public_holidays
from forecaster.rows import parse_date, parse_number

MOST_QUOTES = 12
MOST_CLOSED = 60


def _whole(low: int, high: int, unit: str) -> Any:
    read = number(low, high, unit)

    def parse(text: str, asked: Asked) -> int:
        value = read(text, asked)
        if value != int(value):
            raise ValueError(f"give a whole number of {unit}")
        return int(value)

    return parse


def _one_in(text: str, asked: Asked) -> float:
    return 1.0 / number(2, 10_000, "orders")(text, asked)


def _percent(low: float, high: float) -> Any:
    read = number(low, high, "per cent")

    def parse(text: str, asked: Asked) -> float:
        return read(text.removesuffix("%").strip(), asked) / 100.0

    return parse


def _quotes(text: str, asked: Asked) -> tuple[tuple[float, float], ...]:
    """Read prices, one a line: from so many litres on, the price of a litre."""
    found = []
    for line in filter(None, (line.strip() for line in text.splitlines())):
        cells = [cell for cell in re.split(r"[:;=\s]+", line) if cell]
        if len(cells) != 2:
            raise ValueError("give one price a line, as 500: 0.62")
        litres, price = (parse_number(c, decimal="," if "," in c and "." not in c else ".") for c in cells)
        found.append((litres, price))
    if len(found) > MOST_QUOTES:
        raise ValueError(f"give at most {MOST_QUOTES} prices")
    return tuple(sorted(found))


def _holidays(text: str, asked: Asked) -> str:
    if not re.fullmatch(r"[A-Za-z]{2}(-[A-Za-z0-9]{1,4})?", text):
        raise ValueError("give a country or region by its code, such as GB-ENG")
    return text.upper()


def _closed(text: str, asked: Asked) -> tuple[date, ...]:
    days = tuple(sorted({parse_date(part) for part in re.split(r"[,;\s]+", text) if part}))
    if len(days) > MOST_CLOSED:
        raise ValueError(f"give at most {MOST_CLOSED} days")
    return days


def _number(name: str, label: str, parse: Any, hint: str) -> Member:
    return Member(name, label, parse, hint, "number", "number", needed=False)


LEAD, PRICES, BUDGET, MORE = (
    (
        _number("lead_from", "Working days until oil comes, at the soonest", _whole(0, 60, "days"), "3 if empty"),
        _number("lead_to", "Working days until oil comes, at the latest", _whole(0, 60, "days"), "10 if empty"),
        _number("min_drop_l", "Smallest delivery", number(1, 100_000, "litres"), "Litres; 500 if empty"),
    ),
    (
        Member(
            "quotes", "Price of a litre, by quantity", _quotes,
            "One a line: from so many litres on, the price. Such as 500: 0.62 and below it 1000: 0.60. Any currency, "
            "the same everywhere here.",
            needed=False, default=(),
        ),
        Member("quoted", "Day of these prices", a_past_day, "Today if empty", "date", needed=False),
        _number("delivery_cost", "What a delivery costs besides its litres", number(0, 1e6, ""), "0 if empty"),
        _number(
            "drift_percent", "How prices are going, in per cent a month", _percent(-50, 50),
            "Your own guess: 2 for rising by 2 per cent, -2 for falling; 0 if empty",
        ),
    ),
    (
        _number("budget", "I can spend this much on one order", number(0.01, 1e9, ""), "No limit if empty"),
    ),
    (
        Member("holidays", "Public holidays of", _holidays, "A code such as GB-ENG, GB-SCT, IE; none if empty",
            needed=False),
        Member(
            "closed", "Further days without delivery", _closed, "Dates such as 2026-12-24, with commas between",
            needed=False, default=(),
        ),
        _number("look_every_days", "Days between two looks at this", _whole(0, 60, "days"), "1 if empty"),
        _number(
            "holding_percent", "What money in the tank costs, in per cent a year", _percent(0, 1000), "0 if empty"
        ),
        _number(
            "risk_one_in", "Accepted risk that the boiler stops before oil comes: once in so many orders", _one_in,
            "200 if empty, 500 where somebody is at special risk without heat",
        ),
    ),
)  # fmt: skip
ORDERING = (*LEAD, *PRICES, *BUDGET, *MORE)
_STORED = {"risk_one_in": "risk", "drift_percent": "drift_per_month", "holding_percent": "holding_per_year"}
"""Told in per cent, or as one in so many; kept as a part."""


def read_ordering_form(texts: Any, asked: Asked) -> StoredOrdering:
    """Read a form.

    Raises
    ------
    InputError
        With every member that is wrong.
    """
    return _said(read_texts(ORDERING, texts, asked), asked)


def read_ordering_json(sent: Any, asked: Asked) -> StoredOrdering:
    """Read an object; prices and days without delivery come as lists.

    Raises
    ------
    InputError
        With every member that is wrong.
    """
    if isinstance(sent, dict):
        sent = {**sent}
        for name, line in (("quotes", _line_of_quote), ("closed", _text_of_day)):
            if name in sent:
                given = sent[name]
                lines = [line(one) for one in given] if isinstance(given, list) else [None]
                if None in lines:
                    raise InputError(Problem("not_usable", f"/{name}", _LISTS[name]))
                sent[name] = "\n".join(str(one) for one in lines)
                if not lines:
                    del sent[name]
    return _said(read_json(ORDERING, sent, asked), asked)


_LISTS = {
    "quotes": "give a list of objects with from_litres and price_per_l, both numbers",
    "closed": "give a list of dates in quotes",
}


def _line_of_quote(one: Any) -> str | None:
    if not isinstance(one, dict) or one.keys() != {"from_litres", "price_per_l"}:
        return None
    values = one["from_litres"], one["price_per_l"]
    if any(isinstance(value, bool) or not isinstance(value, int | float) for value in values):
        return None
    return f"{values[0]!r} {values[1]!r}"


def _text_of_day(one: Any) -> str | None:
    return one if isinstance(one, str) and re.fullmatch(r"\d{4}-\d\d-\d\d", one) else None


def ordering_schema() -> dict[str, Any]:
    """Describe the object."""
    schema = json_schema(ORDERING, "OrderingIn")
    step = {
        "type": "object",
        "properties": {"from_litres": {"type": "number"}, "price_per_l": {"type": "number"}},
        "required": ["from_litres", "price_per_l"],
        "additionalProperties": False,
    }
    properties = schema["properties"]
    properties["quotes"] = {
        "type": "array", "items": step, "maxItems": MOST_QUOTES,
        "description": "price of a litre from so many litres on",
    }  # fmt: skip
    properties["closed"] = {
        "type": "array", "items": {"type": "string", "format": "date"}, "maxItems": MOST_CLOSED,
        "description": "further days without delivery",
    }  # fmt: skip
    return schema


def _said(values: dict[str, Any], asked: Asked) -> StoredOrdering:
    """Put what was read together, and hold it to the engine's own rules."""
    said = StoredOrdering(**{_STORED.get(name, name): value for name, value in values.items()})
    money = (said.delivery_cost, said.drift_per_month, said.holding_per_year, said.budget, said.quoted)
    if not said.quotes and any(value is not None for value in money):
        mend = "give at least one price: without it neither a budget nor a drift can be reckoned with"
        raise InputError(Problem("no_quotes", "/quotes", mend))
    if said.quotes and said.quoted is None:
        said = replace(said, quoted=asked.now.astimezone(asked.zone).date())
    try:
        to_settings(said, vulnerable=False)
        public_holidays(said.holidays, range(asked.now.year, asked.now.year + 1))
    except OrderError as bad:
        raise InputError(
            [Problem(p.code, f"/{_MEMBER.get(p.field or '', p.field)}", p.mend) for p in bad.problems]
        ) from None
    return said


_MEMBER = {
    "lead_days": "lead_to", "price_drift": "drift_percent", "holding_cost": "holding_percent", "risk": "risk_one_in",
    "from_litres": "quotes", "price_per_litre": "quotes",
}  # fmt: skip
"""The engine's fields to the members that are asked for."""


def typed_of(said: StoredOrdering) -> dict[str, str]:
    """Write what is kept as it would be typed, for the form."""

    def text(value: float | None) -> str:
        return "" if value is None else f"{value:.10g}"

    return {
        "lead_from": text(said.lead_from), "lead_to": text(said.lead_to), "min_drop_l": text(said.min_drop_l),
        "quotes": "\n".join(f"{litres:.10g}: {price:.10g}" for litres, price in said.quotes),
        "quoted": said.quoted.isoformat() if said.quoted else "",
        "delivery_cost": text(said.delivery_cost), "budget": text(said.budget),
        "drift_percent": text(None if said.drift_per_month is None else 100 * said.drift_per_month),
        "holding_percent": text(None if said.holding_per_year is None else 100 * said.holding_per_year),
        "holidays": said.holidays or "", "closed": ", ".join(day.isoformat() for day in said.closed),
        "look_every_days": text(said.look_every_days),
        "risk_one_in": text(None if said.risk is None else 1.0 / said.risk),
    }  # fmt: skip


class QuoteOut(BaseModel):
    """A price from so many litres on."""

    from_litres: float
    price_per_l: float


class OrderingOut(BaseModel):
    """How oil is ordered here; null where nothing was said and the usual is assumed."""

    lead_from: int | None = Field(description="working days")
    lead_to: int | None
    min_drop_l: float | None
    quotes: list[QuoteOut]
    quoted: date | None
    delivery_cost: float | None
    drift_percent: float | None = Field(description="a month")
    budget: float | None
    holidays: str | None
    closed: list[date]
    look_every_days: int | None
    holding_percent: float | None = Field(description="a year")
    risk_one_in: float | None = Field(description="accepted chance of running dry, once in so many orders")


def ordering_out(said: StoredOrdering) -> OrderingOut:
    """Write what is kept."""

    def percent(part: float | None) -> float | None:
        return None if part is None else round(100.0 * part, 10)

    return OrderingOut(
        lead_from=said.lead_from, lead_to=said.lead_to, min_drop_l=said.min_drop_l,
        quotes=[QuoteOut(from_litres=litres, price_per_l=price) for litres, price in said.quotes],
        quoted=said.quoted, delivery_cost=said.delivery_cost, drift_percent=percent(said.drift_per_month),
        budget=said.budget, holidays=said.holidays, closed=list(said.closed),
        look_every_days=said.look_every_days, holding_percent=percent(said.holding_per_year),
        risk_one_in=None if said.risk is None else round(1.0 / said.risk, 6),
    )  # fmt: skip
