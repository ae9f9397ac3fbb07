"""Accounts: address, password's hash, second factor.

Flow     use cases -> **people** -> tables
"""

from dataclasses import dataclass
from datetime import datetime

import sqlalchemy as sa
from sqlalchemy.orm import Session

from api.store.tables.access import account
from api.store.tanks import NotFoundError, new_public_id


@dataclass(frozen=True, slots=True)
class Account:
    """Somebody who signs in.

    Attributes
    ----------
    totp_secret
        Secret of the second factor (base32), where there is one.
    totp_waiting
        One that was offered and not yet confirmed by a code.
    """

    id: int
    public_id: str
    email: str
    password_hash: str
    totp_secret: str | None
    totp_waiting: str | None
    is_operator: bool
    created_at: datetime
    disabled_at: datetime | None


def save_account(
    session: Session, *, email: str, password_hash: str, created_at: datetime, is_operator: bool = False
) -> Account:
    """Store a new account under its address, which must be normalised."""
    public_id = new_public_id()
    session.execute(
        sa.insert(account).values(
            public_id=public_id,
            email=email,
            password_hash=password_hash,
            is_operator=is_operator,
            created_at=created_at,
        )
    )
    return load_account(session, public_id)


def find_account(session: Session, email: str) -> Account | None:
    """Find an account by its normalised address; None where there is none."""
    return _one(session, account.c.email == email)


def load_account(session: Session, public_id: str) -> Account:
    """Find an account by its public id.

    Raises
    ------
    NotFoundError
        When there is none.
    """
    found = _one(session, account.c.public_id == public_id)
    if found is None:
        raise NotFoundError
    return found


def get_account(session: Session, account_id: int) -> Account:
    """Find an account by its row.

    Raises
    ------
    NotFoundError
        When it is gone.
    """
    found = _one(session, account.c.id == account_id)
    if found is None:
        raise NotFoundError
    return found


def list_accounts(session: Session) -> tuple[Account, ...]:
    """List every account, in the order of their coming."""
    return tuple(_account(row) for row in session.execute(sa.select(account).order_by(account.c.id)))


def set_password(session: Session, account_id: int, password_hash: str) -> None:
    """Keep the hash of a new password."""
    _change(session, account_id, password_hash=password_hash)


def offer_second_factor(session: Session, account_id: int, secret: str) -> None:
    """Keep the secret of a second factor that is not in force yet."""
    _change(session, account_id, totp_waiting=secret)


def use_second_factor(session: Session, account_id: int, secret: str, step: int) -> None:
    """Put a second factor in force; the code that confirmed it counts as used."""
    _change(session, account_id, totp_secret=secret, totp_waiting=None, totp_step=step)


def drop_second_factor(session: Session, account_id: int) -> None:
    """Sign in without a second factor from now on."""
    _change(session, account_id, totp_secret=None, totp_waiting=None, totp_step=None)


def spend_code(session: Session, account_id: int, step: int) -> bool:
    """Use up a time step of the second factor; False where it, or a later one, was used before."""
    done = session.execute(
        sa.update(account)
        .where(account.c.id == account_id, sa.func.coalesce(account.c.totp_step, -1) < step)
        .values(totp_step=step)
    )
    return bool(done.rowcount)  # type: ignore[attr-defined]


def set_disabled(session: Session, account_id: int, at: datetime | None) -> None:
    """Shut an account out from an instant on, or let it in again (None)."""
    _change(session, account_id, disabled_at=at)


def _change(session: Session, account_id: int, **values: object) -> None:
    session.execute(sa.update(account).where(account.c.id == account_id).values(**values))


def _one(session: Session, condition: sa.ColumnElement[bool]) -> Account | None:
    row = session.execute(sa.select(account).where(condition)).one_or_none()
    return None if row is None else _account(row)


def _account(row: sa.Row[tuple[object, ...]]) -> Account:
    kept = row._mapping
    return Account(**{name: kept[name] for name in Account.__dataclass_fields__})
