"""Addresses that work once: to sign up, to share in a tank, to choose a new password.

Flow     use cases -> **invitations** -> tables
"""

from dataclasses import dataclass
from datetime import datetime

import sqlalchemy as sa
from sqlalchemy.orm import Session

from api.store.accounts.tokens import hash_token
from api.store.tables.access import invitation
from api.store.tanks import NotFoundError, new_public_id

_ROW = invitation.c


@dataclass(frozen=True, slots=True)
class Invitation:
    """An address that works once, as it stands.

    Attributes
    ----------
    account_id
        For a new password: the account it is for.
    """

    id: int
    public_id: str
    kind: str
    tank_id: int | None
    account_id: int | None
    created_at: datetime
    expires_at: datetime


def save_invitation(
    session: Session,
    *,
    token: str,
    kind: str,
    tank_id: int | None = None,
    invited_by: int | None = None,
    account_id: int | None = None,
    now: datetime,
    expires_at: datetime,
) -> None:
    """Keep an invitation, of which only the token's hash is stored."""
    session.execute(
        sa.insert(invitation).values(
            public_id=new_public_id(),
            token_hash=hash_token(token),
            kind=kind,
            tank_id=tank_id,
            invited_by=invited_by,
            account_id=account_id,
            created_at=now,
            expires_at=expires_at,
        )
    )


def find_invitation(session: Session, token: str, *, now: datetime) -> Invitation:
    """Find an invitation that may still be used.

    Raises
    ------
    NotFoundError
        When there is none: never was, used, ended, or too old.
    """
    row = session.execute(
        sa.select(*(_ROW[name] for name in Invitation.__dataclass_fields__)).where(
            _ROW.token_hash == hash_token(token), _ROW.ended_at.is_(None), _ROW.expires_at > now
        )
    ).one_or_none()
    if row is None:
        raise NotFoundError
    return Invitation(**row._mapping)


def use_invitation(session: Session, invitation_id: int, account_id: int, *, now: datetime) -> None:
    """Use an invitation up.

    Raises
    ------
    NotFoundError
        When somebody else was quicker.
    """
    done = session.execute(
        sa.update(invitation)
        .where(_ROW.id == invitation_id, _ROW.ended_at.is_(None))
        .values(ended_at=now, account_id=account_id)
    )
    if not done.rowcount:  # type: ignore[attr-defined]
        raise NotFoundError


def list_invitations(session: Session, tank_id: int, *, now: datetime) -> tuple[Invitation, ...]:
    """List a tank's invitations that nobody has used yet."""
    rows = session.execute(
        sa.select(*(_ROW[name] for name in Invitation.__dataclass_fields__))
        .where(_ROW.tank_id == tank_id, _ROW.ended_at.is_(None), _ROW.expires_at > now)
        .order_by(_ROW.id)
    )
    return tuple(Invitation(**row._mapping) for row in rows)


def withdraw_invitation(session: Session, tank_id: int, public_id: str, *, now: datetime) -> None:
    """Take back one invitation of a tank.

    Raises
    ------
    NotFoundError
        When the tank has no such invitation.
    """
    done = session.execute(
        sa.update(invitation)
        .where(_ROW.tank_id == tank_id, _ROW.public_id == public_id, _ROW.ended_at.is_(None))
        .values(ended_at=now)
    )
    if not done.rowcount:  # type: ignore[attr-defined]
        raise NotFoundError
