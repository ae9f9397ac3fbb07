"""Orders, reminders and their outbox, claims of the worker."""

revision = "0004"
down_revision = "0003"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Make the tables of this step."""
