"""Orders of oil: placed, promised, late, delivered in parts or whole, refused, cancelled.

Placing an order silences the reminders to order; a promised day enters the forecast; a delivery is
booked as a ticket, unless its ticket is there already; a finished order teaches how long orders take.

Flow     door -> **orders** -> store; worker -> **late, closed by a ticket**
"""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from datetime import time as clock_time
from enum import StrEnum
from types import MappingProxyType

import numpy as np

from api.ports import Clock
from api.store import Session
from api.store.deliveries import load_deliveries, save_deliveries
from api.store.forecasts import load_forecast
from api.store.orders import (
    OrderState,
    StaleOrderError,
    StoredOrder,
    change_order,
    find_order_of_form,
    list_orders,
    load_order,
    save_order,
)
from api.store.tanks import StoredTank, load_tank_version
from api.usecases.record_readings import describe
from forecaster.civil import civil_date, to_datetime, zone_of
from forecaster.confidence import ToldForecast
from forecaster.deliveries import Deliveries
from forecaster.errors import OrderError, Problem

MOST_LITRES = 100_000.0
FARTHEST = timedelta(days=180)
"""A promise further ahead is a slip of the pen."""
OLDEST = timedelta(days=366)
"""An order placed longer ago is a slip of the pen."""
WHOLE = 0.7
"""A ticket of at least that part of what was ordered closes the order. Assumption. [-]"""
MOST_TEXT = 200
SOURCE = "order"


class Act(StrEnum):
    """What may be done with an order."""

    PLACE = "place"
    PROMISE = "promise"
    DELIVER = "deliver"
    PART = "part"
    LATE = "late"
    REFUSE = "refuse"
    CANCEL = "cancel"


_OPEN = frozenset({OrderState.PLACED, OrderState.PROMISED, OrderState.LATE, OrderState.PART})
ACTS: Mapping[Act, tuple[frozenset[OrderState], OrderState]] = MappingProxyType(
    {
        Act.PLACE: (frozenset({OrderState.ADVISED}), OrderState.PLACED),
        Act.PROMISE: (_OPEN, OrderState.PROMISED),
        Act.DELIVER: (_OPEN, OrderState.DELIVERED),
        Act.PART: (_OPEN, OrderState.PART),
        Act.LATE: (frozenset({OrderState.PLACED, OrderState.PROMISED}), OrderState.LATE),
        Act.REFUSE: (_OPEN, OrderState.REFUSED),
        Act.CANCEL: (_OPEN | {OrderState.ADVISED}, OrderState.CANCELLED),
    }
)
"""From which states an act leads where; any other is refused."""


@dataclass(frozen=True, slots=True)
class Placement:
    """An order as it is placed: litres, or as much as fits (fill)."""

    litres: float | None = None
    fill: bool = False
    price_per_l: float | None = None
    supplier: str | None = None
    placed_on: date | None = None
    promised_for: date | None = None


@dataclass(frozen=True, slots=True)
class Change:
    """What is done with an order, on the version of it that was seen; litres and day of a delivery."""

    act: Act
    version: int
    promised_for: date | None = None
    litres: float | None = None
    on: date | None = None
    note: str = ""


def place_order(
    session: Session, clock: Clock, tank: StoredTank, placement: Placement, *, form_key: str | None = None
) -> tuple[StoredOrder, bool]:
    """Place an order; the same form sent again is the same order.

    Parameters
    ----------
    form_key
        Names one filled-in form, so that a double click orders once.

    Returns
    -------
    order : StoredOrder
    is_new : bool

    Raises
    ------
    OrderError
        With all that is wrong with it, or when the same form was sent with another content.
    """
    now = clock.now()
    today = civil_date(now, zone_of(tank.zone))
    if form_key is not None:
        before = find_order_of_form(session, tank.id, form_key)
        if before is not None:
            if (before.litres, before.fill) != (placement.litres, placement.fill):
                raise OrderError(
                    Problem("form_used", "form_key", "this form has placed another order already")
                )
            return before, False
    capacity_l = describe(load_tank_version(session, tank.id, as_of=now).toml).safe_fill_l
    problems = _faults(placement, today=today, most_l=capacity_l)
    if problems:
        raise OrderError(problems)
    kept = load_forecast(session, tank.id, as_of=now)
    told = kept.forecast if kept is not None and isinstance(kept.forecast, ToldForecast) else None
    order = save_order(
        session, tank.id,
        state=OrderState.PROMISED if placement.promised_for else OrderState.PLACED,
        litres=placement.litres, fill=placement.fill, advised_l=told.order.litres if told else None,
        price_per_l=placement.price_per_l, supplier=placement.supplier,
        placed_on=placement.placed_on or today, promised_for=placement.promised_for,
        form_key=form_key, now=now,
    )  # fmt: skip
    return order, True


