"""All that the finders look at.

Flow     every stage of the pipeline -> **evidence** -> finders
"""

from dataclasses import dataclass
from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np
import numpy.typing as npt

from forecaster.anomalies.watch import Departure, Watch, find_departure
from forecaster.burn_model import Drivers, Posterior, Settings
from forecaster.burn_model.expected import expected_burn
from forecaster.civil import civil_date, to_datetime
from forecaster.deliveries import Deliveries, Rise, TicketCheck
from forecaster.dwelling import BurnPrior
from forecaster.levels import Levels
from forecaster.past_weather import PastWeather
from forecaster.phrases import day_text
from forecaster.tanks import Tank
from forecaster.weather import Outlook

Floats = npt.NDArray[np.float64]
Bools = npt.NDArray[np.bool_]

LOOK_BACK = timedelta(days=7)
"""A loss or a missing rise is told for so long after it was confirmed."""
GATED, STUCK = 2, 3
"""Verdicts of the burn model on a level that it did not use."""


@dataclass(frozen=True, slots=True, eq=False)
class Evidence:
    """All that the finders look at."""

    as_of: datetime
    zone: ZoneInfo
    tank: Tank
    levels: Levels
    deliveries: Deliveries
    rises: tuple[Rise, ...]
    tickets: tuple[TicketCheck, ...]
    posterior: Posterior
    past: PastWeather
    drivers: Drivers
    midnights: npt.NDArray[np.datetime64]
    prior: BurnPrior
    now_l: Floats
    settings: Settings
    outlook: Outlook | None = None
    watch: Watch | None = None

    def trusted(self) -> Bools:
        """Which levels are not set aside; shape (n,)."""
        return self.levels.trusted()

    def held_back(self) -> Bools:
        """Levels that no second one has confirmed; shape (n,)."""
        return held_back(self.levels, self.rises)

    def verdicts(self) -> npt.NDArray[np.int64]:
        """What the burn model made of each level, 0 where it never saw it; shape (n,)."""
        out = np.zeros(len(self.levels), np.int64)
        seen = self.trusted() & ~self.held_back()
        if seen.any():
            out[seen] = self.posterior.verdicts
        return out

    def heard(self) -> Bools:
        """Levels that tell something, be it that something is wrong: no lone one far off; shape (n,)."""
        verdicts = self.verdicts()
        heard = verdicts != 0
        seen = np.flatnonzero(heard)
        if len(seen) and verdicts[seen[-1]] == GATED and GATED not in verdicts[seen[-2:-1]]:
            heard[seen[-1]] = False
        return np.asarray(heard)

    def believed(self) -> Bools:
        """Levels that the burn model saw and followed; shape (n,)."""
        verdicts = self.verdicts()
        return np.asarray((verdicts != 0) & (verdicts != GATED) & (verdicts != STUCK))

    def burn_between(self, start: np.datetime64, end: np.datetime64) -> tuple[float, float]:
        """Litres that should have been burned between two instants, and their sd. [L]."""
        return expected_burn(
            self.posterior, self.drivers, self.midnights, start=start, end=end, settings=self.settings
        )

    @property
    def more_used(self) -> Departure | None:
        """A use above what weather and habits explain."""
        return find_departure(self.watch, sign=1) if self.watch is not None else None

    @property
    def less_used(self) -> Departure | None:
        """A use below what weather and habits explain."""
        return find_departure(self.watch, sign=-1) if self.watch is not None else None

    def since(self, at: np.datetime64) -> float:
        """Days from an instant to as-of."""
        return float((self.posterior.at - at) / np.timedelta64(1, "s")) / 86_400.0

    def is_recent(self, at: np.datetime64) -> bool:
        """Whether an instant is new enough to be told of."""
        return self.since(at) <= LOOK_BACK / timedelta(days=1)

    def when(self, at: np.datetime64) -> str:
        """An instant in words."""
        local = to_datetime(at).astimezone(self.zone)
        return f"{self.day(at)} {local:%H:%M}"

    def day(self, at: np.datetime64) -> str:
        """The civil day of an instant in words, with the year when it is another."""
        day = civil_date(to_datetime(at), self.zone)
        return day_text(day, year=day.year != civil_date(self.as_of, self.zone).year)


def is_pending(rise: Rise, levels: Levels) -> bool:
    """Whether only the newest level shows a rise: nothing later bears it out or speaks against it."""
    trusted = levels.at[levels.trusted()]
    return not rise.confirmed and len(trusted) > 0 and bool(trusted[-1] <= rise.after)


def held_back(levels: Levels, rises: tuple[Rise, ...]) -> Bools:
    """Levels from an unexplained rise on, while only one of them shows it; shape (n,).

    One level far above the rest is an error of the sensor as often as a delivery, and believing it
    would move the date later.
    """
    held = np.zeros(len(levels), bool)
    for rise in rises:
        if is_pending(rise, levels):
            held |= levels.at >= rise.after
    return np.asarray(held & levels.trusted())
