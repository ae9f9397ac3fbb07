"""What a rival sees of a tank at an as-of instant, day by day, in the form of the replays on real data.

Flow     window, weather years -> **seen** -> rivals
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from forecaster.anomalies import held_back, is_pending
from forecaster.backtest import Window
from forecaster.climate import WeatherYears, normal_day
from forecaster.deliveries import put_where_seen
from forecaster.dwelling import BurnPrior
from forecaster.fuel import to_litres_at_15c
from forecaster.past_weather import complete_weather
from forecaster.pipeline import Behind, place_normals
from forecaster.pipeline.behind import look_behind
from forecaster.weather import Weather
from tests.accuracy.baselines import BASE_C, degree_days
from tests.accuracy.data import Floats
from tests.accuracy.replay import Window as Days

Samples = Callable[[int], Floats]
"""From a horizon in days to samples of the litres burned over it, shape () or (sample,). [L]"""
NOON = np.timedelta64(12, "h")


@dataclass(frozen=True, slots=True, eq=False)
class Past:
    """Litres burned over a stretch of days, with its degree-days (base 15.5 C)."""

    litres: float
    degree_days: float
    days: float

    @property
    def rate_l(self) -> float:
        """Litres a day. [L/d]"""
        return self.litres / self.days


@dataclass(frozen=True, slots=True, eq=False)
class Seen:
    """All that a rival may use.

    Attributes
    ----------
    days
        Levels at 15 C, tickets and past weather from the day of the first reading on, by civil day; a
        level belongs to the midnight that is nearest. None where no level is trusted.
    prior
        What the survey says, through the engine's own arithmetic.
    receipts
        What was burned between the first and the last receipt; None without two.
    surveyed
        A year as the survey has it, in the place's normal weather.
    ahead
        The weather years: (scenario, day).
    start
        First day ahead.
    """

    days: Days | None
    prior: BurnPrior
    receipts: Past | None
    surveyed: Past
    ahead: WeatherYears
    start: np.datetime64

    @property
    def history_days(self) -> int:
        """Days seen. [d]"""
        return len(self.days.date) if self.days is not None else 0

    def weather(self, days: int) -> Weather:
        """The weather years' first days, arrays of shape (scenario, day)."""
        temp, ghi = self.ahead.temp_c[:, :days], self.ahead.ghi_wh_m2[:, :days]
        unknown = np.full(temp.shape, np.nan)
        return Weather(self.start + np.arange(days), temp, unknown, unknown, ghi)


def see(window: Window, ahead: WeatherYears) -> Seen:
    """Bring what a window holds into days."""
    known = window.inputs
    normals = place_normals(known)
    behind = look_behind(known, normals, today=window.today)
    prior = behind.house.prior
    year = np.arange(window.today, window.today + 365, dtype="datetime64[D]")
    temp_c, _ = normal_day(normals, year)
    heating = float(np.logaddexp(0.0, prior.base_temperature_c - temp_c).sum())
    surveyed = Past(
        365.0 * prior.base_l_per_day + prior.slope_l_per_kday * heating,
        float(degree_days(temp_c, BASE_C).sum()),
        365.0,
    )
    receipts = None
    given = known.receipts
    if given is not None and len(given.date) >= 2 and given.date[-1] > given.date[0]:
        span = complete_weather(known.weather, normals, first=given.date[0], today=given.date[-1])
        receipts = Past(
            float(given.litres[1:].sum()),
            float(degree_days(span.temp_c[:-1], BASE_C).sum()),
            float(len(span.date) - 1),
        )
    return Seen(_by_day(behind, window), prior, receipts, surveyed, ahead, window.today)


def _by_day(behind: Behind, window: Window) -> Days | None:
    used = behind.levels.where(behind.levels.trusted() & ~held_back(behind.levels, behind.rises))
    used = used.where(~used.censored)
    if not len(used):
        return None
    tank = window.inputs.tank
    tickets = put_where_seen(behind.deliveries, behind.tickets)
    rises = [r for r in behind.rises if not is_pending(r, behind.levels)]
    at = np.concatenate([tickets.at, np.array([r.at for r in rises], "datetime64[s]")])
    signed = np.where(tickets.removed, -tickets.litres, tickets.litres)
    added = np.concatenate([signed, np.array([r.litres for r in rises])])

    level = to_litres_at_15c(used.litres, used.oil_c, tank.fuel.density_15c)
    adjusted = level - np.array([added[at <= t].sum() for t in used.at])
    # the midnight nearest to a reading, as the index of the day that it ends
    ends = behind.midnights[1:]
    first = int(np.searchsorted(ends, used.at[0] - NOON))
    index = np.searchsorted(ends, used.at - NOON) - first
    days = int(index.max()) + 1
    count = np.bincount(index, minlength=days)
    whole = np.where(count > 0, np.bincount(index, adjusted, days) / np.maximum(count, 1), np.nan)
    day_of = np.searchsorted(ends, at, side="left") - first
    ticket = np.bincount(np.clip(day_of, 0, days - 1), added, days) if len(at) else np.zeros(days)
    past = behind.past
    stop = first + days
    unknown = np.full(days, np.nan)
    weather = Weather(
        past.date[first:stop], past.temp_c[first:stop], unknown, unknown, past.ghi_wh_m2[first:stop]
    )
    house = behind.house
    return Days(weather.date[-1], weather, whole + np.cumsum(ticket), ticket, house.latitude, house.longitude)
