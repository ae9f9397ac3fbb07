"""Refills, reminders and silences of a tank, as the decisions need them and as they are kept.

Flow     tables -> **what is known** -> decide -> **kept with its messages** -> outbox
"""

import json
import secrets
from dataclasses import dataclass
from datetime import datetime, timedelta

import sqlalchemy as sa
from sqlalchemy.orm import Session

from api.reminders.decide import Decision
from api.reminders.known import Cause, Refill, Said, Silence
from api.reminders.refills import Ticket
from api.reminders.words import Message
from api.store.tables import delivery, reach
from api.store.tanks import NotFoundError, new_public_id

WEEK = timedelta(days=8)
"""Reminders of any refill are looked at so far back."""


@dataclass(frozen=True, slots=True)
class StoredRefill:
    """A refill and its event's id, which never changes."""

    id: int
    uid: str
    refill: Refill
    changed_at: datetime
    ended_at: datetime | None


@dataclass(frozen=True, slots=True)
class StoredReminder:
    """A reminder as it was decided and worded."""

    id: int
    public_id: str
    tank_id: int
    refill_id: int
    cause: Cause
    subject: str
    number: int
    urgent: bool
    decided_at: datetime
    not_after: datetime
    acknowledged_at: datetime | None
    replaced_at: datetime | None
    message: Message


def load_refill(session: Session, tank_id: int) -> StoredRefill | None:
    """Find the refill that a tank is in; None before the first."""
    refill = reach.refill
    row = session.execute(
        sa.select(refill).where(refill.c.tank_id == tank_id, refill.c.ended_at.is_(None))
    ).one_or_none()
    return _refill(row) if row is not None else None


def list_refills(session: Session, tank_id: int, *, newest: int = 10) -> tuple[StoredRefill, ...]:
    """List the newest refills of a tank, the oldest of them first."""
    refill = reach.refill
    rows = session.execute(
        sa.select(refill).where(refill.c.tank_id == tank_id).order_by(refill.c.id.desc()).limit(newest)
    )
    return tuple(_refill(row) for row in rows)[::-1]


def save_refill(
    session: Session, tank_id: int, stored: StoredRefill | None, refill: Refill, *, now: datetime
) -> StoredRefill:
    """Keep how a refill stands; one that has begun anew ends the one before it, and calls its event off."""
    if stored is not None and stored.refill == refill:
        return stored
    values = {
        "earliest": refill.earliest, "latest": refill.latest, "litres": refill.litres, "told": refill.told,
        "sequence": refill.sequence, "changed_at": now,
    }  # fmt: skip
    if stored is not None and stored.refill.begun_at == refill.begun_at:
        session.execute(sa.update(reach.refill).where(reach.refill.c.id == stored.id).values(**values))
        return StoredRefill(stored.id, stored.uid, refill, now, None)
    if stored is not None:
        called_off = int(stored.refill.told)
        session.execute(
            sa.update(reach.refill)
            .where(reach.refill.c.id == stored.id)
            .values(ended_at=now, told=False, sequence=stored.refill.sequence + called_off, changed_at=now)
        )
    uid = f"{secrets.token_hex(16)}@dipcast"
    row = session.execute(
        sa.insert(reach.refill).values(tank_id=tank_id, uid=uid, begun_at=refill.begun_at, **values)
    )
    return StoredRefill(row.inserted_primary_key[0], uid, refill, now, None)  # type: ignore[attr-defined]


def newest_ticket(session: Session, tank_id: int) -> Ticket | None:
    """Find the newest delivery of a tank; None where there was none."""
    row = session.execute(
        sa.select(delivery.c.at, delivery.c.received_at)
        .where(delivery.c.tank_id == tank_id, sa.not_(delivery.c.removed))
        .order_by(delivery.c.at.desc())
        .limit(1)
    ).one_or_none()
    return Ticket(row.at, row.received_at) if row is not None else None


def list_said(session: Session, tank_id: int, refill_id: int | None, *, now: datetime) -> tuple[Said, ...]:
    """List the reminders of a refill, and all of the last week.

    What was taken back before any of its messages left was never said.
    """
    reminder, outbox = reach.reminder, reach.outbox
    messages = sa.select(outbox.c.id).where(outbox.c.reminder_id == reminder.c.id)
    never_said = sa.and_(
        reminder.c.replaced_at.is_not(None),
        messages.exists(),
        sa.not_(messages.where(outbox.c.state.in_(("sent", "claimed"))).exists()),
    )
    rows = session.execute(
        sa.select(reminder)
        .where(
            reminder.c.tank_id == tank_id,
            sa.or_(reminder.c.refill_id == refill_id, reminder.c.decided_at > now - WEEK),
            sa.not_(never_said),
        )
        .order_by(reminder.c.id)
    )
    return tuple(
        Said(
            Cause(row.cause), row.subject, row.order_by, row.decided_at, row.urgent, row.acknowledged_at,
            row.refill_id == refill_id,
        )
        for row in rows
    )  # fmt: skip


