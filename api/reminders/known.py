"""What is known when somebody asks whether anything is to be said.

Flow     store -> **known** -> decide, words
"""

from dataclasses import dataclass
from datetime import date, datetime, timedelta
from enum import StrEnum
from zoneinfo import ZoneInfo

from forecaster.civil import civil_date
from forecaster.confidence import Forecast, ToldForecast
from forecaster.reorder import OrderSettings

OLD = timedelta(hours=36)
"""A forecast that could not be renewed for so long is not spoken of as one: two nights were missed."""


class Cause(StrEnum):
    """Why something is said, the gravest first."""

    URGENT = "urgent"
    """Look at the tank now."""
    LAST_DAY = "last_day"
    """The last day on which to order has come, or the tank cannot be seen on it."""
    LATE = "late"
    """Oil that was ordered has not come."""
    TIGHT = "tight"
    """Oil that was ordered may come too late."""
    ORDER = "order"
    """It is time to order, or it is near and the tank cannot be seen."""
    LOSS = "loss"
    """More oil leaves the tank than can be explained."""
    QUESTION = "question"
    """No date can be given until something is cleared up."""
    SILENCE_ENDED = "silence_ended"
    """A time without reminders is over."""


@dataclass(frozen=True, slots=True)
class Refill:
    """The time from one delivery to the next, with its event in the calendar.

    ``told`` is false while the event is called off; ``sequence`` counts the changes of the event.
    """

    begun_at: datetime
    earliest: date | None = None
    latest: date | None = None
    litres: float | None = None
    told: bool = False
    sequence: int = 0


@dataclass(frozen=True, slots=True)
class OpenOrder:
    """Oil that is to come: placed on, promised for, if it was."""

    name: str
    placed_on: date
    promised_for: date | None


@dataclass(frozen=True, slots=True)
class Silence:
    """A time without reminders."""

    name: str
    begins_at: datetime
    ends_at: datetime
    lifted_at: datetime | None = None

    def holds(self, now: datetime) -> bool:
        """Tell whether it holds at an instant."""
        return self.begins_at <= now < self.ends_at and (self.lifted_at is None or now < self.lifted_at)


@dataclass(frozen=True, slots=True)
class Said:
    """A reminder that was decided: of this refill, or one before it."""

    cause: Cause
    subject: str
    order_by: date | None
    decided_at: datetime
    urgent: bool
    acknowledged_at: datetime | None
    of_this_refill: bool


@dataclass(frozen=True, slots=True)
class Known:
    """Everything a decision looks at.

    Attributes
    ----------
    forecast
        The newest that is kept; None where there is none yet.
    told_last
        As-of of the newest forecast that was told; None where none ever was.
    said
        Reminders of this refill, and all of the last week.
    """

    now: datetime
    zone: ZoneInfo
    forecast: Forecast | None
    told_last: datetime | None
    settings: OrderSettings
    orders: tuple[OpenOrder, ...] = ()
    silences: tuple[Silence, ...] = ()
    said: tuple[Said, ...] = ()

    @property
    def today(self) -> date:
        """The civil day in the tank's zone."""
        return civil_date(self.now, self.zone)

    @property
    def is_fresh(self) -> bool:
        """Whether the forecast is young enough to be spoken of."""
        return self.forecast is not None and self.now - self.forecast.as_of <= OLD

    @property
    def seen(self) -> ToldForecast | None:
        """The forecast whose dates may be told; None where there is none such today."""
        return self.forecast if isinstance(self.forecast, ToldForecast) and self.is_fresh else None

    @property
    def order_by(self) -> date | None:
        """The day by which to order: of the forecast, or of the appointment made when it was last told."""
        if self.forecast is None:
            return None
        kept = self.forecast.appointment
        days = [kept.order_by] if kept is not None else []
        if self.seen is not None and self.seen.order.latest is not None:
            days.append(self.seen.order.latest)
        return min(days, default=None)
