"""Answers of whoever is setting a tank up, kept from page to page."""

import sqlalchemy as sa
from alembic import op

revision = "0005"
down_revision = "0004"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Make the table of this step."""
    op.create_table(
        "setup_draft",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("account_id", sa.Integer(), nullable=True),
        sa.Column("tank_id", sa.Integer(), nullable=True),
        sa.Column("body", sa.Text(), nullable=False),
        sa.Column("created_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("changed_at", sa.DateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(["account_id"], ["account.id"], name=op.f("fk_setup_draft_account_id")),
        sa.ForeignKeyConstraint(["tank_id"], ["tank.id"], name=op.f("fk_setup_draft_tank_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_setup_draft")),
        comment="answers as they were typed; at home of no account, and with a tank once they have made one",
    )
    op.create_index("ix_setup_draft_account_id", "setup_draft", ["account_id"], unique=False)
    op.create_index("ix_setup_draft_tank_id", "setup_draft", ["tank_id"], unique=False)
