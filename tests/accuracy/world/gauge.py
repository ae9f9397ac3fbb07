"""What a level sensor shows of a tank: steps, drift, false echoes, silence, and repeats.

Flow     true ullage, air -> **readings**
Formula  shown = ullage · c(thermometer)/c(air), or c(taken for granted)/c(air);  c = 331.3 √(1 + T/273.15)
"""

from dataclasses import dataclass

import numpy as np

from forecaster.readings import Quantity, Readings
from forecaster.tanks import Tank
from tests.accuracy.world.homes import Sensor
from tests.accuracy.world.records import Days, Floats

RUN_DAYS = 5.0
"""Mean length of a run of repeats, and of silence. [d]"""
MOVES_AT = 0.75
"""A sensor that repeats itself speaks anew when the level has moved by so many steps."""


@dataclass(frozen=True, slots=True, eq=False)
class Truth:
    """The level and the air at the moments of reading, shapes (day, reading of the day)."""

    ullage_mm: Floats
    air_c: Floats
    sun: Floats


def read(
    truth: Truth, tank: Tank, sensor: Sensor, *, date: Days, rng: np.random.Generator,
    stuck_from: int | None = None, dead_from: int | None = None,
) -> Readings:  # fmt: skip
    """Read a level through a sensor.

    Parameters
    ----------
    truth
        At the hours of `Sensor.at_h`.
    tank
        As on file: step, height and air of the sensor.
    sensor
        As it truly is.
    date
        Civil days, UTC.
    rng
        Source of chance; draws do not depend on the level.
    stuck_from, dead_from
        Day from which the sensor repeats its last reading for ever, or says nothing.
    """
    days, count = truth.ullage_mm.shape
    n = days * count
    noise, spike, lost, place, jitter = (
        rng.standard_normal((3, n)),
        rng.random(n),
        rng.random(n),
        rng.random(n),
        rng.integers(0, 600, n),
    )
    stuck = _runs(days, sensor.stuck_a_year, rng)
    silent = _runs(days, sensor.silent_a_year, rng)
    reports_air = rng.random() < 0.5
    day = np.repeat(np.arange(days), count)
    if stuck_from is not None:
        stuck[stuck_from:] = True
    if dead_from is not None:
        silent[dead_from:] = True

    true = truth.ullage_mm.ravel() + sensor.offset_mm + sensor.drift_mm_per_year * day / 365.25
    air = truth.air_c.ravel()
    thermometer = air + noise[1] + sensor.sun_k * truth.sun.ravel()
    believed = thermometer if tank.sensor_assumed_air_c is None else np.full(n, tank.sensor_assumed_air_c)
    seen = true * _speed(believed) / _speed(air) + sensor.echo_sd_mm * noise[0]
    step = tank.resolution_mm
    value = np.round(seen / step) * step
    shown = np.empty(n)
    last = value[0]
    for i in range(n):
        if stuck[day[i]]:
            shown[i] = last
            continue
        if spike[i] < sensor.spikes:
            false = (
                seen[i] * 2.0 if spike[i] < 0.3 * sensor.spikes else place[i] * (tank.sensor_height_mm or 0.0)
            )
            shown[i] = max(step, np.round(false / step) * step)
            continue
        if not sensor.sticky or abs(seen[i] - last) > MOVES_AT * step:
            last = value[i]
        shown[i] = last
    at = date[day].astype("datetime64[s]") + np.round(
        np.tile(sensor.at_h, days) * 3600.0 + jitter
    ).astype("timedelta64[s]")  # fmt: skip
    kept = (lost >= sensor.dropouts) & ~silent[day]
    unknown = np.full(n, np.nan)
    air_c = np.round(thermometer) if reports_air else unknown
    return Readings(
        at, np.full(n, Quantity.ULLAGE_MM.value), np.maximum(shown, 0.0), air_c, unknown
    ).where(kept)  # fmt: skip


def _runs(days: int, a_year: float, rng: np.random.Generator) -> np.ndarray:
    """Draw on which days runs of some days are."""
    begins, lengths = rng.random(days) < a_year / 365.25, rng.geometric(1.0 / RUN_DAYS, days)
    out = np.zeros(days, bool)
    for first in np.flatnonzero(begins):
        out[first : first + lengths[first]] = True
    return out


def _speed(air_c: Floats) -> Floats:
    return np.sqrt(1.0 + air_c / 273.15)
