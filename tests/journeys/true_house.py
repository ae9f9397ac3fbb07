"""An invented house as it truly is: its weather, what it burns, its tank, and what its sensor sends.

The burn is that of the invented valley's thermal simulator, which shares no equation with the engine.

Flow     seed, cold snaps, stays -> hourly weather and burn -> **tank, hour by hour** -> readings
"""

from dataclasses import dataclass, field, replace
from datetime import UTC, datetime, timedelta

import numpy as np

from api.sources.valley import LATITUDE, LONGITUDE
from api.sources.valley.gauge import oil_temperature_c
from api.sources.valley.home import simulate_homes
from api.sources.valley.household import Stay
from api.sources.valley.houses import OLD_FORGE
from api.sources.valley.sky import Floats, Sky, simulate_sky
from forecaster.fuel import KEROSENE, to_bulk_litres, to_litres_at_15c

SETTLING = timedelta(days=40)
"""The house is lived in for so long before anybody looks."""
SENSOR_MM, HEIGHT_MM, HEEL_MM, STEP_MM = 1270.0, 1200.0, 50.0, 10.0
AREA_MM2 = 1600.0 * 950.0
"""Floor of the tank in its file."""
NOISE_MM = 2.5
OUTLOOK_SD_C = 0.6
"""Error of the weather foretold, for each day ahead."""


@dataclass(frozen=True)
class Cold:
    """Days colder than they would have been: the first, the day after the last, by how much. [C]"""

    first: datetime
    end: datetime
    by_c: float


@dataclass
class TrueHouse:
    """The house, with its tank's level moved on by who lives in it.

    Attributes
    ----------
    litres_15c
        In the tank now. [L at 15 C]
    widths
        True floor of the tank over that of its file.
    lowest_l, dry_at
        The lowest level ever, and when the boiler stopped; None if it never did.
    """

    start: datetime
    end: datetime
    litres_15c: float
    seed: int = 5
    cold: tuple[Cold, ...] = ()
    stays: tuple[Stay, ...] = ()
    widths: float = 1.0
    lowest_l: float = field(default=np.inf, init=False)
    dry_at: datetime | None = field(default=None, init=False)

    def __post_init__(self) -> None:
        self.first = (self.start - SETTLING).replace(hour=0)
        hours = np.arange(_hour(self.first), _hour((self.end + timedelta(days=12)).replace(hour=0)))
        drawn = simulate_sky(
            hours, latitude=LATITUDE, longitude=LONGITUDE, rng=np.random.default_rng([self.seed, 0])
        )
        self.sky = self._chill(drawn)
        home = replace(OLD_FORGE.home, stays=self.stays)
        burn = simulate_homes(
            [home], self.sky, utc_offset_h=np.zeros(len(hours)), rngs=[np.random.default_rng([self.seed, 1])]
        )
        self.burn_15c: Floats = burn.litres_15c[0]
        self.oil_c = oil_temperature_c(self.sky, colder_c=0.0, lag_days=2.8)
        self.rng = np.random.default_rng([self.seed, 2])

    def _chill(self, sky: Sky) -> Sky:
        temp_c = sky.temp_c.copy()
        for snap in self.cold:
            temp_c[(sky.at >= _hour(snap.first)) & (sky.at < _hour(snap.end))] -= snap.by_c
        return replace(sky, temp_c=temp_c)

    def index(self, at: datetime) -> int:
        """The hour of an instant, counted from the first."""
        return int((at - self.first) / timedelta(hours=1))

    @property
    def heel_l(self) -> float:
        """What is left when the boiler stops. [L]"""
        return self.widths * AREA_MM2 * HEEL_MM * 1e-6

    @property
    def safe_l(self) -> float:
        """The most that may be in the true tank. [L]"""
        return 0.95 * self.widths * AREA_MM2 * HEIGHT_MM * 1e-6

    def litres_at(self, at: datetime) -> float:
        """What is in the tank, as it stands there. [L]"""
        return float(to_bulk_litres(self.litres_15c, self.oil_c[self.index(at)], KEROSENE.density_15c))

    def burn_until(self, now: datetime, until: datetime, *, lost_l_per_day: float = 0.0) -> None:
        """Burn what the house wants from one instant to another; at the heel the boiler stops."""
        for hour in range(self.index(now), self.index(until)):
            at = self.first + timedelta(hours=hour)
            heel_15c = float(to_litres_at_15c(self.heel_l, self.oil_c[hour], KEROSENE.density_15c))
            left = self.litres_15c - lost_l_per_day / 24.0
            if left <= heel_15c + self.burn_15c[hour]:
                self.dry_at = self.dry_at or at
            else:
                left -= float(self.burn_15c[hour])
            self.litres_15c = left
            self.lowest_l = min(self.lowest_l, self.litres_at(at))

    def pour(self, litres: float, at: datetime) -> None:
        """Fill in oil, as the meter of the tanker has it."""
        assert self.litres_at(at) + litres <= self.safe_l, "the driver would not fill in so much"
        self.litres_15c += float(to_litres_at_15c(litres, self.oil_c[self.index(at)], KEROSENE.density_15c))

    def ullage_mm(self, at: datetime) -> float:
        """What the sensor sends. [mm]"""
        dip = self.litres_at(at) / (self.widths * AREA_MM2 * 1e-6)
        return round((SENSOR_MM - dip + NOISE_MM * self.rng.standard_normal()) / STEP_MM) * STEP_MM

    def weather_answer(self, question: dict[str, str], now: datetime) -> dict[str, object]:
        """Answer as the weather service does: days past as they were, days ahead as they are foretold."""
        midnight = now.replace(hour=0, minute=0, second=0, microsecond=0)
        first = self.index(midnight) - 24 * int(question["past_days"])
        hours = np.arange(max(first, 0), self.index(midnight) + 24 * int(question["forecast_days"]))
        ahead = np.clip((hours - self.index(now)) / 24.0, 0.0, None)
        wrong = OUTLOOK_SD_C * np.sqrt(ahead) * np.random.default_rng(self.index(now)).standard_normal()
        return {
            "latitude": float(question["latitude"]),
            "longitude": float(question["longitude"]),
            "generationtime_ms": 0.05,
            "utc_offset_seconds": 0,
            "timezone": "GMT",
            "timezone_abbreviation": "GMT",
            "elevation": 130.0,
            "hourly_units": {"time": "unixtime", "temperature_2m": "°C", "shortwave_radiation": "W/m²"},
            "hourly": {
                "time": [int((self.first + timedelta(hours=int(h))).timestamp()) for h in hours],
                "temperature_2m": np.round(self.sky.temp_c[hours] + wrong, 1).tolist(),
                "shortwave_radiation": np.round(self.sky.ghi_w_m2[hours], 0).tolist(),
            },
        }


def _hour(at: datetime) -> np.datetime64:
    return np.datetime64(at.astimezone(UTC).replace(tzinfo=None), "h")