def save_reminder(
    session: Session, tank_id: int, refill_id: int, decision: Decision, message: Message, *, now: datetime
) -> StoredReminder:
    """Keep a decision in its words; earlier ones of the same cause are replaced by it."""
    reminder = reach.reminder
    same = sa.and_(
        reminder.c.refill_id == refill_id, reminder.c.cause == decision.cause,
        reminder.c.subject == decision.subject,
    )  # fmt: skip
    number = int(session.scalar(sa.select(sa.func.count()).select_from(reminder).where(same)) or 0) + 1
    session.execute(sa.update(reminder).where(same, reminder.c.replaced_at.is_(None)).values(replaced_at=now))
    public_id = new_public_id()
    body = {
        "title": message.title,
        "paragraphs": message.paragraphs,
        "promise": message.promise,
        "told": message.told,
    }
    session.execute(
        sa.insert(reminder).values(
            public_id=public_id, tank_id=tank_id, refill_id=refill_id, cause=decision.cause,
            subject=decision.subject, number=number, urgent=decision.urgent, order_by=decision.order_by,
            decided_at=now, not_after=decision.not_after, body=json.dumps(body),
        )
    )  # fmt: skip
    return load_reminder(session, tank_id, public_id)


def load_reminder(session: Session, tank_id: int, public_id: str) -> StoredReminder:
    """Find a reminder of a tank.

    Raises
    ------
    NotFoundError
        When that tank has no such reminder.
    """
    reminder = reach.reminder
    row = session.execute(
        sa.select(reminder).where(reminder.c.tank_id == tank_id, reminder.c.public_id == public_id)
    ).one_or_none()
    if row is None:
        raise NotFoundError
    return _reminder(row)


def list_reminders(session: Session, tank_id: int, *, newest: int = 50) -> tuple[StoredReminder, ...]:
    """List the newest reminders of a tank, the newest first."""
    reminder = reach.reminder
    rows = session.execute(
        sa.select(reminder).where(reminder.c.tank_id == tank_id).order_by(reminder.c.id.desc()).limit(newest)
    )
    return tuple(_reminder(row) for row in rows)


def acknowledge(session: Session, reminder: StoredReminder, *, now: datetime) -> None:
    """Note that somebody has answered a reminder, and with it those of its cause before it."""
    table = reach.reminder
    session.execute(
        sa.update(table)
        .where(
            table.c.refill_id == reminder.refill_id, table.c.cause == reminder.cause,
            table.c.subject == reminder.subject, table.c.acknowledged_at.is_(None),
        )
        .values(acknowledged_at=now)
    )  # fmt: skip


def take_back(
    session: Session,
    tank_id: int,
    *,
    refill_id: int,
    orders: frozenset[str],
    is_told: bool,
    now: datetime,
) -> None:
    """Take back what is no longer true; messages of it that have not left will not leave.

    That is all of earlier refills; with an order under way the reminders to order; those about orders
    that are no longer open; and, while no forecast may be told, those that speak of one.

    Parameters
    ----------
    orders
        Names of the orders under way.
    is_told
        Whether the forecast may be told now.
    """
    table = reach.reminder
    rows = session.execute(sa.select(table).where(table.c.tank_id == tank_id, table.c.replaced_at.is_(None)))
    for reminder in map(_reminder, rows.all()):
        about_orders = reminder.cause in (Cause.LATE, Cause.TIGHT)
        is_over = (
            reminder.refill_id != refill_id
            or (bool(orders) and reminder.cause in (Cause.ORDER, Cause.LAST_DAY))
            or (about_orders and reminder.subject not in orders)
            or (reminder.message.told and not is_told)
        )
        if is_over:
            session.execute(sa.update(table).where(table.c.id == reminder.id).values(replaced_at=now))


def save_silence(
    session: Session, tank_id: int, *, begins_at: datetime, ends_at: datetime, now: datetime
) -> Silence:
    """Keep a time without reminders."""
    public_id = new_public_id()
    session.execute(
        sa.insert(reach.silence).values(
            public_id=public_id, tank_id=tank_id, begins_at=begins_at, ends_at=ends_at, created_at=now
        )
    )
    return Silence(public_id, begins_at, ends_at)


def lift_silence(session: Session, tank_id: int, public_id: str, *, now: datetime) -> None:
    """End a silence before its time.

    Raises
    ------
    NotFoundError
        When that tank has no such silence, or it is over.
    """
    silence = reach.silence
    lifted = session.execute(
        sa.update(silence)
        .where(
            silence.c.tank_id == tank_id, silence.c.public_id == public_id, silence.c.lifted_at.is_(None),
            silence.c.ends_at > now,
        )
        .values(lifted_at=now)
    )  # fmt: skip
    if lifted.rowcount != 1:  # type: ignore[attr-defined]
        raise NotFoundError


def list_silences(session: Session, tank_id: int, *, now: datetime) -> tuple[Silence, ...]:
    """List the silences that hold, are to come, or ended in the last week."""
    silence = reach.silence
    rows = session.execute(
        sa.select(silence)
        .where(silence.c.tank_id == tank_id, silence.c.ends_at > now - WEEK)
        .order_by(silence.c.id)
    )
    return tuple(Silence(row.public_id, row.begins_at, row.ends_at, row.lifted_at) for row in rows)


def _refill(row: sa.Row[tuple[object, ...]]) -> StoredRefill:
    state = Refill(row.begun_at, row.earliest, row.latest, row.litres, row.told, row.sequence)
    return StoredRefill(row.id, row.uid, state, row.changed_at, row.ended_at)


def _reminder(row: sa.Row[tuple[object, ...]]) -> StoredReminder:
    body = json.loads(row.body)
    message = Message(body["title"], tuple(body["paragraphs"]), body["promise"], body["told"])
    return StoredReminder(
        row.id, row.public_id, row.tank_id, row.refill_id, Cause(row.cause), row.subject, row.number,
        row.urgent, row.decided_at, row.not_after, row.acknowledged_at, row.replaced_at, message,
    )  # fmt: skip
