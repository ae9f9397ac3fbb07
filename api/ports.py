"""What the service does not own, as protocols: so that a test can put something else there.

Flow     **ports** <- use cases; wiring chooses what stands behind each
"""

from dataclasses import dataclass
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Protocol

if TYPE_CHECKING:
    from forecaster.weather import Weather


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


@dataclass(frozen=True, slots=True)
class Place:
    """Where weather is asked for: degrees, rounded to a tenth before they get here, and the zone of its days."""

    latitude: float
    longitude: float
    zone: str


class WeatherService(Protocol):
    """Tells recent and coming weather."""

    def weather_of(self, place: Place, *, past_days: int) -> "Weather":
        """Give the daily weather of a place: so many days past, today, and some days ahead."""
        ...
