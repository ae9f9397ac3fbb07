"""What the doors in keep besides readings: mappings, letters that could not be read, sources."""

revision = "0003"
down_revision = "0002"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Make the tables of this step."""
