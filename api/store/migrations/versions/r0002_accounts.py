"""Accounts, keys, sessions, and who stands in which relation to which tank."""

revision = "0002"
down_revision = "0001"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Make the tables of this step."""
