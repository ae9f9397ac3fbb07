"""Ways to reach people: kept with the tank, used once they are confirmed.

Flow     use cases -> **contacts** -> tables
"""

from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum

import sqlalchemy as sa
from sqlalchemy.orm import Session

from api.store.accounts.tokens import hash_token
from api.store.tables import reach
from api.store.tanks import NotFoundError, new_public_id


class Channel(StrEnum):
    """How somebody is reached."""

    MAIL = "mail"
    WEBHOOK = "webhook"
    FURTHER = "further"


@dataclass(frozen=True, slots=True)
class Contact:
    """A way to reach somebody.

    Attributes
    ----------
    second
        Hears what the first did not answer.
    secret, earlier_secret, earlier_until
        What a webhook is signed with; the earlier one too until then.
    verified_at, ended_at
        In use from the one on, until the other.
    failing_since
        Nothing could be delivered since then.
    """

    id: int
    public_id: str
    tank_id: int
    channel: Channel
    address: str
    second: bool
    secret: str | None
    earlier_secret: str | None
    earlier_until: datetime | None
    asked_at: datetime | None
    verified_at: datetime | None
    ended_at: datetime | None
    ended_why: str | None
    failing_since: datetime | None

    @property
    def is_used(self) -> bool:
        """Whether messages go there."""
        return self.verified_at is not None and self.ended_at is None


def save_contact(
    session: Session,
    tank_id: int,
    channel: Channel,
    address: str,
    *,
    second: bool,
    secret: str | None,
    token: str | None,
    now: datetime,
) -> Contact:
    """Keep a way to reach somebody; without a token to be confirmed it is used at once.

    One that was given before is taken up again and, with a token, is to be confirmed anew.
    """
    contact = reach.contact
    before = session.execute(
        sa.select(contact).where(
            contact.c.tank_id == tank_id, contact.c.channel == channel, contact.c.address == address
        )
    ).one_or_none()
    values = {
        "second": second, "secret": secret, "token_hash": hash_token(token) if token else None,
        "asked_at": now if token else None, "verified_at": None if token else now, "ended_at": None,
        "ended_why": None, "failing_since": None,
    }  # fmt: skip
    if before is not None:
        session.execute(sa.update(contact).where(contact.c.id == before.id).values(**values))
        return load_contact(session, tank_id, before.public_id)
    public_id = new_public_id()
    session.execute(
        sa.insert(contact).values(
            public_id=public_id, tank_id=tank_id, channel=channel, address=address, created_at=now, **values
        )
    )
    return load_contact(session, tank_id, public_id)


def load_contact(session: Session, tank_id: int, public_id: str) -> Contact:
    """Find a way of a tank.

    Raises
    ------
    NotFoundError
        When that tank has no such way.
    """
    contact = reach.contact
    row = session.execute(
        sa.select(contact).where(contact.c.tank_id == tank_id, contact.c.public_id == public_id)
    ).one_or_none()
    if row is None:
        raise NotFoundError
    return _contact(row)


def find_contact(session: Session, tank_id: int, channel: Channel, address: str) -> Contact | None:
    """Find a way by its address; None where it was never given."""
    contact = reach.contact
    row = session.execute(
        sa.select(contact).where(
            contact.c.tank_id == tank_id, contact.c.channel == channel, contact.c.address == address
        )
    ).one_or_none()
    return _contact(row) if row is not None else None


def list_contacts(session: Session, tank_id: int) -> tuple[Contact, ...]:
    """List the ways of a tank that were not ended by its people, in the order of their coming."""
    contact = reach.contact
    rows = session.execute(sa.select(contact).where(contact.c.tank_id == tank_id).order_by(contact.c.id))
    return tuple(_contact(row) for row in rows)


def load_contact_by_id(session: Session, contact_id: int) -> Contact:
    """Find a way by its row."""
    contact = reach.contact
    return _contact(session.execute(sa.select(contact).where(contact.c.id == contact_id)).one())


def find_token(session: Session, token: str) -> Contact | None:
    """Find the way that a token confirms; None where it confirms none, any more."""
    contact = reach.contact
    row = session.execute(
        sa.select(contact).where(contact.c.token_hash == hash_token(token), contact.c.ended_at.is_(None))
    ).one_or_none()
    return _contact(row) if row is not None else None


def confirm_contact(session: Session, contact: Contact, *, now: datetime) -> None:
    """Use a way from now on; its token is used up."""
    _update(session, contact.id, verified_at=now, token_hash=None, failing_since=None)


def end_contact(session: Session, contact_id: int, why: str, *, now: datetime) -> None:
    """Use a way no more, and say why."""
    _update(session, contact_id, ended_at=now, ended_why=why, token_hash=None)


def delete_contact(session: Session, contact: Contact) -> None:
    """Forget a way, and the messages that were for it."""
    session.execute(sa.delete(reach.outbox).where(reach.outbox.c.contact_id == contact.id))
    session.execute(sa.delete(reach.contact).where(reach.contact.c.id == contact.id))


def rotate_secret(session: Session, contact: Contact, secret: str, *, earlier_until: datetime) -> None:
    """Sign with a new secret, and with the one before it too until then."""
    _update(session, contact.id, secret=secret, earlier_secret=contact.secret, earlier_until=earlier_until)


def note_reached(session: Session, contact_id: int) -> None:
    """Note that a message arrived."""
    _update(session, contact_id, failing_since=None)


def note_unreached(session: Session, contact_id: int, *, since: datetime) -> None:
    """Note that a message was given up: nothing was delivered since then."""
    contact = reach.contact
    session.execute(
        sa.update(contact)
        .where(contact.c.id == contact_id, contact.c.failing_since.is_(None))
        .values(failing_since=since)
    )


def _update(session: Session, contact_id: int, **values: object) -> None:
    session.execute(sa.update(reach.contact).where(reach.contact.c.id == contact_id).values(**values))


def _contact(row: sa.Row[tuple[object, ...]]) -> Contact:
    return Contact(
        row.id, row.public_id, row.tank_id, Channel(row.channel), row.address, row.second, row.secret,
        row.earlier_secret, row.earlier_until, row.asked_at, row.verified_at, row.ended_at, row.ended_why,
        row.failing_since,
    )  # fmt: skip
