"""Keys of machines: a device that brings readings, a hub that reads the answer.

A key reads ``dc_<prefix>_<secret>``. The prefix finds the row, the secret's hash decides; the key is
shown once, when it is made.

Flow     guard, readings over MQTT -> **keys** -> tables
Source   OWASP ASVS 5.0, 11.5.1; the form is common practice
"""

import hmac
import secrets
from dataclasses import dataclass
from datetime import date, datetime
from enum import StrEnum

import sqlalchemy as sa
from sqlalchemy.orm import Session

from api.store import tables
from api.store.accounts.tokens import hash_token, new_token
from api.store.tables.access import access_key
from api.store.tanks import NotFoundError, new_public_id

_KEY = access_key.c
LONGEST_KEY = 200


class KeyKind(StrEnum):
    """What a key is for."""

    DEVICE = "device"
    """Brings readings of a tank, of one sensor where it is bound to one; never reads."""
    HUB = "hub"
    """Reads a tank's answer, as somebody of the household who looks on."""


@dataclass(frozen=True, slots=True)
class KeyHolder:
    """What a key that was shown opens.

    Attributes
    ----------
    sensor_id, sensor_public_id
        The one sensor for which it may bring readings; None: any of the tank's.
    """

    id: int
    kind: KeyKind
    tank_id: int
    tank_public_id: str
    sensor_id: int | None
    sensor_public_id: str | None
    last_used_on: date | None


@dataclass(frozen=True, slots=True)
class KeyRow:
    """A key as its owner sees it in a list: never the key itself."""

    public_id: str
    prefix: str
    kind: KeyKind
    sensor_id: int | None
    label: str
    created_at: datetime
    last_used_on: date | None
    revoked_at: datetime | None


def save_key(
    session: Session,
    *,
    kind: KeyKind,
    tank_id: int,
    sensor_id: int | None = None,
    label: str,
    created_at: datetime,
) -> str:
    """Make a key; what is returned is kept nowhere and cannot be shown again."""
    prefix, secret = secrets.token_hex(5), new_token()
    session.execute(
        sa.insert(access_key).values(
            public_id=new_public_id(),
            prefix=prefix,
            secret_hash=hash_token(secret),
            kind=kind,
            tank_id=tank_id,
            sensor_id=sensor_id,
            label=label,
            created_at=created_at,
        )
    )
    return f"dc_{prefix}_{secret}"


def find_key(session: Session, text: str) -> KeyHolder | None:
    """Find what a key opens; None where it is no key of ours, or was revoked."""
    parts = text.split("_", 2) if len(text) <= LONGEST_KEY and text.isascii() else []
    if len(parts) != 3 or parts[0] != "dc":
        return None
    row = session.execute(
        sa.select(
            _KEY.id,
            _KEY.kind,
            _KEY.tank_id,
            _KEY.sensor_id,
            _KEY.secret_hash,
            _KEY.last_used_on,
            tables.tank.c.public_id.label("tank_public_id"),
            tables.sensor.c.public_id.label("sensor_public_id"),
        )
        .join(tables.tank, tables.tank.c.id == _KEY.tank_id)
        .outerjoin(tables.sensor, tables.sensor.c.id == _KEY.sensor_id)
        .where(_KEY.prefix == parts[1], _KEY.revoked_at.is_(None))
    ).one_or_none()
    if row is None or not hmac.compare_digest(row.secret_hash, hash_token(parts[2])):
        return None
    return KeyHolder(
        row.id,
        KeyKind(row.kind),
        row.tank_id,
        row.tank_public_id,
        row.sensor_id,
        row.sensor_public_id,
        row.last_used_on,
    )


def note_use(session: Session, key_id: int, now: datetime) -> None:
    """Note the day on which a key was last used."""
    session.execute(sa.update(access_key).where(_KEY.id == key_id).values(last_used_on=now.date()))


def list_keys(session: Session, tank_id: int) -> tuple[KeyRow, ...]:
    """List a tank's keys that are in force, in the order of their making."""
    rows = session.execute(
        sa.select(*(_KEY[name] for name in KeyRow.__dataclass_fields__))
        .where(_KEY.tank_id == tank_id, _KEY.revoked_at.is_(None))
        .order_by(_KEY.id)
    )
    return tuple(KeyRow(**{**row._mapping, "kind": KeyKind(row.kind)}) for row in rows)


def revoke_key(session: Session, tank_id: int, public_id: str, *, now: datetime) -> KeyRow:
    """Revoke one key of a tank, and tell which; it opens nothing from the next request on.

    Raises
    ------
    NotFoundError
        When the tank has no such key in force.
    """
    for key in list_keys(session, tank_id):
        if key.public_id == public_id:
            session.execute(
                sa.update(access_key)
                .where(_KEY.tank_id == tank_id, _KEY.public_id == public_id)
                .values(revoked_at=now)
            )
            return key
    raise NotFoundError
