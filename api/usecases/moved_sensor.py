"""Readings under one height of the sensor, though it was moved in between.

A sensor that is mounted higher reads more for the same oil. What it read before a move is put as it
would have read from its present place, so that a move costs nothing of what was learnt. Where anything
else of the tank was changed, older readings are of another tank and are left out.

Flow     store: versions of the description, readings -> **readings as from the present place** -> forecast
Formula  ullage' = ullage + present height − height then
"""

import tomllib
from collections.abc import Iterator
from datetime import datetime, timedelta
from typing import Any

import numpy as np

from api.store import Session
from api.store.readings import load_readings
from api.store.tanks import StoredTank, TankVersion, list_tank_versions
from api.usecases.record_readings import describe
from forecaster.readings import Quantity, Readings
from forecaster.screening.place import NO_ECHO_VALUES
from forecaster.tanks import Tank

HEIGHT_KEYS = ("sensor_height_mm", "gauge_l", "ullage_mm")
"""Keys of tank.toml that say where the sensor sits."""


def load_readings_as_now(session: Session, tank: StoredTank, *, as_of: datetime) -> Readings | None:
    """Load the readings of a tank's present shape, as the sensor would have read them from where it is now.

    Returns
    -------
    Readings or None
        None where there is none.

    Notes
    -----
    From before a move readings in the dead band are left out: from another height they bound another level.
    """
    versions = list_tank_versions(session, tank.id, as_of=as_of)
    parts = []
    for version, until in _of_one_shape(versions, as_of):
        read = load_readings(session, tank.id, since=version.valid_from, until=until)
        if read is not None:
            parts.append(_moved(read, describe(version.toml), describe(versions[0].toml)))
    return _join(parts[::-1]) if parts else None


def _of_one_shape(
    versions: tuple[TankVersion, ...], as_of: datetime
) -> Iterator[tuple[TankVersion, datetime]]:
    """Go back through the versions that differ in the sensor's height alone, each with its last instant."""
    until = as_of
    for version in versions:
        if version is not versions[0]:
            if _but_height(version.toml) != _but_height(versions[0].toml):
                return
            if describe(version.toml).sensor_height_mm is None:
                return
        yield version, until
        until = version.valid_from - timedelta(seconds=1)


def _but_height(toml: str) -> dict[str, Any]:
    return {name: value for name, value in tomllib.loads(toml).items() if name not in HEIGHT_KEYS}


def _moved(readings: Readings, then: Tank, now: Tank) -> Readings:
    if then.sensor_height_mm == now.sensor_height_mm or then.sensor_height_mm is None:
        return readings
    is_ullage = readings.quantity == Quantity.ULLAGE_MM
    if now.sensor_height_mm is None:
        return readings.where(~is_ullage)
    blind = is_ullage & (readings.value <= then.dead_band_mm) & (readings.value > 0.0)
    kept = readings.where(~blind)
    is_level = (kept.quantity == Quantity.ULLAGE_MM) & ~np.isin(kept.value, (0.0, *NO_ECHO_VALUES))
    shift_mm = now.sensor_height_mm - then.sensor_height_mm
    value = np.where(is_level, np.maximum(kept.value + shift_mm, 0.0), kept.value)
    return Readings(kept.at, kept.quantity, value, kept.air_c, kept.oil_c, kept.step)


def _join(parts: list[Readings]) -> Readings:
    if len(parts) == 1:
        return parts[0]
    steps = None
    if any(part.step is not None for part in parts):
        steps = np.concatenate([np.full(len(p), np.nan) if p.step is None else p.step for p in parts])
    return Readings(
        np.concatenate([part.at for part in parts]),
        np.concatenate([part.quantity for part in parts]),
        np.concatenate([part.value for part in parts]),
        np.concatenate([part.air_c for part in parts]),
        np.concatenate([part.oil_c for part in parts]),
        steps,
    )
