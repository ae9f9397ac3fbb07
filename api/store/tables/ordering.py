"""How oil is ordered at a tank.

Flow     columns -> **tables** -> store
"""

import sqlalchemy as sa

from api.store.columns import Instant, PlainText
from api.store.tables.base import key, metadata

ordering = sa.Table(
    "ordering",
    metadata,
    sa.Column("id", sa.Integer, primary_key=True),
    key("tank_id", "tank.id"),
    sa.Column("version", sa.Integer, nullable=False),
    sa.Column("body", PlainText, nullable=False),
    sa.Column("created_at", Instant, nullable=False),
    sa.UniqueConstraint("tank_id", "version"),
    comment="how oil is ordered at a tank, in versions: what its household said, as JSON",
)