def act_on_order(
    session: Session, clock: Clock, tank: StoredTank, public_id: str, change: Change
) -> StoredOrder:
    """Do something with an order of a tank.

    Raises
    ------
    NotFoundError
        When the tank has no such order.
    StaleOrderError
        When it was changed since it was seen.
    OrderError
        When that cannot be done with it.
    """
    order = load_order(session, tank.id, public_id)
    now = clock.now()
    today = civil_date(now, zone_of(tank.zone))
    if order.version != change.version:
        raise StaleOrderError
    sources, target = ACTS[change.act]
    if order.state not in sources:
        mend = f"an order that is {order.state.value} cannot be changed like that"
        raise OrderError(Problem("order_state", "act", mend))
    problems = _change_faults(order, change, today=today)
    if problems:
        raise OrderError(problems)
    more_l = 0.0
    if change.act in (Act.DELIVER, Act.PART) and change.litres is not None:
        more_l = change.litres
        _book(session, tank, litres=more_l, on=change.on or today, filled=order.fill, now=now)
    return change_order(
        session, order, state=target, now=now, promised_for=change.promised_for,
        delivered_on=(change.on or today) if change.act is Act.DELIVER else None, more_l=more_l,
        note=change.note,
    )  # fmt: skip


def note_late_orders(session: Session, tank: StoredTank, *, now: datetime) -> None:
    """Note which promised days have passed without a delivery."""
    today = civil_date(now, zone_of(tank.zone))
    for order in list_orders(session, tank.id):
        promise = order.promised_for
        if order.state is OrderState.PROMISED and promise is not None and promise < today:
            change_order(session, order, state=OrderState.LATE, now=now, note="the promised day has passed")


def close_delivered_orders(session: Session, tank: StoredTank, *, now: datetime) -> None:
    """Close the oldest open order where a ticket came by another door since it was placed."""
    zone = zone_of(tank.zone)
    tickets = load_deliveries(session, tank.id, until=now)
    if tickets is None:
        return
    for order in list_orders(session, tank.id):
        if not order.state.is_open or order.placed_on is None:
            continue
        days = [civil_date(to_datetime(at), zone) for at in tickets.at]
        since = np.array([day >= order.placed_on for day in days]) & ~tickets.removed
        come_l = float(tickets.litres[since].sum())
        if come_l <= order.delivered_l + 0.5:
            continue
        wanted = order.litres if order.litres is not None else 0.0
        state = OrderState.DELIVERED if come_l >= WHOLE * wanted else OrderState.PART
        change_order(
            session, order, state=state, now=now,
            delivered_on=max(day for day, is_since in zip(days, since, strict=True) if is_since),
            more_l=come_l - order.delivered_l, note="by its ticket",
        )  # fmt: skip
        return


def _book(
    session: Session, tank: StoredTank, *, litres: float, on: date, filled: bool, now: datetime
) -> None:
    """Store the delivery's ticket, unless one of that day is there: noon stands for an unknown hour."""
    zone = zone_of(tank.zone)
    held = load_deliveries(session, tank.id, until=now + timedelta(days=1))
    if held is not None and any(
        civil_date(to_datetime(at), zone) == on and not removed
        for at, removed in zip(held.at, held.removed, strict=True)
    ):
        return
    noon = datetime.combine(on, clock_time(12), zone).astimezone(UTC)
    at = min(noon, now)
    ticket = Deliveries(
        at=np.array([at.replace(tzinfo=None)], "datetime64[s]"),
        litres=np.array([litres]),
        filled=np.array(["yes" if filled else "unknown"]),
        removed=np.array([False]),
        basis=np.array(["unknown"]),
        dip_before_mm=np.array([np.nan]),
        dip_after_mm=np.array([np.nan]),
    )
    save_deliveries(session, tank.id, ticket, received_at=now, source=SOURCE)


def _faults(placement: Placement, *, today: date, most_l: float) -> list[Problem]:
    found = []
    litres, price = placement.litres, placement.price_per_l
    if (litres is None) == (not placement.fill):
        found.append(Problem("litres_or_fill", "litres", "give litres, or fill for as much as fits"))
    if litres is not None and not 1.0 <= litres <= min(most_l, MOST_LITRES):
        mend = f"give litres from 1 to what the tank can safely take, {most_l:,.0f}"
        found.append(Problem("litres", "litres", mend))
    if price is not None and not 0.0 < price <= 1000.0:
        found.append(Problem("price_per_l", "price_per_l", "give the price of one litre, above 0"))
    placed = placement.placed_on or today
    if not today - OLDEST <= placed <= today:
        found.append(Problem("placed_on", "placed_on", "give today or a day before, within a year"))
    elif placement.promised_for is not None and not placed <= placement.promised_for <= placed + FARTHEST:
        mend = "give a day from the order on, within half a year"
        found.append(Problem("promised_for", "promised_for", mend))
    if placement.supplier is not None and not 0 < len(placement.supplier) <= MOST_TEXT:
        found.append(Problem("supplier", "supplier", f"give at most {MOST_TEXT} characters"))
    return found


def _change_faults(order: StoredOrder, change: Change, *, today: date) -> list[Problem]:
    found = []
    placed = order.placed_on or today
    if change.act is Act.PROMISE:
        promise = change.promised_for
        if promise is None or not max(placed, today) <= promise <= today + FARTHEST:
            mend = "give the promised day, from today on and within half a year"
            found.append(Problem("promised_for", "promised_for", mend))
    if change.act in (Act.DELIVER, Act.PART):
        if change.litres is None or not 1.0 <= change.litres <= MOST_LITRES:
            found.append(Problem("litres", "litres", "give the litres of the ticket"))
        if change.on is not None and not placed <= change.on <= today:
            found.append(Problem("on", "on", "give the day of the delivery, from the order to today"))
    if len(change.note) > MOST_TEXT:
        found.append(Problem("note", "note", f"give at most {MOST_TEXT} characters"))
    return found
