"""Orders, reminders and their outbox, claims of the worker.

An order is a row and the history of its changes. A reminder is decided and written together with the
messages that carry it; they leave afterwards. A refill is the time from one delivery to the next: it
has one event in the calendar, whose uid never changes and whose sequence only rises.

Flow     columns -> **tables** -> store
"""

import sqlalchemy as sa

from api.store.columns import Finite, Instant, PlainText
from api.store.tables.base import key, metadata, one_of, public_id, unique_where

ORDER_STATES = ("advised", "placed", "promised", "late", "part", "delivered", "refused", "cancelled")
CHANNELS = ("mail", "webhook", "further")
MESSAGE_STATES = ("waiting", "claimed", "sent", "replaced", "expired", "failed")

job_claim = sa.Table(
    "job_claim",
    metadata,
    sa.Column("job", PlainText, primary_key=True),
    sa.Column("slot", PlainText, primary_key=True),
    sa.Column("owner", PlainText, nullable=False),
    sa.Column("claimed_at", Instant, nullable=False),
    sa.Column("lease_until", Instant, nullable=False),
    sa.Column("finished_at", Instant),
    sa.Column("attempts", sa.Integer, nullable=False),
    sa.CheckConstraint("attempts >= 1", name="attempts_counted"),
    comment="one run of a job: who has it; after the lease another may take over what was not finished",
)

pulse = sa.Table(
    "pulse",
    metadata,
    sa.Column("name", PlainText, primary_key=True),
    sa.Column("at", Instant, nullable=False),
    comment="the last instant at which something was seen to be in order, such as the clock",
)

notice = sa.Table(
    "notice",
    metadata,
    sa.Column("id", sa.Integer, primary_key=True),
    sa.Column("cause", PlainText, nullable=False),
    sa.Column("words", PlainText, nullable=False),
    sa.Column("since", Instant, nullable=False),
    sa.Column("ended_at", Instant),
    comment="one trouble of the service told to the person who runs it, once while it lasts",
)
unique_where("uq_notice_cause", notice.c.cause, where=notice.c.ended_at.is_(None))

refit = sa.Table(
    "refit",
    metadata,
    key("tank_id", "tank.id", primary_key=True),
    sa.Column("done_at", Instant),
    sa.Column("failed_at", Instant),
    sa.Column("failures", sa.Integer, nullable=False),
    sa.Column("error", PlainText),
    comment="how a tank's last nightly renewal went; failures in a row, and the name of the last error",
)

oil_order = sa.Table(
    "oil_order",
    metadata,
    sa.Column("id", sa.Integer, primary_key=True),
    public_id(),
    key("tank_id", "tank.id"),
    sa.Column("form_key", PlainText),
    sa.Column("state", PlainText, nullable=False),
    sa.Column("version", sa.Integer, nullable=False),
    sa.Column("litres", Finite),
    sa.Column("fill", sa.Boolean, nullable=False),
    sa.Column("advised_l", Finite),
    sa.Column("price_per_l", Finite),
    sa.Column("supplier", PlainText),
    sa.Column("placed_on", sa.Date),
    sa.Column("promised_for", sa.Date),
    sa.Column("delivered_on", sa.Date),
    sa.Column("delivered_l", Finite, nullable=False),
    sa.Column("created_at", Instant, nullable=False),
    sa.UniqueConstraint("tank_id", "form_key"),
    one_of("state", ORDER_STATES),
    sa.CheckConstraint("litres > 0 AND litres <= 100000", name="litres_bounded"),
    comment="an order of oil: litres, or as much as fits (fill); delivered_l adds up its parts",
)

order_change = sa.Table(
    "order_change",
    metadata,
    sa.Column("id", sa.Integer, primary_key=True),
    key("order_id", "oil_order.id"),
    sa.Column("version", sa.Integer, nullable=False),
    sa.Column("at", Instant, nullable=False),
    sa.Column("state", PlainText, nullable=False),
    sa.Column("promised_for", sa.Date),
    sa.Column("litres", Finite),
    sa.Column("note", PlainText, nullable=False),
    sa.UniqueConstraint("order_id", "version"),
    comment="one change of an order, kept as it was",
)

refill = sa.Table(
    "refill",
    metadata,
    sa.Column("id", sa.Integer, primary_key=True),
    key("tank_id", "tank.id"),
    sa.Column("uid", PlainText, nullable=False, unique=True),
    sa.Column("begun_at", Instant, nullable=False),
    sa.Column("ended_at", Instant),
    sa.Column("earliest", sa.Date),
    sa.Column("latest", sa.Date),
    sa.Column("litres", Finite),
    sa.Column("told", sa.Boolean, nullable=False),
    sa.Column("sequence", sa.Integer, nullable=False),
    sa.Column("changed_at", Instant, nullable=False),
    sa.Index("ix_refill_tank_id_begun_at", "tank_id", "begun_at"),
    comment="from one delivery to the next, and its event in the calendar: told, or called off",
)
unique_where("uq_refill_tank_id", refill.c.tank_id, where=refill.c.ended_at.is_(None))

