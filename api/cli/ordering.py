"""How oil is ordered here and what it costs: options and their files to the engine's settings.

Flow     options, lead table, quotes -> **order settings** -> inputs
"""

from datetime import date
from functools import partial

from api.cli.desk import Desk
from api.cli.given import Ordering
from api.cli.values import parse_lead_days, parse_ordered, parse_quote, parse_whole, read_option
from forecaster.errors import OrderError, Problem
from forecaster.reorder import (
    ColdLead,
    LeadTable,
    OrderSettings,
    Quotes,
    Spending,
    parse_lead_table,
    parse_quotes,
)
from forecaster.rows import parse_date, parse_number

RISK, RISK_VULNERABLE = 0.005, 0.002
"""Accepted chance of running dry in an order cycle, and where somebody would be at special risk. [-]"""


def read_ordering(
    desk: Desk, given: Ordering, *, vulnerable: bool, today: date | None, decimal: str
) -> OrderSettings | None:
    """Read how oil is ordered; None where something cannot be used, which the desk then knows.

    Parameters
    ----------
    desk : Desk
    given : Ordering
        As typed.
    vulnerable : bool
        Whether somebody of the home would be at special risk.
    today : date or None
        Civil day of as-of; None where that is not known.
    decimal : str
        Decimal sign of the files.
    """
    table = desk.read(given.lead_table, partial(parse_lead_table, decimal=decimal))
    quotes = _quotes(desk, given, today, decimal) if today is not None else None
    return desk.attempt(lambda: _settings(given, table, quotes, vulnerable=vulnerable))


def _quotes(desk: Desk, given: Ordering, today: date, decimal: str) -> Quotes | None:
    found = desk.read(given.quotes, partial(parse_quotes, today=today, decimal=decimal))
    if found is None or given.quotes is None:
        return desk.attempt(lambda: _typed_quotes(given, today))
    quotes, problems, notes = found
    desk.keep(given.quotes, problems, notes)
    return quotes


def _typed_quotes(given: Ordering, today: date) -> Quotes | None:
    typed = sorted(read_option("--quote", text, parse_quote) for text in given.quote)
    return Quotes(today, tuple(typed)) if typed else None


def _settings(
    given: Ordering, table: LeadTable | None, quotes: Quotes | None, *, vulnerable: bool
) -> OrderSettings:
    ordered: dict[date, float] = {}
    for text in given.ordered:
        day, litres = read_option("--ordered", text, parse_ordered)
        ordered[day] = ordered.get(day, 0.0) + litres
    usual = RISK_VULNERABLE if vulnerable else RISK
    return OrderSettings(
        lead_days=read_option("--lead-days", given.lead_days, parse_lead_days),
        holidays=given.holidays,
        closed=frozenset(read_option("--closed", text, parse_date) for text in given.closed),
        look_every_days=read_option("--look-every-days", given.look_every_days, parse_whole),
        risk=usual if given.risk is None else read_option("--risk", given.risk, parse_number),
        min_drop_l=read_option("--min-drop-l", given.min_drop_l, parse_number),
        ordered=ordered,
        lead_table=table,
        cold_lead=ColdLead(most_days=read_option("--cold-lead-days", given.cold_lead_days, parse_whole)),
        spending=_spending(given, quotes),
    )


def _spending(given: Ordering, quotes: Quotes | None) -> Spending | None:
    """Join prices and what goes with them; refuse prices twice, and a budget without any."""
    if given.quotes is not None and given.quote:
        raise OrderError(Problem("quotes", "--quote", "give prices by --quote or by --quotes, not by both"))
    typed = {
        "--price-drift": given.price_drift,
        "--delivery-cost": given.delivery_cost,
        "--holding-cost": given.holding_cost,
        "--budget": given.budget,
    }
    said = {option: text for option, text in typed.items() if text is not None}
    if quotes is None:
        if said and given.quotes is None and not given.quote:
            mend = "give prices with it, such as --quote 500:0.62, or a file by --quotes"
            raise OrderError([Problem("no_quotes", option, mend) for option in said])
        return None
    read = {option: read_option(option, text, parse_number) for option, text in said.items()}
    return Spending(
        quotes,
        drift_per_month=read.get("--price-drift", 0.0),
        delivery_cost=read.get("--delivery-cost", 0.0),
        holding_per_year=read.get("--holding-cost", 0.0),
        budget=read.get("--budget"),
    )
