"""Accounts, keys, sessions, and who stands in which relation to which tank."""

import sqlalchemy as sa
from alembic import op

revision = "0002"
down_revision = "0001"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Make the tables of this step."""
    op.create_table(
        "account",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("public_id", sa.Text(), nullable=False),
        sa.Column("email", sa.Text(), nullable=False),
        sa.Column("password_hash", sa.Text(), nullable=False),
        sa.Column("totp_secret", sa.Text(), nullable=True),
        sa.Column("totp_waiting", sa.Text(), nullable=True),
        sa.Column("totp_step", sa.BigInteger(), nullable=True),
        sa.Column("is_operator", sa.Boolean(), nullable=False),
        sa.Column("created_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("disabled_at", sa.DateTime(timezone=True), nullable=True),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_account")),
        sa.UniqueConstraint("email", name=op.f("uq_account_email")),
        sa.UniqueConstraint("public_id", name=op.f("uq_account_public_id")),
        comment="somebody who signs in; a second factor waits until a first code of it was given",
    )
    op.create_table(
        "attempt",
        sa.Column("what", sa.Text(), nullable=False),
        sa.Column("subject_hash", sa.Text(), nullable=False),
        sa.Column("failures", sa.Integer(), nullable=False),
        sa.Column("first_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("last_at", sa.DateTime(timezone=True), nullable=False),
        sa.CheckConstraint("failures >= 0", name=op.f("ck_attempt_failures_counted")),
        sa.PrimaryKeyConstraint("what", "subject_hash", name=op.f("pk_attempt")),
        comment="failures in a row of signing in or pairing; the subject is hashed, and may be nobody's",
    )
    op.create_table(
        "erasure",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("kind", sa.Text(), nullable=False),
        sa.Column("public_id", sa.Text(), nullable=False),
        sa.Column("erased_at", sa.DateTime(timezone=True), nullable=False),
        sa.CheckConstraint("kind IN ('account', 'tank')", name=op.f("ck_erasure_kind_known")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_erasure")),
        sa.UniqueConstraint("public_id", name=op.f("uq_erasure_public_id")),
        comment="what was erased, by its name that tells nothing: erased again after an older backup returns",
    )
    op.create_table(
        "pairing_code",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("code_hash", sa.Text(), nullable=False),
        sa.Column("paired_as", sa.Text(), nullable=False),
        sa.Column("created_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("expires_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("used_at", sa.DateTime(timezone=True), nullable=True),
        sa.CheckConstraint("paired_as IN ('owner', 'member')", name=op.f("ck_pairing_code_paired_as_known")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_pairing_code")),
        sa.UniqueConstraint("code_hash", name=op.f("uq_pairing_code_code_hash")),
        comment="a short code that lets one phone of the house in, for some minutes",
    )
    op.create_table(
        "account_session",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("public_id", sa.Text(), nullable=False),
        sa.Column("token_hash", sa.Text(), nullable=False),
        sa.Column("account_id", sa.Integer(), nullable=True),
        sa.Column("paired_as", sa.Text(), nullable=True),
        sa.Column("browser", sa.Text(), nullable=False),
        sa.Column("created_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("last_seen_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("ends_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("revoked_at", sa.DateTime(timezone=True), nullable=True),
        sa.CheckConstraint(
            "paired_as IN ('owner', 'member')", name=op.f("ck_account_session_paired_as_known")
        ),
        sa.CheckConstraint(
            "(account_id IS NULL) <> (paired_as IS NULL)", name=op.f("ck_account_session_one_holder")
        ),
        sa.ForeignKeyConstraint(["account_id"], ["account.id"], name=op.f("fk_account_session_account_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_account_session")),
        sa.UniqueConstraint("public_id", name=op.f("uq_account_session_public_id")),
        sa.UniqueConstraint("token_hash", name=op.f("uq_account_session_token_hash")),
        comment="a browser that is let in: of an account, or a phone paired with the home's machine",
    )
    op.create_index("ix_account_session_account_id", "account_session", ["account_id"], unique=False)
    op.create_table(
        "installer_job",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("public_id", sa.Text(), nullable=False),
        sa.Column("account_id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("tank_id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("opened_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("until", sa.DateTime(timezone=True), nullable=False),
        sa.Column("closed_at", sa.DateTime(timezone=True), nullable=True),
        sa.ForeignKeyConstraint(["account_id"], ["account.id"], name=op.f("fk_installer_job_account_id")),
        sa.ForeignKeyConstraint(["tank_id"], ["tank.id"], name=op.f("fk_installer_job_tank_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_installer_job")),
        sa.UniqueConstraint("public_id", name=op.f("uq_installer_job_public_id")),
        comment="an installer may look at a tank until a day, or until the job is closed",
    )
    op.create_index("ix_installer_job_tank_id", "installer_job", ["tank_id"], unique=False)
    op.create_table(
        "invitation",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("public_id", sa.Text(), nullable=False),
        sa.Column("token_hash", sa.Text(), nullable=False),
        sa.Column("kind", sa.Text(), nullable=False),
        sa.Column("tank_id", sa.Integer(), nullable=True),
        sa.Column("invited_by", sa.Integer(), nullable=True),
        sa.Column("created_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("expires_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("ended_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("account_id", sa.Integer(), nullable=True),
        sa.CheckConstraint(
            "kind IN ('account', 'owner', 'member', 'installer', 'distributor', 'password')",
            name=op.f("ck_invitation_kind_known"),
        ),
        sa.ForeignKeyConstraint(["invited_by"], ["account.id"], name=op.f("fk_invitation_invited_by")),
        sa.ForeignKeyConstraint(["tank_id"], ["tank.id"], name=op.f("fk_invitation_tank_id")),
        sa.ForeignKeyConstraint(["account_id"], ["account.id"], name=op.f("fk_invitation_account_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_invitation")),
        sa.UniqueConstraint("public_id", name=op.f("uq_invitation_public_id")),
        sa.UniqueConstraint("token_hash", name=op.f("uq_invitation_token_hash")),
        comment="an address that works once: to sign up, share in a tank, choose a password; account_id used it",
    )
    op.create_index("ix_invitation_tank_id", "invitation", ["tank_id"], unique=False)
    op.create_table(
        "supply_link",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("public_id", sa.Text(), nullable=False),
        sa.Column("account_id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("tank_id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("offered_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("accepted_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("ended_at", sa.DateTime(timezone=True), nullable=True),
        sa.ForeignKeyConstraint(["account_id"], ["account.id"], name=op.f("fk_supply_link_account_id")),
        sa.ForeignKeyConstraint(["tank_id"], ["tank.id"], name=op.f("fk_supply_link_tank_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_supply_link")),
        sa.UniqueConstraint("public_id", name=op.f("uq_supply_link_public_id")),
        comment="a distributor supplies a tank: offered by one side, open once the other accepted",
    )
    op.create_index("ix_supply_link_tank_id", "supply_link", ["tank_id"], unique=False)
    op.create_index(
        "uq_supply_link_account_id_tank_id",
        "supply_link",
        ["account_id", "tank_id"],
        unique=True,
        sqlite_where=sa.text("ended_at IS NULL"),
        postgresql_where=sa.text("ended_at IS NULL"),
    )
    op.create_table(
        "tank_grant",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("public_id", sa.Text(), nullable=False),
        sa.Column("account_id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("tank_id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("kind", sa.Text(), nullable=False),
        sa.Column("since", sa.DateTime(timezone=True), nullable=False),
        sa.Column("until", sa.DateTime(timezone=True), nullable=True),
        sa.CheckConstraint("kind IN ('owner', 'member')", name=op.f("ck_tank_grant_kind_known")),
        sa.ForeignKeyConstraint(["account_id"], ["account.id"], name=op.f("fk_tank_grant_account_id")),
        sa.ForeignKeyConstraint(["tank_id"], ["tank.id"], name=op.f("fk_tank_grant_tank_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_tank_grant")),
        sa.UniqueConstraint("public_id", name=op.f("uq_tank_grant_public_id")),
        comment="an account is of a tank's household, from an instant until another",
    )
    op.create_index("ix_tank_grant_tank_id", "tank_grant", ["tank_id"], unique=False)
    op.create_index(
        "uq_tank_grant_account_id_tank_id",
        "tank_grant",
        ["account_id", "tank_id"],
        unique=True,
        sqlite_where=sa.text("until IS NULL"),
        postgresql_where=sa.text("until IS NULL"),
    )
    op.create_table(
        "access_key",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("public_id", sa.Text(), nullable=False),
        sa.Column("prefix", sa.Text(), nullable=False),
        sa.Column("secret_hash", sa.Text(), nullable=False),
        sa.Column("kind", sa.Text(), nullable=False),
        sa.Column("tank_id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("sensor_id", sa.Integer(), nullable=True),
        sa.Column("label", sa.Text(), nullable=False),
        sa.Column("created_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("last_used_on", sa.Date(), nullable=True),
        sa.Column("revoked_at", sa.DateTime(timezone=True), nullable=True),
        sa.CheckConstraint("kind IN ('device', 'hub')", name=op.f("ck_access_key_kind_known")),
        sa.ForeignKeyConstraint(["sensor_id"], ["sensor.id"], name=op.f("fk_access_key_sensor_id")),
        sa.ForeignKeyConstraint(["tank_id"], ["tank.id"], name=op.f("fk_access_key_tank_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_access_key")),
        sa.UniqueConstraint("prefix", name=op.f("uq_access_key_prefix")),
        sa.UniqueConstraint("public_id", name=op.f("uq_access_key_public_id")),
        comment="what a machine shows: a device that brings readings, a hub that reads the answer",
    )
    op.create_index("ix_access_key_tank_id", "access_key", ["tank_id"], unique=False)
