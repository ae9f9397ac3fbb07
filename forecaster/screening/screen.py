"""All screens in order, so that what one sets aside does not mislead the next.

Flow     readings -> duplicates -> place in the tank -> spikes -> unit -> creeping rise -> **flags**
"""

import numpy as np
import numpy.typing as npt

from forecaster.readings import Quantity, Readings
from forecaster.screening.flags import SET_ASIDE, Flag, Flags
from forecaster.screening.limits import LARGE_BURNER_KW, burner_l_per_day
from forecaster.screening.place import dip_as_read, place_flags, span_of
from forecaster.screening.steps import SEASON_K, find_creeping_rise, find_spikes, find_unit_changes
from forecaster.tanks import Tank
from forecaster.units import MM_PER_CM, ZERO_CELSIUS_K, Floats

SCREEN_AIR_SD_K = 5.0
"""Air of an uncompensated sensor, from reading to reading. [K] (assumption)"""


def screen_readings(
    readings: Readings,
    tank: Tank,
    *,
    ticket_at: npt.NDArray[np.datetime64] | None = None,
    burner_kw: float = LARGE_BURNER_KW,
) -> Flags:
    r"""Flag the readings that cannot be the level.

    Parameters
    ----------
    readings : Readings
        Sorted by time, shape (n,).
    tank : Tank
        In which they were taken.
    ticket_at : datetime64[s] array, optional
        Times of deliveries on file; rises there are believed.
    burner_kw : float
        Input of all appliances at full fire. [kW gross]

    Returns
    -------
    int array, shape (n,)
        Of `Flag`. Dead band means "at least"; a reading with any other flag is set aside.

    Raises
    ------
    TankError
        If there are ullages and the tank's file gives no sensor height.

    Notes
    -----
    A stuck sensor is not found here: a value that stays says nothing without the burn that was to
    be expected. See `forecaster.levels.find_stuck`.

    Examples
    --------
    >>> from forecaster.fuel import KEROSENE
    >>> from forecaster.readings import parse_readings
    >>> from forecaster.tanks.upright import UprightBox
    >>> box = UprightBox(1800.0, 1200.0, 1300.0)
    >>> tank = Tank(box, KEROSENE, safe_fill_l=2600.0, heel_l=108.0, sensor_height_mm=1350.0)
    >>> rows = [f"2024-01-{day}T06:00Z,{mm}" for day, mm in zip(range(10, 14), (800, 65535, 200, 810))]
    >>> flags = screen_readings(parse_readings("\n".join(["at,ullage_mm", *rows])).readings, tank)
    >>> [Flag(f).name for f in flags]
    ['NONE', 'NO_ECHO', 'SPIKE', 'NONE']
    """
    flags = _repeat_flags(readings) | place_flags(readings, tank)
    span = span_of(tank.shape)
    dip = np.clip(dip_as_read(readings, tank), span.low_mm, span.high_mm)
    litres = tank.shape.litres(dip)
    # a mean slope, because the slope at a dip vanishes where a lying tank closes
    mean_l_per_mm = (span.high_l - span.low_l) / (span.high_mm - span.low_mm)
    l_per_mm = np.maximum(tank.shape.litres_per_cm(dip) / MM_PER_CM, 0.2 * mean_l_per_mm)
    air_mm_per_k = _air_mm_per_k(readings, tank)
    sd_l = np.hypot(tank.resolution_mm / np.sqrt(12.0), SCREEN_AIR_SD_K * air_mm_per_k) * l_per_mm
    burner = burner_l_per_day(burner_kw, gross_kwh_per_l=tank.fuel.gross_kwh_per_l)

    left = np.flatnonzero((flags & SET_ASIDE) == 0)
    spike = left[find_spikes(readings.at[left], litres[left], sd_l[left], burner=burner)]
    flags[spike] |= Flag.SPIKE
    left = np.flatnonzero(flags == 0)  # in the dead band a value means nothing
    unit = find_unit_changes(
        readings.where(left),
        litres[left],
        sd_l[left],
        l_per_mm[left],
        step_mm=tank.resolution_mm,
        burner=burner,
        ticket_at=np.empty(0, "datetime64[s]") if ticket_at is None else ticket_at,
    )
    flags[left[unit]] |= Flag.UNIT
    left = np.flatnonzero(flags == 0)
    air_l = SEASON_K * air_mm_per_k[left] * l_per_mm[left]
    flags[left[find_creeping_rise(litres[left], sd_l[left], air_sd_l=air_l)]] |= Flag.TREND
    return flags


def _repeat_flags(readings: Readings) -> Flags:
    flags = np.zeros(len(readings), np.int64)
    same_time = np.r_[False, readings.at[1:] == readings.at[:-1]]
    first = np.maximum.accumulate(np.where(same_time, 0, np.arange(len(readings))))
    same_value = (readings.value == readings.value[first]) & (readings.quantity == readings.quantity[first])
    flags[same_time & same_value] = Flag.DUPLICATE
    flags[same_time & ~same_value] = Flag.CONFLICT
    return flags


def _air_mm_per_k(readings: Readings, tank: Tank) -> Floats:
    """What a kelvin of air does to an uncompensated ullage: half a share of its absolute value. [mm/K]"""
    if tank.sensor_assumed_air_c is None:
        return np.zeros(len(readings))
    ullage = np.where(readings.quantity == Quantity.ULLAGE_MM, readings.value, 0.0)
    reach = np.minimum(ullage, 2.0 * tank.shape.height_mm)
    return np.asarray(reach / (2.0 * (tank.sensor_assumed_air_c + ZERO_CELSIUS_K)))
