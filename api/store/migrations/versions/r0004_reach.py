"""Orders, reminders and their outbox, claims of the worker."""

import sqlalchemy as sa
from alembic import op

revision = "0004"
down_revision = "0003"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Make the tables of this step."""
    op.create_table(
        "job_claim",
        sa.Column("job", sa.Text(), nullable=False),
        sa.Column("slot", sa.Text(), nullable=False),
        sa.Column("owner", sa.Text(), nullable=False),
        sa.Column("claimed_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("lease_until", sa.DateTime(timezone=True), nullable=False),
        sa.Column("finished_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("attempts", sa.Integer(), nullable=False),
        sa.CheckConstraint("attempts >= 1", name=op.f("ck_job_claim_attempts_counted")),
        sa.PrimaryKeyConstraint("job", "slot", name=op.f("pk_job_claim")),
        comment="one run of a job: who has it; after the lease another may take over what was not finished",
    )
    op.create_table(
        "notice",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("cause", sa.Text(), nullable=False),
        sa.Column("words", sa.Text(), nullable=False),
        sa.Column("since", sa.DateTime(timezone=True), nullable=False),
        sa.Column("ended_at", sa.DateTime(timezone=True), nullable=True),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_notice")),
        comment="one trouble of the service told to the person who runs it, once while it lasts",
    )
    op.create_index(
        "uq_notice_cause",
        "notice",
        ["cause"],
        unique=True,
        sqlite_where=sa.text("ended_at IS NULL"),
        postgresql_where=sa.text("ended_at IS NULL"),
    )
    op.create_table(
        "pulse",
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.PrimaryKeyConstraint("name", name=op.f("pk_pulse")),
        comment="the last instant at which something was seen to be in order, such as the clock",
    )
    op.create_table(
        "calendar_feed",
        sa.Column("tank_id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("token_hash", sa.Text(), nullable=False),
        sa.Column("created_at", sa.DateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(["tank_id"], ["tank.id"], name=op.f("fk_calendar_feed_tank_id")),
        sa.PrimaryKeyConstraint("tank_id", name=op.f("pk_calendar_feed")),
        sa.UniqueConstraint("token_hash", name=op.f("uq_calendar_feed_token_hash")),
        comment="the address under which a tank's calendar is read; only its hash is kept",
    )
    op.create_table(
        "contact",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("public_id", sa.Text(), nullable=False),
        sa.Column("tank_id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("channel", sa.Text(), nullable=False),
        sa.Column("address", sa.Text(), nullable=False),
        sa.Column("second", sa.Boolean(), nullable=False),
        sa.Column("secret", sa.Text(), nullable=True),
        sa.Column("earlier_secret", sa.Text(), nullable=True),
        sa.Column("earlier_until", sa.DateTime(timezone=True), nullable=True),
        sa.Column("token_hash", sa.Text(), nullable=True),
        sa.Column("asked_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("verified_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("ended_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("ended_why", sa.Text(), nullable=True),
        sa.Column("failing_since", sa.DateTime(timezone=True), nullable=True),
        sa.Column("created_at", sa.DateTime(timezone=True), nullable=False),
        sa.CheckConstraint(
            "channel IN ('mail', 'webhook', 'further')", name=op.f("ck_contact_channel_known")
        ),
        sa.ForeignKeyConstraint(["tank_id"], ["tank.id"], name=op.f("fk_contact_tank_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_contact")),
        sa.UniqueConstraint("public_id", name=op.f("uq_contact_public_id")),
        sa.UniqueConstraint("tank_id", "channel", "address", name=op.f("uq_contact_tank_id_channel_address")),
        sa.UniqueConstraint("token_hash", name=op.f("uq_contact_token_hash")),
        comment="a way to reach somebody, used once it is confirmed; a second person hears what nobody answers",
    )
    op.create_table(
        "oil_order",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("public_id", sa.Text(), nullable=False),
        sa.Column("tank_id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("form_key", sa.Text(), nullable=True),
        sa.Column("state", sa.Text(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("litres", sa.Double(), nullable=True),
        sa.Column("fill", sa.Boolean(), nullable=False),
        sa.Column("advised_l", sa.Double(), nullable=True),
        sa.Column("price_per_l", sa.Double(), nullable=True),
        sa.Column("supplier", sa.Text(), nullable=True),
        sa.Column("placed_on", sa.Date(), nullable=True),
        sa.Column("promised_for", sa.Date(), nullable=True),
        sa.Column("delivered_on", sa.Date(), nullable=True),
        sa.Column("delivered_l", sa.Double(), nullable=False),
        sa.Column("created_at", sa.DateTime(timezone=True), nullable=False),
        sa.CheckConstraint(
            "state IN ('advised', 'placed', 'promised', 'late', 'part', 'delivered', 'refused', 'cancelled')",
            name=op.f("ck_oil_order_state_known"),
        ),
        sa.CheckConstraint("litres > 0 AND litres <= 100000", name=op.f("ck_oil_order_litres_bounded")),
        sa.ForeignKeyConstraint(["tank_id"], ["tank.id"], name=op.f("fk_oil_order_tank_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_oil_order")),
        sa.UniqueConstraint("public_id", name=op.f("uq_oil_order_public_id")),
        sa.UniqueConstraint("tank_id", "form_key", name=op.f("uq_oil_order_tank_id_form_key")),
        comment="an order of oil: litres, or as much as fits (fill); delivered_l adds up its parts",
    )
    op.create_table(
        "refill",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("tank_id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("uid", sa.Text(), nullable=False),
        sa.Column("begun_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("ended_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("earliest", sa.Date(), nullable=True),
        sa.Column("latest", sa.Date(), nullable=True),
        sa.Column("litres", sa.Double(), nullable=True),
        sa.Column("told", sa.Boolean(), nullable=False),
        sa.Column("sequence", sa.Integer(), nullable=False),
        sa.Column("changed_at", sa.DateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(["tank_id"], ["tank.id"], name=op.f("fk_refill_tank_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_refill")),
        sa.UniqueConstraint("uid", name=op.f("uq_refill_uid")),
        comment="from one delivery to the next, and its event in the calendar: told, or called off",
    )
    op.create_index("ix_refill_tank_id_begun_at", "refill", ["tank_id", "begun_at"], unique=False)
    op.create_index(
        "uq_refill_tank_id",
        "refill",
        ["tank_id"],
        unique=True,
        sqlite_where=sa.text("ended_at IS NULL"),
        postgresql_where=sa.text("ended_at IS NULL"),
    )
    op.create_table(
        "refit",
        sa.Column("tank_id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("done_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("failed_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("failures", sa.Integer(), nullable=False),
        sa.Column("error", sa.Text(), nullable=True),
        sa.ForeignKeyConstraint(["tank_id"], ["tank.id"], name=op.f("fk_refit_tank_id")),
        sa.PrimaryKeyConstraint("tank_id", name=op.f("pk_refit")),
        comment="how a tank's last nightly renewal went; failures in a row, and the name of the last error",
    )
    op.create_table(
        "silence",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("public_id", sa.Text(), nullable=False),
        sa.Column("tank_id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("begins_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("ends_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("lifted_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("created_at", sa.DateTime(timezone=True), nullable=False),
        sa.CheckConstraint("ends_at > begins_at", name=op.f("ck_silence_ends_after")),
        sa.ForeignKeyConstraint(["tank_id"], ["tank.id"], name=op.f("fk_silence_tank_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_silence")),
        sa.UniqueConstraint("public_id", name=op.f("uq_silence_public_id")),
        comment="a time without reminders; it ends by itself, and the latest order date breaks through",
    )
    op.create_table(
        "order_change",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("order_id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("state", sa.Text(), nullable=False),
        sa.Column("promised_for", sa.Date(), nullable=True),
        sa.Column("litres", sa.Double(), nullable=True),
        sa.Column("note", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(["order_id"], ["oil_order.id"], name=op.f("fk_order_change_order_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_order_change")),
        sa.UniqueConstraint("order_id", "version", name=op.f("uq_order_change_order_id_version")),
        comment="one change of an order, kept as it was",
    )
    op.create_table(
        "reminder",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("public_id", sa.Text(), nullable=False),
        sa.Column("tank_id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("refill_id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("cause", sa.Text(), nullable=False),
        sa.Column("subject", sa.Text(), nullable=False),
        sa.Column("number", sa.Integer(), nullable=False),
        sa.Column("urgent", sa.Boolean(), nullable=False),
        sa.Column("order_by", sa.Date(), nullable=True),
        sa.Column("decided_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("not_after", sa.DateTime(timezone=True), nullable=False),
        sa.Column("acknowledged_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("replaced_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("body", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(["refill_id"], ["refill.id"], name=op.f("fk_reminder_refill_id")),
        sa.ForeignKeyConstraint(["tank_id"], ["tank.id"], name=op.f("fk_reminder_tank_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_reminder")),
        sa.UniqueConstraint("public_id", name=op.f("uq_reminder_public_id")),
        sa.UniqueConstraint(
            "refill_id", "cause", "subject", "number", name=op.f("uq_reminder_refill_id_cause_subject_number")
        ),
        comment="a reminder as it was decided; the number counts those of one cause",
    )
    op.create_index("ix_reminder_tank_id_decided_at", "reminder", ["tank_id", "decided_at"], unique=False)
    op.create_table(
        "outbox",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("message_id", sa.Text(), nullable=False),
        sa.Column("reminder_id", sa.Integer(), nullable=True),
        sa.Column("contact_id", sa.Integer(), nullable=True),
        sa.Column("channel", sa.Text(), nullable=False),
        sa.Column("address", sa.Text(), nullable=False),
        sa.Column("body", sa.Text(), nullable=False),
        sa.Column("state", sa.Text(), nullable=False),
        sa.Column("created_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("not_after", sa.DateTime(timezone=True), nullable=False),
        sa.Column("next_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("attempts", sa.Integer(), nullable=False),
        sa.Column("owner", sa.Text(), nullable=True),
        sa.Column("lease_until", sa.DateTime(timezone=True), nullable=True),
        sa.Column("done_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("error", sa.Text(), nullable=True),
        sa.CheckConstraint("channel IN ('mail', 'webhook', 'further')", name=op.f("ck_outbox_channel_known")),
        sa.CheckConstraint(
            "state IN ('waiting', 'claimed', 'sent', 'replaced', 'expired', 'failed')",
            name=op.f("ck_outbox_state_known"),
        ),
        sa.ForeignKeyConstraint(["contact_id"], ["contact.id"], name=op.f("fk_outbox_contact_id")),
        sa.ForeignKeyConstraint(["reminder_id"], ["reminder.id"], name=op.f("fk_outbox_reminder_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_outbox")),
        sa.UniqueConstraint("message_id", name=op.f("uq_outbox_message_id")),
        sa.UniqueConstraint("reminder_id", "contact_id", name=op.f("uq_outbox_reminder_id_contact_id")),
        comment="a message before it leaves; its id is the same at every attempt",
    )
    op.create_index("ix_outbox_state_next_at", "outbox", ["state", "next_at"], unique=False)
