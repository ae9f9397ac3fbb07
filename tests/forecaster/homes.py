"""A home that can be reckoned on paper, of any length and weather, with faults put into its readings.

The tank is that of the small house: a millimetre of oil is a litre. It burns a litre a day and half a
litre for each degree-day below 15 °C, evenly over the day; the sensor reads at 06:00 to a centimetre.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime, timedelta
from functools import lru_cache
from pathlib import Path

import numpy as np

from forecaster.climate import WeatherYears, draw_weather_years
from forecaster.deliveries import Deliveries, parse_deliveries
from forecaster.dwelling import Survey, parse_survey
from forecaster.pipeline import Inputs, Working, place_normals, work_out
from forecaster.readings import Quantity, Readings
from forecaster.tanks import Tank, parse_tank
from forecaster.weather import Weather

FOLDER = Path(__file__).parents[2] / "fixtures" / "small_house"
FROST = (7.0, 5.0, 3.0, -1.0, 1.0, 5.0, 9.0)
MILD = (9.0, 8.0, 7.0, 6.0, 8.0, 9.0, 10.0)
WARM = (17.0, 19.0, 21.0, 18.0, 20.0, 22.0, 19.0)
SENSOR_MM = 1250.0
HORIZON = 90


@lru_cache
def tank() -> Tank:
    """The tank of the small house: 1 l a millimetre, heel 50 l, safe fill 1,140 l."""
    return parse_tank((FOLDER / "tank.toml").read_bytes())


@lru_cache
def survey() -> Survey:
    """The survey of the small house, which gives its burn."""
    return parse_survey((FOLDER / "survey.toml").read_text("utf-8"))


@lru_cache(maxsize=512)
def ahead(start: np.datetime64) -> WeatherYears:
    """Weather years of the place from a day on, few and the same in every test."""
    bare = Inputs(tank=tank(), as_of=datetime(2024, 1, 1, tzinfo=UTC), survey=survey())
    return draw_weather_years(
        place_normals(bare), start=start, days=HORIZON + 1, scenarios=80, rng=np.random.default_rng(5)
    )


@dataclass(frozen=True)
class Home:
    """Daily readings of one home; ``poured`` is what went in, ``tickets`` what was entered (day: litres)."""

    days: int = 60
    week_c: tuple[float, ...] = FROST
    start_l: float = 900.0
    first: str = "2023-11-12"
    poured: Mapping[int, float] = field(default_factory=dict)
    tickets: Mapping[int, float] | None = None
    spoil: Callable[[np.ndarray], np.ndarray] = lambda ullage_mm: ullage_mm
    leak: Mapping[int, float] = field(default_factory=dict)

    def litres(self) -> np.ndarray:
        """True litres at 06:00 of each day."""
        temp = self.temp_c()
        burned = 1.0 + np.maximum(15.0 - temp, 0.0) / 2.0
        events = np.zeros(self.days)
        for day, litres in self.poured.items():
            events[day] += litres
        for day, litres in self.leak.items():
            events[day] -= litres
        return self.start_l - np.cumsum(burned) + 0.75 * burned + np.cumsum(events) - events

    def temp_c(self) -> np.ndarray:
        """Mean temperature of each day. [C]"""
        return np.resize(np.array(self.week_c), self.days)

    def as_of(self) -> datetime:
        """An hour after the last reading."""
        return datetime.fromisoformat(self.first).replace(hour=7, tzinfo=UTC) + timedelta(days=self.days - 1)

    def inputs(self, **changes: object) -> Inputs:
        """What a forecast is made from at 07:00 of the last day."""
        date = np.datetime64(self.first, "D") + np.arange(self.days)
        ullage = self.spoil(np.round((SENSOR_MM - self.litres()) / 10.0) * 10.0)
        kept = ~np.isnan(ullage)
        nan, unknown = np.full(self.days, np.nan), np.full(self.days, np.nan)
        readings = Readings(
            date + np.timedelta64(6 * 3600, "s"), np.full(self.days, Quantity.ULLAGE_MM.value), ullage, nan,
            np.full(self.days, 15.0),
        ).where(kept)  # fmt: skip
        weather = Weather(
            date[:-1], self.temp_c()[:-1], unknown[:-1], unknown[:-1], np.full(self.days - 1, 700.0)
        )
        base = Inputs(
            tank=tank(), as_of=self.as_of(), timezone="Europe/London", readings=readings, weather=weather,
            deliveries=_deliveries(date, self.poured if self.tickets is None else self.tickets),
            survey=survey(), horizon_days=HORIZON, paths=300,
        )  # fmt: skip
        changed = replace(base, **changes)  # type: ignore[arg-type]
        today = np.datetime64(changed.as_of.date(), "D")
        return changed if changed.weather_ahead is not None else replace(changed, weather_ahead=ahead(today))


def _deliveries(date: np.ndarray, tickets: Mapping[int, float]) -> Deliveries:
    rows = [f"{date[day]}T11:00:00Z,{litres:g},no,observed" for day, litres in tickets.items()]
    return parse_deliveries("\n".join(["at,litres,filled,basis", *rows]), tz="Europe/London")[0]


def work(inputs: Inputs) -> Working:
    """Work a forecast out with a fixed seed."""
    return work_out(inputs, rng=np.random.default_rng(1))


def codes(inputs: Inputs) -> tuple[str, ...]:
    """Codes of all that was found, worst first."""
    return tuple(r.code for r in work(inputs).forecast.reasons)


def last(values: object, days: int) -> Callable[[np.ndarray], np.ndarray]:
    """Readings replaced on the last days; nan leaves a reading out."""

    def spoil(ullage_mm: np.ndarray) -> np.ndarray:
        return np.concatenate([ullage_mm[:-days], np.broadcast_to(np.asarray(values, float), (days,))])

    return spoil


def stuck_for(days: int) -> Callable[[np.ndarray], np.ndarray]:
    """The same reading from so many days ago on."""
    return lambda ullage_mm: np.concatenate([ullage_mm[:-days], np.full(days, ullage_mm[-days - 1])])
