"""Accounts, keys, sessions, and who stands in which relation to which tank.

Whatever opens something (a session, a key, an invitation, a code) is kept as its SHA-256 alone: random,
so that the hash cannot be turned back, and useless to whoever steals the database. A relation that ended
keeps its row, with when it ended.

Flow     columns -> **tables** -> store
Source   OWASP ASVS 5.0, 7.2.3 and 11.5.1 (tokens); RFC 6238 (time steps of the second factor)
"""

import sqlalchemy as sa

from api.store.columns import Instant, PlainText
from api.store.tables.base import key, metadata, one_of, public_id, unique_where

account = sa.Table(
    "account",
    metadata,
    sa.Column("id", sa.Integer, primary_key=True),
    public_id(),
    sa.Column("email", PlainText, nullable=False, unique=True),
    sa.Column("password_hash", PlainText, nullable=False),
    sa.Column("totp_secret", PlainText),
    sa.Column("totp_waiting", PlainText),
    sa.Column("totp_step", sa.BigInteger),
    sa.Column("is_operator", sa.Boolean, nullable=False),
    sa.Column("created_at", Instant, nullable=False),
    sa.Column("disabled_at", Instant),
    comment="somebody who signs in; a second factor waits until a first code of it was given",
)

account_session = sa.Table(
    "account_session",
    metadata,
    sa.Column("id", sa.Integer, primary_key=True),
    public_id(),
    sa.Column("token_hash", PlainText, nullable=False, unique=True),
    sa.Column("account_id", sa.Integer, sa.ForeignKey("account.id")),
    sa.Column("paired_as", PlainText),
    sa.Column("browser", PlainText, nullable=False),
    sa.Column("created_at", Instant, nullable=False),
    sa.Column("last_seen_at", Instant, nullable=False),
    sa.Column("ends_at", Instant, nullable=False),
    sa.Column("revoked_at", Instant),
    one_of("paired_as", ("owner", "member")),
    sa.CheckConstraint("(account_id IS NULL) <> (paired_as IS NULL)", name="one_holder"),
    sa.Index("ix_account_session_account_id", "account_id"),
    comment="a browser that is let in: of an account, or a phone paired with the home's machine",
)

tank_grant = sa.Table(
    "tank_grant",
    metadata,
    sa.Column("id", sa.Integer, primary_key=True),
    public_id(),
    key("account_id", "account.id"),
    key("tank_id", "tank.id"),
    sa.Column("kind", PlainText, nullable=False),
    sa.Column("since", Instant, nullable=False),
    sa.Column("until", Instant),
    one_of("kind", ("owner", "member")),
    sa.Index("ix_tank_grant_tank_id", "tank_id"),
    comment="an account is of a tank's household, from an instant until another",
)
unique_where(
    "uq_tank_grant_account_id_tank_id",
    tank_grant.c.account_id,
    tank_grant.c.tank_id,
    where=tank_grant.c.until.is_(None),
)

installer_job = sa.Table(
    "installer_job",
    metadata,
    sa.Column("id", sa.Integer, primary_key=True),
    public_id(),
    key("account_id", "account.id"),
    key("tank_id", "tank.id"),
    sa.Column("opened_at", Instant, nullable=False),
    sa.Column("until", Instant, nullable=False),
    sa.Column("closed_at", Instant),
    sa.Index("ix_installer_job_tank_id", "tank_id"),
    comment="an installer may look at a tank until a day, or until the job is closed",
)

supply_link = sa.Table(
    "supply_link",
    metadata,
    sa.Column("id", sa.Integer, primary_key=True),
    public_id(),
    key("account_id", "account.id"),
    key("tank_id", "tank.id"),
    sa.Column("offered_at", Instant, nullable=False),
    sa.Column("accepted_at", Instant),
    sa.Column("ended_at", Instant),
    sa.Index("ix_supply_link_tank_id", "tank_id"),
    comment="a distributor supplies a tank: offered by one side, open once the other accepted",
)
unique_where(
    "uq_supply_link_account_id_tank_id",
    supply_link.c.account_id,
    supply_link.c.tank_id,
    where=supply_link.c.ended_at.is_(None),
)

invitation = sa.Table(
    "invitation",
    metadata,
    sa.Column("id", sa.Integer, primary_key=True),
    public_id(),
    sa.Column("token_hash", PlainText, nullable=False, unique=True),
    sa.Column("kind", PlainText, nullable=False),
    sa.Column("tank_id", sa.Integer, sa.ForeignKey("tank.id")),
    sa.Column("invited_by", sa.Integer, sa.ForeignKey("account.id")),
    sa.Column("created_at", Instant, nullable=False),
    sa.Column("expires_at", Instant, nullable=False),
    sa.Column("ended_at", Instant),
    sa.Column("account_id", sa.Integer, sa.ForeignKey("account.id")),
    one_of("kind", ("account", "owner", "member", "installer", "distributor", "password")),
    sa.Index("ix_invitation_tank_id", "tank_id"),
    comment="an address that works once: to sign up, share in a tank, choose a password; account_id used it",
)

access_key = sa.Table(
    "access_key",
    metadata,
    sa.Column("id", sa.Integer, primary_key=True),
    public_id(),
    sa.Column("prefix", PlainText, nullable=False, unique=True),
    sa.Column("secret_hash", PlainText, nullable=False),
    sa.Column("kind", PlainText, nullable=False),
    key("tank_id", "tank.id"),
    sa.Column("sensor_id", sa.Integer, sa.ForeignKey("sensor.id")),
    sa.Column("label", PlainText, nullable=False),
    sa.Column("created_at", Instant, nullable=False),
    sa.Column("last_used_on", sa.Date),
    sa.Column("revoked_at", Instant),
    one_of("kind", ("device", "hub")),
    sa.Index("ix_access_key_tank_id", "tank_id"),
    comment="what a machine shows: a device that brings readings, a hub that reads the answer",
)

attempt = sa.Table(
    "attempt",
    metadata,
    sa.Column("what", PlainText, primary_key=True),
    sa.Column("subject_hash", PlainText, primary_key=True),
    sa.Column("failures", sa.Integer, nullable=False),
    sa.Column("first_at", Instant, nullable=False),
    sa.Column("last_at", Instant, nullable=False),
    sa.CheckConstraint("failures >= 0", name="failures_counted"),
    comment="failures in a row of signing in or pairing; the subject is hashed, and may be nobody's",
)

pairing_code = sa.Table(
    "pairing_code",
    metadata,
    sa.Column("id", sa.Integer, primary_key=True),
    sa.Column("code_hash", PlainText, nullable=False, unique=True),
    sa.Column("paired_as", PlainText, nullable=False),
    sa.Column("created_at", Instant, nullable=False),
    sa.Column("expires_at", Instant, nullable=False),
    sa.Column("used_at", Instant),
    one_of("paired_as", ("owner", "member")),
    comment="a short code that lets one phone of the house in, for some minutes",
)

erasure = sa.Table(
    "erasure",
    metadata,
    sa.Column("id", sa.Integer, primary_key=True),
    sa.Column("kind", PlainText, nullable=False),
    public_id(),
    sa.Column("erased_at", Instant, nullable=False),
    one_of("kind", ("account", "tank")),
    comment="what was erased, by its name that tells nothing: erased again after an older backup returns",
)
