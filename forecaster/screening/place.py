"""Where a reading puts the level in the tank, before any correction, and whether it can be there.

Flow     reading -> **dip as read** -> no echo, above, below, dead band
Formula  dip = sensor height − ullage;  litres and fractions through the tank's shape
"""

from dataclasses import dataclass

import numpy as np

from forecaster.errors import OutOfRangeError, Problem, TankError
from forecaster.readings import Quantity, Readings
from forecaster.screening.flags import Flag, Flags
from forecaster.tanks import Shape, Tank
from forecaster.units import MM_PER_CM, MM_PER_INCH, Floats

NO_ECHO_VALUES = (65535.0, 65534.0, 32767.0, 9999.0, 999.0)
"""What sensors send when they saw nothing, in their own unit. (common practice, no source)"""
EDGE_STEPS = 2.0
"""A level may seem so many sensor steps outside the tank."""
EDGE_SHARE = 0.02
"""...and, by the speed of sound, so much of the distance: air 12 K off. [-]"""


@dataclass(frozen=True, slots=True)
class Span:
    """What the shape's table covers: dips and the litres there. [mm], [l]"""

    low_mm: float
    high_mm: float
    low_l: float
    high_l: float


def span_of(shape: Shape) -> Span:
    """Find the dips that a shape knows; a strapping table need not begin at the bottom.

    Examples
    --------
    >>> from forecaster.tanks.strapping import StrappingTable
    >>> span_of(StrappingTable((50.0, 1000.0), (40.0, 1100.0))).low_mm
    50.0
    """
    low_mm, high_mm = 0.0, shape.height_mm
    try:
        shape.litres(low_mm)
    except OutOfRangeError as outside:
        low_mm = outside.low
    low_l, high_l = shape.litres(np.array([low_mm, high_mm]))
    return Span(low_mm, high_mm, float(low_l), float(high_l))


def require_sensor_height(readings: Readings, tank: Tank) -> float:
    """Give the sensor's height, or nan if no reading needs it. [mm]

    Raises
    ------
    TankError
        If there are ullages and the tank's file does not say where they are measured from.
    """
    if tank.sensor_height_mm is not None:
        return tank.sensor_height_mm
    if (readings.quantity == Quantity.ULLAGE_MM).any():
        mend = "add it, or gauge_l and ullage_mm read together: the readings are ullages"
        raise TankError(Problem("no_sensor_height", "sensor_height_mm", mend))
    return np.nan


def dip_as_read(readings: Readings, tank: Tank) -> Floats:
    """Dip that each reading shows, uncorrected; outside the tank where the reading is. [mm]

    Litres and fractions outside the tank come out at its edge.
    """
    height_mm = require_sensor_height(readings, tank)
    span = span_of(tank.shape)
    q, value = readings.quantity, readings.value
    litres = np.where(q == Quantity.FRACTION, value * tank.capacity_l, value)
    is_volume = (q == Quantity.LITRES) | (q == Quantity.FRACTION)
    dip = np.where(q == Quantity.ULLAGE_MM, height_mm - value, value)
    dip[is_volume] = tank.shape.dip_mm(np.clip(litres[is_volume], span.low_l, span.high_l))
    return np.asarray(dip, dtype=np.float64)


def edge_tolerance_mm(readings: Readings, tank: Tank) -> Floats:
    """How far outside the tank a reading may seem to be and still be taken for its edge. [mm]"""
    is_ullage = readings.quantity == Quantity.ULLAGE_MM
    distance = np.where(is_ullage, np.minimum(readings.value, 2.0 * tank.shape.height_mm), 0.0)
    return np.asarray(EDGE_STEPS * tank.resolution_mm + EDGE_SHARE * distance)


def outside_flags(dip_mm: Floats, tolerance_mm: Floats, span: Span) -> Flags:
    """Flag dips beyond the tank by more than the tolerance."""
    flags = np.zeros(len(dip_mm), np.int64)
    flags[dip_mm > span.high_mm + tolerance_mm] = Flag.ABOVE_TANK
    flags[dip_mm < span.low_mm - tolerance_mm] = Flag.BELOW_TANK
    return flags


def place_flags(readings: Readings, tank: Tank) -> Flags:
    """Flag what is no echo, not in the tank, or in the dead band.

    Notes
    -----
    A sentinel that fits the tank (999 mm in a tank of 1.2 m) is a reading like any other. An ullage
    of 0 is at the sensor's face and no echo, whatever the dead band. Where the dead band ends above
    the tank's top, a reading in it is above the tank.
    """
    span = span_of(tank.shape)
    q, value = readings.quantity, readings.value
    flags = outside_flags(dip_as_read(readings, tank), edge_tolerance_mm(readings, tank), span)
    is_ullage = q == Quantity.ULLAGE_MM
    is_volume = (q == Quantity.LITRES) | (q == Quantity.FRACTION)
    litres = np.where(q == Quantity.FRACTION, value * tank.capacity_l, value)
    over = is_volume & (litres > span.high_l * (1.0 + EDGE_SHARE))
    # volumes just outside what the dips cover are at the edge; far below it the table knows nothing
    under = is_volume & (litres < span.low_l - EDGE_SHARE * span.high_l)
    flags[over] |= Flag.ABOVE_TANK
    flags[under] |= Flag.BELOW_TANK

    sent = np.where(is_volume, value, np.round(value, 6))
    is_sentinel = np.isin(sent, NO_ECHO_VALUES)
    for mm_per_unit in (MM_PER_CM, MM_PER_INCH):
        is_sentinel |= ~is_volume & np.isin(np.round(value / mm_per_unit, 6), NO_ECHO_VALUES)
    no_echo = (is_sentinel & (flags != 0)) | (is_ullage & (value == 0.0))
    flags[no_echo] = Flag.NO_ECHO

    if tank.sensor_height_mm is not None and tank.sensor_height_mm - tank.dead_band_mm < span.high_mm:
        near = is_ullage & ~no_echo & (value <= tank.dead_band_mm)
        flags[near] = Flag.DEAD_BAND
    return flags
