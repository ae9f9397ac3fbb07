"""Orders of oil, and every change of them.

Flow     use cases -> **orders** -> tables
"""

from dataclasses import dataclass
from datetime import date, datetime
from enum import StrEnum

import sqlalchemy as sa
from sqlalchemy.orm import Session

from api.store.tables import reach
from api.store.tanks import NotFoundError, mark_changed, new_public_id


class OrderState(StrEnum):
    """Where an order stands."""

    ADVISED = "advised"
    PLACED = "placed"
    PROMISED = "promised"
    LATE = "late"
    PART = "part"
    DELIVERED = "delivered"
    REFUSED = "refused"
    CANCELLED = "cancelled"

    @property
    def is_open(self) -> bool:
        """Whether oil is still to come."""
        return self in (OrderState.PLACED, OrderState.PROMISED, OrderState.LATE, OrderState.PART)


@dataclass(frozen=True, slots=True)
class StoredOrder:
    """An order as it stands; ``version`` counts its changes. [L]"""

    id: int
    public_id: str
    tank_id: int
    state: OrderState
    version: int
    litres: float | None
    fill: bool
    advised_l: float | None
    price_per_l: float | None
    supplier: str | None
    placed_on: date | None
    promised_for: date | None
    delivered_on: date | None
    delivered_l: float
    created_at: datetime

    @property
    def to_come_l(self) -> float | None:
        """Litres still to come; None where as much as fits was ordered and nothing was advised."""
        wanted = self.litres if self.litres is not None else self.advised_l
        return max(wanted - self.delivered_l, 0.0) if wanted is not None else None


@dataclass(frozen=True, slots=True)
class OrderChange:
    """One change of an order, as it was made."""

    version: int
    at: datetime
    state: OrderState
    promised_for: date | None
    litres: float | None
    note: str


class StaleOrderError(Exception):
    """The order was changed by somebody else in the meantime."""


def save_order(
    session: Session,
    tank_id: int,
    *,
    state: OrderState,
    litres: float | None,
    fill: bool,
    advised_l: float | None = None,
    price_per_l: float | None = None,
    supplier: str | None = None,
    placed_on: date | None = None,
    promised_for: date | None = None,
    form_key: str | None = None,
    now: datetime,
) -> StoredOrder:
    """Store a new order with the first line of its history."""
    public_id = new_public_id()
    row = session.execute(
        sa.insert(reach.oil_order).values(
            public_id=public_id, tank_id=tank_id, form_key=form_key, state=state, version=1, litres=litres,
            fill=fill, advised_l=advised_l, price_per_l=price_per_l, supplier=supplier, placed_on=placed_on,
            promised_for=promised_for, delivered_l=0.0, created_at=now,
        )
    )  # fmt: skip
    order_id: int = row.inserted_primary_key[0]  # type: ignore[attr-defined]
    _note(session, order_id, OrderChange(1, now, state, promised_for, litres, ""))
    mark_changed(session, tank_id)
    return load_order(session, tank_id, public_id)


def change_order(
    session: Session,
    order: StoredOrder,
    *,
    state: OrderState,
    now: datetime,
    promised_for: date | None = None,
    delivered_on: date | None = None,
    more_l: float = 0.0,
    note: str = "",
) -> StoredOrder:
    """Change an order as it was seen.

    Parameters
    ----------
    order
        As it was seen when the change was decided.
    promised_for, delivered_on
        None: as before.
    more_l
        Litres delivered by this change. [L]
    note
        Why.

    Raises
    ------
    StaleOrderError
        When it was changed since.
    """
    version = order.version + 1
    changed = session.execute(
        sa.update(reach.oil_order)
        .where(reach.oil_order.c.id == order.id, reach.oil_order.c.version == order.version)
        .values(
            state=state, version=version, promised_for=promised_for or order.promised_for,
            delivered_on=delivered_on or order.delivered_on, delivered_l=order.delivered_l + more_l,
        )
    )  # fmt: skip
    if changed.rowcount != 1:  # type: ignore[attr-defined]
        raise StaleOrderError
    _note(session, order.id, OrderChange(version, now, state, promised_for, more_l or None, note))
    mark_changed(session, order.tank_id)
    return load_order(session, order.tank_id, order.public_id)


def load_order(session: Session, tank_id: int, public_id: str) -> StoredOrder:
    """Find an order of a tank.

    Raises
    ------
    NotFoundError
        When that tank has no such order.
    """
    order = reach.oil_order
    row = session.execute(
        sa.select(order).where(order.c.tank_id == tank_id, order.c.public_id == public_id)
    ).one_or_none()
    if row is None:
        raise NotFoundError
    return _order(row)


def find_order_of_form(session: Session, tank_id: int, form_key: str) -> StoredOrder | None:
    """Find the order that a form, sent before, has made; None where it is sent for the first time."""
    order = reach.oil_order
    row = session.execute(
        sa.select(order).where(order.c.tank_id == tank_id, order.c.form_key == form_key)
    ).one_or_none()
    return _order(row) if row is not None else None


def list_orders(session: Session, tank_id: int) -> tuple[StoredOrder, ...]:
    """List the orders of a tank, the oldest first."""
    order = reach.oil_order
    rows = session.execute(sa.select(order).where(order.c.tank_id == tank_id).order_by(order.c.id))
    return tuple(_order(row) for row in rows)


def list_changes(session: Session, order: StoredOrder) -> tuple[OrderChange, ...]:
    """List the changes of an order, the first first."""
    change = reach.order_change
    rows = session.execute(sa.select(change).where(change.c.order_id == order.id).order_by(change.c.version))
    return tuple(
        OrderChange(r.version, r.at, OrderState(r.state), r.promised_for, r.litres, r.note) for r in rows
    )


def _note(session: Session, order_id: int, change: OrderChange) -> None:
    session.execute(
        sa.insert(reach.order_change).values(
            order_id=order_id, version=change.version, at=change.at, state=change.state,
            promised_for=change.promised_for, litres=change.litres, note=change.note,
        )
    )  # fmt: skip


def _order(row: sa.Row[tuple[object, ...]]) -> StoredOrder:
    return StoredOrder(
        row.id, row.public_id, row.tank_id, OrderState(row.state), row.version, row.litres, row.fill,
        row.advised_l, row.price_per_l, row.supplier, row.placed_on, row.promised_for, row.delivered_on,
        row.delivered_l, row.created_at,
    )  # fmt: skip
