"""How oil is ordered at a tank: lead time, smallest delivery, prices, budget."""

import sqlalchemy as sa
from alembic import op

revision = "0006"
down_revision = "0005"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Make the table of this step."""
    op.create_table(
        "ordering",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("tank_id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("body", sa.Text(), nullable=False),
        sa.Column("created_at", sa.DateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(["tank_id"], ["tank.id"], name=op.f("fk_ordering_tank_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_ordering")),
        sa.UniqueConstraint("tank_id", "version", name=op.f("uq_ordering_tank_id_version")),
        comment="how oil is ordered at a tank, in versions: what its household said, as JSON",
    )
