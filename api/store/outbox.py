"""Messages before they leave: written with the decision, claimed, sent, marked.

Flow     decision -> **waiting** -> **claimed** -> sent -> **marked**; a crash in between sends it again
         under the same id
Source   the transactional outbox, as patterns of distributed systems describe it
"""

import json
import secrets
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

import sqlalchemy as sa
from sqlalchemy.orm import Session

from api.store.contacts import Channel, Contact, note_unreached
from api.store.tables import reach

LEASE = timedelta(minutes=3)
"""A message that was claimed and not marked is free again after that."""


@dataclass(frozen=True, slots=True)
class Outgoing:
    """A message on its way; ``attempts`` counts this one too.

    ``reminder_id`` and ``contact_id`` are None for what is sent about the service itself.
    """

    id: int
    message_id: str
    reminder_id: int | None
    contact_id: int | None
    channel: Channel
    address: str
    body: Mapping[str, Any]
    created_at: datetime
    not_after: datetime
    attempts: int


def put_out(
    session: Session,
    channel: Channel,
    address: str,
    body: Mapping[str, Any],
    *,
    now: datetime,
    not_after: datetime,
    contact: Contact | None = None,
    reminder_id: int | None = None,
) -> str:
    """Write a message to be sent; its id, which every attempt carries."""
    message_id = secrets.token_hex(16)
    session.execute(
        sa.insert(reach.outbox).values(
            message_id=message_id, reminder_id=reminder_id, contact_id=contact.id if contact else None,
            channel=channel, address=address, body=json.dumps(body), state="waiting", created_at=now,
            not_after=not_after, next_at=now, attempts=0,
        )
    )  # fmt: skip
    return message_id


def drop_stale(session: Session, *, now: datetime) -> None:
    """Take out what is no longer true: too late, of a replaced reminder, or for a way no more in use.

    Whose message came too late could not be reached since it was written.
    """
    outbox, reminder, contact = reach.outbox, reach.reminder, reach.contact
    free = sa.or_(
        outbox.c.state == "waiting", sa.and_(outbox.c.state == "claimed", outbox.c.lease_until < now)
    )
    replaced = sa.select(reminder.c.id).where(reminder.c.replaced_at.is_not(None))
    ended = sa.select(contact.c.id).where(contact.c.ended_at.is_not(None))
    session.execute(
        sa.update(outbox)
        .where(free, sa.or_(outbox.c.reminder_id.in_(replaced), outbox.c.contact_id.in_(ended)))
        .values(state="replaced", done_at=now)
    )
    late = sa.and_(free, outbox.c.not_after <= now)
    waited = session.execute(
        sa.select(outbox.c.contact_id, sa.func.min(outbox.c.created_at))
        .where(late, outbox.c.contact_id.is_not(None))
        .group_by(outbox.c.contact_id)
    ).all()
    for contact_id, since in waited:
        note_unreached(session, contact_id, since=since)
    session.execute(sa.update(outbox).where(late).values(state="expired", done_at=now))


def claim_next(
    session: Session, *, owner: str, now: datetime, skip: frozenset[tuple[str, str]] = frozenset()
) -> Outgoing | None:
    """Take the oldest message that is due; None where there is none.

    Parameters
    ----------
    skip
        Pairs of channel and address (empty for all of a channel) that are not to be tried now.
    """
    outbox = reach.outbox
    due = sa.or_(
        sa.and_(outbox.c.state == "waiting", outbox.c.next_at <= now),
        sa.and_(outbox.c.state == "claimed", outbox.c.lease_until < now),
    )
    held = [
        sa.not_(
            sa.and_(outbox.c.channel == channel, sa.true() if not address else outbox.c.address == address)
        )
        for channel, address in sorted(skip)
    ]
    row = session.execute(
        sa.select(outbox).where(due, *held).order_by(outbox.c.id).limit(1).with_for_update(skip_locked=True)
    ).one_or_none()
    if row is None:
        return None
    session.execute(
        sa.update(outbox)
        .where(outbox.c.id == row.id)
        .values(state="claimed", owner=owner, lease_until=now + LEASE, attempts=row.attempts + 1)
    )
    return Outgoing(
        row.id, row.message_id, row.reminder_id, row.contact_id, Channel(row.channel), row.address,
        json.loads(row.body), row.created_at, row.not_after, row.attempts + 1,
    )  # fmt: skip


def mark(
    session: Session, outgoing: Outgoing, state: str, *, owner: str, now: datetime, error: str | None = None
) -> None:
    """Note how a message ended: sent, failed."""
    _update(session, outgoing, owner, state=state, done_at=now, error=error)


def try_later(
    session: Session, outgoing: Outgoing, at: datetime, *, owner: str, error: str, counted: bool = True
) -> None:
    """Put a message back, to be tried again; an attempt on a way that is down is not counted."""
    attempts = outgoing.attempts if counted else outgoing.attempts - 1
    _update(session, outgoing, owner, state="waiting", next_at=at, error=error, attempts=attempts)


def hurry(session: Session, channel: Channel, address: str, *, now: datetime) -> None:
    """Let what waits for an address that has just been reached be tried at once."""
    outbox = reach.outbox
    session.execute(
        sa.update(outbox)
        .where(outbox.c.state == "waiting", outbox.c.channel == channel, outbox.c.address == address)
        .values(next_at=now)
    )


def oldest_untried(session: Session) -> datetime | None:
    """Find since when the oldest message waits that nobody was offered yet; None where none does.

    One that its receiver put off has left here; one whose way is down or missing has not.
    """
    outbox = reach.outbox
    since: datetime | None = session.scalar(
        sa.select(sa.func.min(outbox.c.created_at)).where(outbox.c.state == "waiting", outbox.c.attempts == 0)
    )
    return since


def count_messages(session: Session) -> dict[str, int]:
    """Count the messages by how they stand."""
    outbox = reach.outbox
    rows = session.execute(sa.select(outbox.c.state, sa.func.count()).group_by(outbox.c.state))
    return {state: int(number) for state, number in rows}


def _update(session: Session, outgoing: Outgoing, owner: str, **values: object) -> None:
    outbox = reach.outbox
    session.execute(
        sa.update(outbox)
        .where(outbox.c.id == outgoing.id, outbox.c.owner == owner, outbox.c.state == "claimed")
        .values(owner=None, lease_until=None, **values)
    )