reminder = sa.Table(
    "reminder",
    metadata,
    sa.Column("id", sa.Integer, primary_key=True),
    public_id(),
    key("tank_id", "tank.id"),
    key("refill_id", "refill.id"),
    sa.Column("cause", PlainText, nullable=False),
    sa.Column("subject", PlainText, nullable=False),
    sa.Column("number", sa.Integer, nullable=False),
    sa.Column("urgent", sa.Boolean, nullable=False),
    sa.Column("order_by", sa.Date),
    sa.Column("decided_at", Instant, nullable=False),
    sa.Column("not_after", Instant, nullable=False),
    sa.Column("acknowledged_at", Instant),
    sa.Column("replaced_at", Instant),
    sa.Column("body", PlainText, nullable=False),
    sa.UniqueConstraint("refill_id", "cause", "subject", "number"),
    sa.Index("ix_reminder_tank_id_decided_at", "tank_id", "decided_at"),
    comment="a reminder as it was decided; the number counts those of one cause",
)

contact = sa.Table(
    "contact",
    metadata,
    sa.Column("id", sa.Integer, primary_key=True),
    public_id(),
    key("tank_id", "tank.id"),
    sa.Column("channel", PlainText, nullable=False),
    sa.Column("address", PlainText, nullable=False),
    sa.Column("second", sa.Boolean, nullable=False),
    sa.Column("secret", PlainText),
    sa.Column("earlier_secret", PlainText),
    sa.Column("earlier_until", Instant),
    sa.Column("token_hash", PlainText, unique=True),
    sa.Column("asked_at", Instant),
    sa.Column("verified_at", Instant),
    sa.Column("ended_at", Instant),
    sa.Column("ended_why", PlainText),
    sa.Column("failing_since", Instant),
    sa.Column("created_at", Instant, nullable=False),
    sa.UniqueConstraint("tank_id", "channel", "address"),
    one_of("channel", CHANNELS),
    comment="a way to reach somebody, used once it is confirmed; a second person hears what nobody answers",
)

outbox = sa.Table(
    "outbox",
    metadata,
    sa.Column("id", sa.Integer, primary_key=True),
    sa.Column("message_id", PlainText, nullable=False, unique=True),
    sa.Column("reminder_id", sa.Integer, sa.ForeignKey("reminder.id")),
    sa.Column("contact_id", sa.Integer, sa.ForeignKey("contact.id")),
    sa.Column("channel", PlainText, nullable=False),
    sa.Column("address", PlainText, nullable=False),
    sa.Column("body", PlainText, nullable=False),
    sa.Column("state", PlainText, nullable=False),
    sa.Column("created_at", Instant, nullable=False),
    sa.Column("not_after", Instant, nullable=False),
    sa.Column("next_at", Instant, nullable=False),
    sa.Column("attempts", sa.Integer, nullable=False),
    sa.Column("owner", PlainText),
    sa.Column("lease_until", Instant),
    sa.Column("done_at", Instant),
    sa.Column("error", PlainText),
    one_of("channel", CHANNELS),
    one_of("state", MESSAGE_STATES),
    sa.UniqueConstraint("reminder_id", "contact_id"),
    sa.Index("ix_outbox_state_next_at", "state", "next_at"),
    comment="a message before it leaves; its id is the same at every attempt",
)

silence = sa.Table(
    "silence",
    metadata,
    sa.Column("id", sa.Integer, primary_key=True),
    public_id(),
    key("tank_id", "tank.id"),
    sa.Column("begins_at", Instant, nullable=False),
    sa.Column("ends_at", Instant, nullable=False),
    sa.Column("lifted_at", Instant),
    sa.Column("created_at", Instant, nullable=False),
    sa.CheckConstraint("ends_at > begins_at", name="ends_after"),
    comment="a time without reminders; it ends by itself, and the latest order date breaks through",
)

calendar_feed = sa.Table(
    "calendar_feed",
    metadata,
    key("tank_id", "tank.id", primary_key=True),
    sa.Column("token_hash", PlainText, nullable=False, unique=True),
    sa.Column("created_at", Instant, nullable=False),
    comment="the address under which a tank's calendar is read; only its hash is kept",
)
