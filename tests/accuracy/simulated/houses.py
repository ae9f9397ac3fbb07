"""A life as the record of a tank, the weather years that every method gets, and the methods.

Flow     life -> **record, weather years by day** -> engine, oracle, rivals as methods of the replays
"""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime
from functools import cache, partial

import numpy as np

from forecaster.backtest import Foretold, Method, Record, Window
from forecaster.burn_model import Settings
from forecaster.climate import WeatherYears
from forecaster.forecast import PATHS, Chances, draw_chances
from forecaster.pipeline import Inputs, work_out
from forecaster.weather import Weather
from tests.accuracy.data import Floats
from tests.accuracy.rivals import Rival, Seen, see
from tests.accuracy.world import Life, oracle_litres, weather_years_for

DAYS_AHEAD = 102
"""Weather days laid ahead: the longest horizon, and how far beyond it a run-dry day is looked for. [d]"""
SCENARIOS = 500
ORACLE_SAMPLES = 1000
SEED = 20260101
"""Of the chances that all forecasts share."""


@dataclass(frozen=True, slots=True, eq=False)
class SimulatedHouse:
    """One life with what every method may know of it.

    Attributes
    ----------
    name
        Of its world and number.
    life
        The truth; only the oracle sees it.
    seed
        Of the weather years and the oracle.
    """

    name: str
    life: Life
    seed: int
    _years: dict[np.datetime64, WeatherYears] = field(default_factory=dict)

    def record(self, *, receipts: bool) -> Record:
        """All that a user has of it, with or without the bills of the years before."""
        life = self.life
        inputs = Inputs(
            tank=life.tank, as_of=datetime(2000, 1, 1, tzinfo=UTC), timezone="UTC", readings=life.readings,
            deliveries=life.deliveries, receipts=life.receipts if receipts else None,
            weather=_joined(life.weather_before, life.weather), survey=life.survey,
        )  # fmt: skip
        return Record(self.name, inputs, life.date, life.burned_l)

    def years(self, start: np.datetime64) -> WeatherYears:
        """The weather years from a day on, the same for every method."""
        if start not in self._years:
            rng = np.random.default_rng([self.seed, int(start.astype(int))])
            temp, ghi = weather_years_for(
                self.life, start=start, days=DAYS_AHEAD, scenarios=SCENARIOS, rng=rng
            )
            self._years[start] = WeatherYears(start, temp, ghi, "drawn about the station's normals")
        return self._years[start]


def engine(house: SimulatedHouse, *, settings: Settings | None = None) -> Method:
    """The engine through its pipeline, as the service calls it."""
    model = settings or Settings()

    def method(window: Window) -> Foretold:
        chances = shared_chances(model.day_noise)
        inputs = replace(
            window.inputs, weather_ahead=house.years(window.today), horizon_days=DAYS_AHEAD - 1, model=model,
            chances=chances,
        )  # fmt: skip
        working = work_out(inputs, rng=np.random.default_rng(SEED))
        burned_l = np.cumsum(working.paths.burned_l, axis=1)
        return partial(_at, burned_l)

    return method


def oracle(house: SimulatedHouse) -> Method:
    """The true house from its true state."""

    def method(window: Window) -> Foretold:
        years, life = house.years(window.today), house.life
        day = int((window.today - life.date[0]).astype(int)) - 1
        litres = oracle_litres(
            life, as_of_day=day, temp_c=years.temp_c, ghi_wh_m2=years.ghi_wh_m2,
            rng=np.random.default_rng([house.seed, day]), samples=ORACLE_SAMPLES,
        )  # fmt: skip
        return partial(_at, litres)

    return method


def rivals_of(house: SimulatedHouse, rivals: Mapping[str, Rival]) -> Mapping[str, Method]:
    """Rivals as methods; what they see is brought together once an as-of day."""
    seen: dict[np.datetime64, Seen] = {}

    def look(window: Window) -> Seen:
        if window.today not in seen:
            seen[window.today] = see(window, house.years(window.today))
        return seen[window.today]

    def method(rival: Rival) -> Method:
        return lambda window: rival(look(window))

    return {name: method(rival) for name, rival in rivals.items()}


@cache
def shared_chances(day_noise: float) -> Chances:
    """The random numbers that all forecasts share."""
    return draw_chances(paths=PATHS, days=DAYS_AHEAD, day_noise=day_noise, rng=np.random.default_rng(SEED))


def _at(litres: Floats, days: int) -> Floats:
    return litres[:, days - 1]


def _joined(before: Weather, after: Weather) -> Weather:
    parts = [
        np.concatenate([getattr(before, name), getattr(after, name)])
        for name in ("date", "temp_c", "tmin_c", "tmax_c", "ghi_wh_m2")
    ]
    return Weather(*parts, after.kind)
