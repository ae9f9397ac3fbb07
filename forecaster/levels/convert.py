"""Readings to litres, each with what is known of its error.

Flow     readings, flags -> **dip, litres, sd** -> deliveries, burn model
"""

from dataclasses import dataclass, fields

import numpy as np
import numpy.typing as npt

from forecaster.levels.air import PROBE_SD_K, AirAt, headspace_air, oil_temperature_c, speed_of_sound_m_per_s
from forecaster.readings import Quantity, Readings
from forecaster.screening import CENSORED, SET_ASIDE, Flag
from forecaster.screening.place import dip_as_read, edge_tolerance_mm, outside_flags, span_of
from forecaster.tanks import Tank
from forecaster.units import MM_PER_CM, ZERO_CELSIUS_K, Floats

SENSOR_FLOOR_MM = 2.0
"""No level is known better than a careful dip by hand. [mm]
(accounting tolerance of a hand dip, HMRC guidance HCOTEG152790)"""

Bools = npt.NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class Levels:
    """Levels of one tank in time order; each array has shape (n,).

    Attributes
    ----------
    at
        Instants, UTC, datetime64[s].
    dip_mm
        Depth of the oil; nan where the reading lies outside the tank or there was no echo. [mm]
    litres
        Bulk litres at the oil's own temperature, heel included. [l]
    sd_l
        Standard deviation from reading to reading: step, sensor floor and air. [l]
    litres_per_cm
        At that height. [l/cm]
    flags
        Of `Flag`.
    oil_c
        Measured, else estimated. [C]
    censored
        True where the level is "at least" ``litres``.
    raw
        The value as read, in the reading's own quantity: a stuck sensor repeats it exactly.
    step_l
        Litres of one step of the sensor. [l]
    table_sd_l
        Standard deviation of the tank's shape, which all levels share. [l]
    by_person
        True where a person read it, off a stick or a gauge.
    """

    at: npt.NDArray[np.datetime64]
    dip_mm: Floats
    litres: Floats
    sd_l: Floats
    litres_per_cm: Floats
    flags: npt.NDArray[np.int64]
    oil_c: Floats
    censored: Bools
    raw: Floats
    step_l: Floats
    table_sd_l: Floats
    by_person: Bools

    def __len__(self) -> int:
        return len(self.at)

    def trusted(self) -> Bools:
        """Which levels are not set aside, lower bounds included; shape (n,)."""
        return np.asarray(((self.flags & SET_ASIDE) == 0) & np.isfinite(self.litres))

    def repeats(self) -> Bools:
        """Which trusted levels repeat the raw value of the trusted one before; shape (n,)."""
        kept = np.flatnonzero(self.trusted())
        repeats = np.zeros(len(self), dtype=bool)
        repeats[kept[1:]] = self.raw[kept[1:]] == self.raw[kept[:-1]]
        return repeats

    def where(self, mask: Bools | npt.NDArray[np.intp]) -> "Levels":
        """Keep only the levels under a mask, shape (n,), or those at the positions given."""
        return Levels(**{f.name: getattr(self, f.name)[mask] for f in fields(self)})


