"""Tickets, oil taken out, and bills.

Flow     use cases -> **deliveries** -> tables
"""

from dataclasses import dataclass
from datetime import date, datetime
from typing import Literal

import numpy as np
import sqlalchemy as sa
from sqlalchemy.dialects import postgresql, sqlite
from sqlalchemy.orm import Session

from api.store import tables
from api.store.tanks import lock_tank, mark_changed
from forecaster.civil import to_datetime
from forecaster.deliveries import Deliveries, Receipts


@dataclass(frozen=True, slots=True)
class NewTicket:
    """A ticket, or oil taken out, told one by one; its number where it has one."""

    at: datetime
    litres: float
    removed: bool = False
    filled: str = "unknown"
    basis: str = "unknown"
    ticket: str | None = None


def save_ticket(
    session: Session, tank_id: int, ticket: NewTicket, *, received_at: datetime, source: str
) -> Literal["new", "known", "conflict"]:
    """Store a ticket once under its number, if it has one, and under its instant.

    Returns
    -------
    str
        ``known`` for the same content again; ``conflict`` for other content, of which the first stays.
    """
    lock_tank(session, tank_id)
    column = tables.delivery.c
    same = column.at == ticket.at
    if ticket.ticket is not None:
        same = same | (column.ticket == ticket.ticket)
    kept = session.execute(
        sa.select(column.at, column.litres, column.removed, column.filled, column.basis, column.ticket).where(
            column.tank_id == tank_id, same
        )
    ).all()
    content = (ticket.at, ticket.litres, ticket.removed, ticket.filled, ticket.basis, ticket.ticket)
    if kept:
        return "known" if [tuple(row) for row in kept] == [content] else "conflict"
    session.execute(
        sa.insert(tables.delivery).values(
            tank_id=tank_id,
            at=ticket.at,
            litres=ticket.litres,
            removed=ticket.removed,
            filled=ticket.filled,
            basis=ticket.basis,
            ticket=ticket.ticket,
            received_at=received_at,
            source=source,
        )
    )
    mark_changed(session, tank_id)
    return "new"


def save_deliveries(
    session: Session, tank_id: int, deliveries: Deliveries, *, received_at: datetime, source: str
) -> int:
    """Store tickets, each once under its tank and instant; how many were new.

    Of two tickets of one instant the first stays.
    """
    rows: list[dict[str, object]] = [
        {
            "tank_id": tank_id,
            "at": to_datetime(deliveries.at[i]),
            "litres": float(deliveries.litres[i]),
            "removed": bool(deliveries.removed[i]),
            "filled": str(deliveries.filled[i]),
            "basis": str(deliveries.basis[i]),
            "dip_before_mm": _number(deliveries.dip_before_mm[i]),
            "dip_after_mm": _number(deliveries.dip_after_mm[i]),
            "received_at": received_at,
            "source": source,
        }
        for i in range(deliveries.at.size)
    ]
    return _save(session, tables.delivery, tank_id, rows)


def save_receipts(session: Session, tank_id: int, receipts: Receipts, *, received_at: datetime) -> int:
    """Store bills, each once under its tank, date and litres; how many were new."""
    rows: list[dict[str, object]] = [
        {
            "tank_id": tank_id,
            "date": day,
            "litres": float(litres),
            "filled": str(filled),
            "received_at": received_at,
        }
        for day, litres, filled in zip(
            receipts.date.astype("datetime64[D]").tolist(), receipts.litres, receipts.filled, strict=True
        )
    ]
    return _save(session, tables.receipt, tank_id, rows)


def load_deliveries(session: Session, tank_id: int, *, until: datetime) -> Deliveries | None:
    """Load a tank's tickets up to an instant, in order of time; None where there is none."""
    rows = session.execute(
        sa.select(tables.delivery)
        .where(tables.delivery.c.tank_id == tank_id, tables.delivery.c.at <= until)
        .order_by(tables.delivery.c.at)
    ).all()
    if not rows:
        return None
    return Deliveries(
        at=np.array([row.at.replace(tzinfo=None) for row in rows], dtype="datetime64[s]"),
        litres=np.array([row.litres for row in rows], dtype=float),
        filled=np.array([row.filled for row in rows]),
        removed=np.array([row.removed for row in rows], dtype=bool),
        basis=np.array([row.basis for row in rows]),
        dip_before_mm=np.array([row.dip_before_mm for row in rows], dtype=float),
        dip_after_mm=np.array([row.dip_after_mm for row in rows], dtype=float),
    )


def load_receipts(session: Session, tank_id: int, *, until: date) -> Receipts | None:
    """Load a tank's bills up to a civil date, that day included; None where there is none."""
    rows = session.execute(
        sa.select(tables.receipt)
        .where(tables.receipt.c.tank_id == tank_id, tables.receipt.c.date <= until)
        .order_by(tables.receipt.c.date, tables.receipt.c.litres)
    ).all()
    if not rows:
        return None
    return Receipts(
        date=np.array([row.date for row in rows], dtype="datetime64[D]"),
        litres=np.array([row.litres for row in rows], dtype=float),
        filled=np.array([row.filled for row in rows]),
    )


def _save(session: Session, table: sa.Table, tank_id: int, rows: list[dict[str, object]]) -> int:
    insert = sqlite.insert if session.get_bind().dialect.name == "sqlite" else postgresql.insert
    before = _count(session, table, tank_id)
    if rows:
        session.execute(insert(table).on_conflict_do_nothing(), rows)
    new = _count(session, table, tank_id) - before
    if new:
        mark_changed(session, tank_id)
    return new


def _count(session: Session, table: sa.Table, tank_id: int) -> int:
    return int(
        session.scalar(sa.select(sa.func.count()).select_from(table).where(table.c.tank_id == tank_id)) or 0
    )


def _number(value: float) -> float | None:
    return None if np.isnan(value) else float(value)
