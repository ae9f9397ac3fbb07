"""How oil is ordered at a tank: what is promised to come, and how long its orders really took.

Flow     orders -> **order settings** -> forecaster.reorder
Rule     lead table = 5 parts of what is assumed + one part for each finished order, by working days
Source   a prior counted as so many observations (Dirichlet); its weight of 5 is an assumption
"""

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta

from api.store import Session
from api.store.orderings import StoredOrdering, load_ordering
from api.store.orders import OrderState, StoredOrder, list_orders
from api.store.tanks import TextKind, load_text
from forecaster.dwelling import parse_survey
from forecaster.reorder import LeadTable, OrderSettings, Quotes, Spending, public_holidays
from forecaster.reorder.lead import LONGEST_DAYS

RISK_VULNERABLE = 0.002
"""Accepted chance of running dry in an order cycle where somebody would be at special risk. [-]"""
LATEST = datetime(9999, 1, 1, tzinfo=UTC)
"""What counts now: the survey that is valid last."""
PRIOR_ORDERS = 5.0
"""What is assumed of lead times counts as so many finished orders. [orders]"""


def settings_of_tank(
    session: Session, tank_id: int, *, today: date, base: OrderSettings | None = None
) -> OrderSettings:
    """Say how oil is ordered at a tank, with what its own orders have taught.

    Parameters
    ----------
    today
        Civil day of as-of: orders finished later have taught nothing yet, and a promise for an earlier
        day is one that was not kept, so its oil is no longer counted on.
    base
        What is assumed; None: what the household said, and the usual for what it did not.
    """
    assumed = base or settings_said(session, tank_id)
    orders = [order for order in list_orders(session, tank_id) if _is_known(order, today)]
    learnt = learn_lead(assumed, lead_days_of(orders, assumed))
    return replace(learnt, ordered={**assumed.ordered, **promised(orders, today=today, base=assumed)})


def settings_said(session: Session, tank_id: int) -> OrderSettings:
    """Say how oil is ordered at a tank as its household said it, and as usual where it did not."""
    survey = load_text(session, tank_id, TextKind.SURVEY, as_of=LATEST)
    vulnerable = parse_survey(survey).vulnerable if survey is not None else False
    return to_settings(load_ordering(session, tank_id), vulnerable=vulnerable)


def to_settings(said: StoredOrdering, *, vulnerable: bool) -> OrderSettings:
    """Turn what a household said into the engine's settings.

    Parameters
    ----------
    said
        With None where nothing was said.
    vulnerable
        Whether somebody there would be at special risk without heat.

    Raises
    ------
    OrderError
        With everything that does not go together.

    Examples
    --------
    >>> to_settings(StoredOrdering(lead_to=5), vulnerable=True).risk
    0.002
    """
    usual = OrderSettings()
    low, high = usual.lead_days
    latest = high if said.lead_to is None else said.lead_to
    soonest = min(low, latest) if said.lead_from is None else said.lead_from
    return OrderSettings(
        lead_days=(soonest, latest if said.lead_to is not None else max(latest, soonest)),
        holidays=said.holidays, closed=frozenset(said.closed),
        look_every_days=usual.look_every_days if said.look_every_days is None else said.look_every_days,
        risk=said.risk if said.risk is not None else RISK_VULNERABLE if vulnerable else usual.risk,
        min_drop_l=usual.min_drop_l if said.min_drop_l is None else said.min_drop_l,
        spending=_spending(said),
    )  # fmt: skip


def _spending(said: StoredOrdering) -> Spending | None:
    if not said.quotes or said.quoted is None:
        return None
    return Spending(
        Quotes(said.quoted, said.quotes), drift_per_month=said.drift_per_month or 0.0,
        delivery_cost=said.delivery_cost or 0.0, holding_per_year=said.holding_per_year or 0.0,
        budget=said.budget,
    )  # fmt: skip


def promised(orders: Iterable[StoredOrder], *, today: date, base: OrderSettings) -> dict[date, float]:
    """Litres promised for days from today on; as much as fits counts as what was advised."""
    coming: dict[date, float] = {}
    for order in orders:
        if not order.state.is_open or order.promised_for is None or order.promised_for < today:
            continue
        litres = order.to_come_l if order.to_come_l is not None else base.smallest_l
        if litres > 0.0:
            coming[order.promised_for] = coming.get(order.promised_for, 0.0) + litres
    return coming


def lead_days_of(orders: Iterable[StoredOrder], settings: OrderSettings) -> list[int]:
    """Working days that finished orders took, from placing to delivery."""
    return [
        working_days_between(order.placed_on, order.delivered_on, settings)
        for order in orders
        if order.state is OrderState.DELIVERED
        and order.placed_on is not None
        and order.delivered_on is not None
        and order.placed_on <= order.delivered_on
    ]


def working_days_between(placed: date, delivered: date, settings: OrderSettings) -> int:
    """Count the working days after the order's day up to the delivery's, as lead times count them.

    Examples
    --------
    >>> friday = date(2026, 1, 9)
    >>> working_days_between(friday, friday + timedelta(days=4), OrderSettings())
    2
    """
    days = [placed + timedelta(days=i) for i in range(1, (delivered - placed).days + 1)]
    years = range(placed.year, delivered.year + 1)
    shut = public_holidays(settings.holidays, years) | settings.closed
    return sum(day.weekday() < 5 and day not in shut for day in days)


def learn_lead(settings: OrderSettings, observed: Sequence[int]) -> OrderSettings:
    """Let finished orders teach the lead time; with none it stays as it was assumed.

    Parameters
    ----------
    settings
        With what is assumed.
    observed
        Working days of finished orders.

    Examples
    --------
    >>> learn_lead(OrderSettings(lead_days=(2, 3)), [4, 4, 4, 4, 4]).lead_table
    LeadTable(days=(2, 3, 4), chance=(0.25, 0.25, 0.5))
    """
    if not observed:
        return settings
    days, chance = settings.leads
    counts: Counter[int] = Counter()
    weights: dict[int, float] = {
        day: PRIOR_ORDERS * part for day, part in zip(days.tolist(), chance.tolist(), strict=True)
    }
    counts.update(min(lead, LONGEST_DAYS) for lead in observed)
    for lead, times in counts.items():
        weights[lead] = weights.get(lead, 0.0) + times
    total = sum(weights.values())
    table = sorted(weights.items())
    return replace(
        settings, lead_table=LeadTable(tuple(d for d, _ in table), tuple(w / total for _, w in table))
    )


def _is_known(order: StoredOrder, today: date) -> bool:
    return order.placed_on is None or order.placed_on <= today
