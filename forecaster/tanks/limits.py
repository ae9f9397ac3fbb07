"""What a tank file says of sensor, safe fill and heel, held against the tank's shape.

Flow     checked keys (keys.py), shape (build.py) -> **sensor height, dead band, safe fill, heel** -> tank
Formula  sensor height = dip at the gauge's litres + the ullage taken at the same moment
Source   common practice, no source. Heel: 50 mm of dip, as for bottom-outlet tanks. Safe fill: 95 % of the
         capacity, the cautious end of what the trade uses; a tank filled at 0 °C swells by 2.8 % on its
         way to 30 °C (fuel.py), so 97 % is barely enough.
"""

import math

from forecaster.errors import OutOfRangeError
from forecaster.tanks.build import GREATEST_CAPACITY_L, GREATEST_HEIGHT_MM
from forecaster.tanks.keys import Keys
from forecaster.tanks.shape import Shape

SAFE_FILL_FRACTION = 0.95
"""Share of the capacity to fill to, unless given. [-]"""
HEEL_DIP_MM = 50.0
"""Dip of the heel, unless given in litres. [mm]"""
SENSOR_BELOW_TOP_MM = 50.0
"""The sensor's face may hang so far below the inside top. [mm]"""
GAUGE_ERROR = 0.10
"""A sensor height from a gauge may be off by so much of the tank's height. [-]"""
SENSOR_ABOVE_TOP_MM = 2000.0
"""The sensor may stand so far above the inside top, on a riser. [mm]"""


def read_sensor_height(keys: Keys, shape: Shape | None) -> float | None:
    """Read the height of the sensor's face, or derive it from a gauge reading and an ullage."""
    given = keys.number("sensor_height_mm", low=1.0, high=GREATEST_HEIGHT_MM + SENSOR_ABOVE_TOP_MM, unit="mm")
    gauge = keys.number("gauge_l", low=0.0, high=GREATEST_CAPACITY_L, unit="l")
    ullage = keys.number("ullage_mm", low=0.0, high=GREATEST_HEIGHT_MM + SENSOR_ABOVE_TOP_MM, unit="mm")
    pair = keys.has("gauge_l") or keys.has("ullage_mm")
    if pair and keys.has("sensor_height_mm"):
        keys.report("twice", "sensor_height_mm", "give it, or gauge_l with ullage_mm, not both")
        return None
    if pair:
        keys.require("gauge_l", "ullage_mm")
    if shape is None:
        return None
    if pair and not math.isnan(gauge + ullage):
        try:
            given = float(shape.dip_mm(gauge)) + ullage
        except OutOfRangeError as outside:
            keys.report(
                "out_of_range",
                "gauge_l",
                f"give litres that the tank can show: {outside.low:g} to {outside.high:g}",
            )
    slack = max(SENSOR_BELOW_TOP_MM, GAUGE_ERROR * shape.height_mm) if pair else SENSOR_BELOW_TOP_MM
    lowest, highest = shape.height_mm - slack, shape.height_mm + SENSOR_ABOVE_TOP_MM
    if given < lowest or given > highest:
        where = (
            f"the inside top is at {shape.height_mm:g} mm, so the sensor's face at {lowest:g} to {highest:g}"
        )
        keys.doubt(
            "sensor_height",
            "gauge_l" if pair else "sensor_height_mm",
            f"check gauge, ullage and dimensions: {where}" if pair else f"check it: {where}",
            f"The sensor's face stands at {given:.0f} mm in a tank whose inside top is at "
            f"{shape.height_mm:.0f} mm. That was confirmed, and it is unusual.",
            seen=f"{given:.0f} mm from gauge and ullage" if pair else None,
        )
    return None if math.isnan(given) else given


def read_dead_band(keys: Keys, shape: Shape | None) -> float:
    """Read how near the sensor sees nothing, and refuse an ullage taken nearer than that."""
    band = keys.number("dead_band_mm", low=0.0, high=GREATEST_HEIGHT_MM, default=0.0, unit="mm")
    if shape is not None and band >= shape.height_mm:
        keys.report(
            "out_of_range", "dead_band_mm", f"give less than the tank's height, {shape.height_mm:g} mm"
        )
    ullage = keys.values.get("ullage_mm")
    if isinstance(ullage, int | float) and ullage < band:
        keys.report("dead_band", "ullage_mm", f"give one from beyond the dead band, {band:g} mm or more")
    return band


def read_limits(keys: Keys, shape: Shape | None) -> tuple[float, float]:
    """Safe fill and heel in litres; litres given win over a fraction given. [l], [l]"""
    fraction = _safe_fill_fraction(keys)
    safe_fill = keys.number("safe_fill_l", low=0.0, high=GREATEST_CAPACITY_L, unit="l", above_low=True)
    heel = keys.number("heel_l", low=0.0, high=GREATEST_CAPACITY_L, unit="l")
    if shape is None:
        return safe_fill, heel
    if not keys.has("safe_fill_l"):
        safe_fill = fraction * shape.capacity_l
    if safe_fill > shape.capacity_l:
        keys.report("out_of_range", "safe_fill_l", f"give at most the capacity, {shape.capacity_l:.0f} l")
    least = _least_litres(shape)
    if not keys.has("heel_l"):
        heel = _default_heel(shape, least)
    elif heel < least - 1e-6:
        keys.report(
            "out_of_range", "heel_l", f"give at least {least:.1f} l, the least that a dip here can show"
        )
    if heel >= safe_fill:
        which = next((key for key in ("heel_l", "safe_fill_l") if keys.has(key)), "safe_fill_fraction")
        keys.report(
            "out_of_range",
            which,
            "give a heel below the safe fill",
            seen=f"heel {heel:.0f} l, safe fill {safe_fill:.0f} l",
        )
    return safe_fill, heel


def _safe_fill_fraction(keys: Keys) -> float:
    value = keys.values.get("safe_fill_fraction")
    if isinstance(value, int | float) and 1.0 < value <= 100.0:
        keys.report("out_of_range", "safe_fill_fraction", f"give a fraction: {value:g} % is {value / 100:g}")
        return math.nan
    return keys.number("safe_fill_fraction", low=0.5, high=1.0, default=SAFE_FILL_FRACTION)


def _least_litres(shape: Shape) -> float:
    """Litres at the least dip: more than 0 in a tilted tank and above a table's first row."""
    try:
        return float(shape.litres(0.0))
    except OutOfRangeError as outside:
        return float(shape.litres(outside.low))


def _default_heel(shape: Shape, least: float) -> float:
    try:
        return float(shape.litres(HEEL_DIP_MM))
    except OutOfRangeError:  # a table that starts higher: the least it can tell
        return least
