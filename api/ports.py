"""What the service does not own, as protocols: so that a test can put something else there.

Flow     **ports** <- use cases; wiring chooses what stands behind each
"""

from datetime import UTC, datetime
from typing import Protocol


class Clock(Protocol):
    """Tells the time; the only way any part of the service learns it."""

    def now(self) -> datetime:
        """Tell the present instant, in UTC with its offset."""
        ...


class SystemClock:
    """The machine's own clock."""

    def now(self) -> datetime:
        """Tell the present instant, in UTC with its offset."""
        return datetime.now(UTC)