def to_levels(
    readings: Readings,
    tank: Tank,
    *,
    flags: npt.NDArray[np.int64],
    air_at: AirAt | None = None,
) -> Levels:
    r"""Turn readings into litres.

    Parameters
    ----------
    readings : Readings
        Sorted by time, shape (n,).
    tank : Tank
        In which they were taken.
    flags : int array, shape (n,)
        From `screen_readings`.
    air_at : callable, optional
        Outdoor air at instants, where a reading carries none. [C]

    Returns
    -------
    Levels
        One for each reading, those set aside included.

    Raises
    ------
    TankError
        If there are ullages and the tank's file gives no sensor height.

    Notes
    -----
    Only ullages of a sensor that takes an air temperature for granted (``sensor_assumed_air_c``) are
    corrected; one that compensates itself still errs by 2 K of air. A level that seems outside the
    tank by no more than two steps and 2 % of the distance is at its edge; one further outside is
    flagged. In the dead band, litres are those at its end.

    Examples
    --------
    >>> from forecaster.fuel import KEROSENE
    >>> from forecaster.readings import parse_readings
    >>> from forecaster.tanks.upright import UprightBox
    >>> box = UprightBox(1800.0, 1200.0, 1300.0)
    >>> tank = Tank(box, KEROSENE, safe_fill_l=2600.0, heel_l=108.0, sensor_height_mm=1350.0)
    >>> readings = parse_readings("at,ullage_mm\n2024-01-10T06:00Z,850\n").readings
    >>> levels = to_levels(readings, tank, flags=np.zeros(1, int))
    >>> levels.dip_mm.round(3), levels.litres.round(3), levels.sd_l.round(1)
    (array([500.]), array([1080.]), array([10.]))
    """
    span = span_of(tank.shape)
    is_ullage = readings.quantity == Quantity.ULLAGE_MM
    air_c, air_sd_k = headspace_air(readings, tank, air_at=air_at)
    dip = dip_as_read(readings, tank)
    if tank.sensor_assumed_air_c is None:
        air_c, air_sd_k = (
            np.where(np.isfinite(readings.air_c), readings.air_c, air_c),
            np.full_like(air_c, PROBE_SD_K),
        )
    else:
        ratio = speed_of_sound_m_per_s(air_c) / speed_of_sound_m_per_s(tank.sensor_assumed_air_c)
        dip = np.where(is_ullage, dip + readings.value * (1.0 - ratio), dip)
    flags = flags | outside_flags(dip, edge_tolerance_mm(readings, tank), span)

    censored = (flags & CENSORED) != 0
    if tank.sensor_height_mm is not None:
        dip = np.where(censored, tank.sensor_height_mm - tank.dead_band_mm, dip)
    nowhere = (flags & (Flag.NO_ECHO | Flag.ABOVE_TANK | Flag.BELOW_TANK)) != 0
    dip = np.where(nowhere, np.nan, np.clip(dip, span.low_mm, span.high_mm))

    distance_mm = np.where(is_ullage, readings.value, 0.0)
    air_mm = distance_mm * air_sd_k / (2.0 * (air_c + ZERO_CELSIUS_K))  # d(ln c)/dT = 1/2T
    litres = tank.shape.litres(dip)
    litres_per_cm = tank.shape.litres_per_cm(dip)
    step_mm = _step_mm(readings, tank, litres_per_cm)
    sd_mm = np.sqrt(step_mm**2 / 12.0 + SENSOR_FLOOR_MM**2 + air_mm**2)
    # to the wider side, because at the ends of a lying tank a centimetre holds next to nothing
    above = tank.shape.litres(np.minimum(dip + sd_mm, span.high_mm)) - litres
    below = litres - tank.shape.litres(np.maximum(dip - sd_mm, span.low_mm))
    oil_c = oil_temperature_c(readings.at, tank, air_at=air_at)
    return Levels(
        at=readings.at,
        dip_mm=dip,
        litres=litres,
        sd_l=np.maximum(above, below),
        litres_per_cm=litres_per_cm,
        flags=flags,
        oil_c=np.where(np.isfinite(readings.oil_c), readings.oil_c, oil_c),
        censored=censored,
        raw=readings.value,
        step_l=litres_per_cm * (step_mm / MM_PER_CM),
        table_sd_l=tank.table_sd_fraction * litres,
        by_person=np.zeros(len(readings), bool) if readings.step is None else np.isfinite(readings.step),
    )


def _step_mm(readings: Readings, tank: Tank, litres_per_cm: Floats) -> Floats:
    """Step in which each reading was read, as a change of the dip there. [mm]"""
    if readings.step is None:
        return np.full(len(readings), tank.resolution_mm)
    q, step = readings.quantity, readings.step
    step_l = np.where(q == Quantity.FRACTION, step * tank.capacity_l, step)
    is_volume = (q == Quantity.LITRES) | (q == Quantity.FRACTION)
    # where a centimetre holds next to nothing, a step of litres is at most the tank's height
    per_mm = np.maximum(litres_per_cm / MM_PER_CM, tank.capacity_l / tank.shape.height_mm / 100.0)
    step_mm = np.where(is_volume, np.minimum(step_l / per_mm, tank.shape.height_mm), step)
    return np.asarray(np.where(np.isfinite(step_mm), step_mm, tank.resolution_mm))
