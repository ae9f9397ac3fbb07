"""What somebody has told while setting a tank up, before it is one.

Flow     columns -> **tables** -> store
"""

import sqlalchemy as sa

from api.store.columns import Instant, PlainText
from api.store.tables.base import metadata

setup_draft = sa.Table(
    "setup_draft",
    metadata,
    sa.Column("id", sa.Integer, primary_key=True),
    sa.Column("account_id", sa.Integer, sa.ForeignKey("account.id")),
    sa.Column("tank_id", sa.Integer, sa.ForeignKey("tank.id")),
    sa.Column("body", PlainText, nullable=False),
    sa.Column("created_at", Instant, nullable=False),
    sa.Column("changed_at", Instant, nullable=False),
    sa.Index("ix_setup_draft_account_id", "account_id"),
    sa.Index("ix_setup_draft_tank_id", "tank_id"),
    comment="answers as they were typed; at home of no account, and with a tank once they have made one",
)
