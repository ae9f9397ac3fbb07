"""How the nightly renewal of each tank's forecast went.

Flow     worker -> **refits** -> tables, pages
"""

from dataclasses import dataclass
from datetime import datetime

import sqlalchemy as sa
from sqlalchemy.dialects import postgresql, sqlite
from sqlalchemy.orm import Session

from api.store.tables import reach
from api.store.tables import tank as tanks


@dataclass(frozen=True, slots=True)
class Refit:
    """The last renewal that came about, and those that failed since, with the last error's name."""

    done_at: datetime | None
    failed_at: datetime | None
    failures: int
    error: str | None


def save_refit_done(session: Session, tank_id: int, *, now: datetime) -> None:
    """Note that a tank's forecast was renewed."""
    _save(session, tank_id, {"done_at": now, "failures": 0, "failed_at": None, "error": None})


def save_refit_failed(session: Session, tank_id: int, error: str, *, now: datetime) -> None:
    """Note that a tank's forecast could not be renewed: the one before stays, and its date with it."""
    before = load_refit(session, tank_id)
    failures = 1 + (before.failures if before is not None else 0)
    _save(session, tank_id, {"failed_at": now, "failures": failures, "error": error})


def load_refit(session: Session, tank_id: int) -> Refit | None:
    """Find how the renewals of a tank went; None before the first."""
    refit = reach.refit
    row = session.execute(sa.select(refit).where(refit.c.tank_id == tank_id)).one_or_none()
    return Refit(row.done_at, row.failed_at, row.failures, row.error) if row is not None else None


def newest_refit(session: Session) -> datetime | None:
    """Find when the newest renewal of any tank came about; None before the first."""
    newest: datetime | None = session.scalar(sa.select(sa.func.max(reach.refit.c.done_at)))
    return newest


def first_tank_at(session: Session) -> datetime | None:
    """Find since when there is anything to renew; None while there is no tank."""
    first: datetime | None = session.scalar(sa.select(sa.func.min(tanks.c.created_at)))
    return first


def _save(session: Session, tank_id: int, values: dict[str, object]) -> None:
    insert = sqlite.insert if session.get_bind().dialect.name == "sqlite" else postgresql.insert
    statement = insert(reach.refit).values(tank_id=tank_id, **values)
    session.execute(statement.on_conflict_do_update(index_elements=["tank_id"], set_=values))
