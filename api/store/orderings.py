"""How oil is ordered at a tank, as its household said; the newest version counts, earlier ones stay.

Flow     use cases -> **orderings** -> tables
"""

import json
from dataclasses import asdict, dataclass
from datetime import date, datetime
from typing import Any

import sqlalchemy as sa
from sqlalchemy.orm import Session

from api.store.tables.ordering import ordering
from api.store.tanks import mark_changed


@dataclass(frozen=True, slots=True)
class StoredOrdering:
    """What a household said of how it orders; None where it said nothing, and the usual is assumed.

    Attributes
    ----------
    lead_from, lead_to
        Working days from order to delivery.
    holidays, closed
        Country or region of the public holidays; further days without delivery.
    look_every_days
        Days between two looks at the answer.
    risk
        Accepted chance of running dry for each order.
    min_drop_l
        Smallest delivery. [L]
    quotes, quoted
        (from litres, price of a litre), and the day of these prices.
    drift_per_month, delivery_cost, holding_per_year, budget
        As `forecaster.reorder.Spending` has them.
    """

    lead_from: int | None = None
    lead_to: int | None = None
    holidays: str | None = None
    closed: tuple[date, ...] = ()
    look_every_days: int | None = None
    risk: float | None = None
    min_drop_l: float | None = None
    quotes: tuple[tuple[float, float], ...] = ()
    quoted: date | None = None
    drift_per_month: float | None = None
    delivery_cost: float | None = None
    holding_per_year: float | None = None
    budget: float | None = None


def load_ordering(session: Session, tank_id: int) -> StoredOrdering:
    """Load what counts now; nothing said where nothing was."""
    body = session.scalar(
        sa.select(ordering.c.body)
        .where(ordering.c.tank_id == tank_id)
        .order_by(ordering.c.version.desc())
        .limit(1)
    )
    return StoredOrdering() if body is None else _from_json(json.loads(body))


def save_ordering(session: Session, tank_id: int, said: StoredOrdering, *, now: datetime) -> None:
    """Keep a new version; the tank's forecast is made anew."""
    newest = session.scalar(sa.select(sa.func.max(ordering.c.version)).where(ordering.c.tank_id == tank_id))
    session.execute(
        sa.insert(ordering).values(
            tank_id=tank_id, version=(newest or 0) + 1, created_at=now,
            body=json.dumps(asdict(said), default=date.isoformat, allow_nan=False),
        )
    )  # fmt: skip
    mark_changed(session, tank_id)


def _from_json(kept: dict[str, Any]) -> StoredOrdering:
    days = {
        "closed": tuple(date.fromisoformat(day) for day in kept["closed"]),
        "quoted": date.fromisoformat(kept["quoted"]) if kept["quoted"] else None,
        "quotes": tuple((float(litres), float(price)) for litres, price in kept["quotes"]),
    }
    return StoredOrdering(**{**kept, **days})
