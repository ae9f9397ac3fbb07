"""The tank file: tank.toml to a `Tank`, or every problem in it at once.

Flow     tank.toml -> **keys, checked** -> shape, sensor, limits -> Tank
Formula  sensor height = dip at the gauge's litres + the ullage taken at the same moment
Source   limits of plausibility and defaults are common practice (no source). Heel: 50 mm of dip, as for
         bottom-outlet tanks. Safe fill: 95 % of the capacity, the cautious end of what the trade uses; a
         tank filled at 0 °C swells by 2.8 % on its way to 30 °C (fuel.py), so 97 % is barely enough.
"""

import math
import re
import tomllib
from collections.abc import Mapping
from types import MappingProxyType
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np

from forecaster.errors import OutOfRangeError, Problem, TankError
from forecaster.fuel import FUELS, Fuel
from forecaster.rows import decode
from forecaster.tanks.build import (
    GREATEST_CAPACITY_L,
    GREATEST_HEIGHT_MM,
    GREATEST_LENGTH_MM,
    LEAST_CAPACITY_L,
    SHAPE_KEYS,
    build_shape,
)
from forecaster.tanks.keys import Keys
from forecaster.tanks.shape import Shape
from forecaster.tanks.tank import Tank
from forecaster.tanks.upright import MOULDED_SD

MAX_BYTES = 1024 * 1024
"""A larger tank file is refused. [bytes]"""
CAPACITY_AGREES = 0.10
"""A stated capacity may differ from that of the dimensions by so much of it. [-]"""
SAFE_FILL_FRACTION = 0.95
"""Share of the capacity to fill to, unless given. [-]"""
HEEL_DIP_MM = 50.0
"""Dip of the heel, unless given in litres. [mm]"""
SENSOR_BELOW_TOP_MM = 50.0
"""The sensor's face may hang so far below the inside top. [mm]"""
SENSOR_ABOVE_TOP_MM = 2000.0
"""The sensor may stand so far above the inside top, on a riser. [mm]"""
LOCATIONS = ("outdoors", "shed", "indoors", "buried")
"""Where a tank may stand."""
COMMON_KEYS = (
    "shape",
    "name",
    "product",
    "density_15c",
    "gross_kwh_per_l",
    "capacity_l",
    "tilt_deg",
    "dip_at_mm",
    "table_sd_fraction",
    "sensor_height_mm",
    "gauge_l",
    "ullage_mm",
    "dead_band_mm",
    "resolution_mm",
    "sensor_assumed_air_c",
    "safe_fill_l",
    "safe_fill_fraction",
    "heel_l",
    "location",
    "timezone",
)
"""The keys that every shape may have."""

_DENSITY: Mapping[str, Any] = MappingProxyType({"low": 750.0, "high": 950.0, "unit": "kg/m³"})
_HEAT: Mapping[str, Any] = MappingProxyType({"low": 8.0, "high": 12.0, "unit": "kWh/l"})
_ZONE = re.compile(r"UTC|[A-Za-z_]+(/[A-Za-z0-9_+-]+){1,2}", re.ASCII)


def parse_tank(data: bytes | str) -> Tank:
    r"""Read a tank file.

    Parameters
    ----------
    data : bytes or str
        TOML, UTF-8. The keys are those that the docstring of `forecaster.tanks` lists.

    Returns
    -------
    Tank

    Raises
    ------
    TankError
        With every problem of the file: key, value, what to do.

    Notes
    -----
    A key that is not known is an error, so that a slip of the pen is never a silent default.

    Examples
    --------
    >>> tank = parse_tank('''
    ... product = "kerosene"
    ... shape = "horizontal_cylinder"
    ... diameter_mm = 1200
    ... length_mm = 1800
    ... sensor_height_mm = 1250
    ... ''')
    >>> round(tank.capacity_l), round(tank.safe_fill_l), round(tank.heel_l, 1)
    (2036, 1934, 29.0)
    >>> parse_tank('product = "kerosene"\nshape = "moulded"\ncapacity_l = 1300\nheigth_mm = 1200')
    Traceback (most recent call last):
    forecaster.errors.TankError: heigth_mm: no key of that name is known; did you mean height_mm? ...
    """
    keys = Keys(_load(data))
    shape_name = keys.choice("shape", tuple(SHAPE_KEYS))
    if not keys.has("shape"):
        keys.report("missing", "shape", f"add this key: one of {', '.join(SHAPE_KEYS)}")
    _refuse_foreign_keys(keys, shape_name)
    fuel = _fuel(keys)
    shape = _plausible_shape(keys, shape_name)
    values: dict[str, Any] = {
        "sensor_height_mm": _sensor_height(keys, shape),
        "dead_band_mm": _dead_band(keys, shape),
        "resolution_mm": keys.number(
            "resolution_mm", low=0.0, high=100.0, default=10.0, unit="mm", above_low=True
        ),
        "sensor_assumed_air_c": _or_none(
            keys.number("sensor_assumed_air_c", low=-40.0, high=60.0, unit="°C")
        ),
        "location": keys.choice("location", LOCATIONS, default="outdoors"),
        "timezone": _timezone(keys),
        "table_sd_fraction": keys.number(
            "table_sd_fraction", low=0.0, high=0.3, default=MOULDED_SD if shape_name == "moulded" else 0.0
        ),
        "dip_at_mm": keys.number("dip_at_mm", low=0.0, high=GREATEST_LENGTH_MM, default=0.0, unit="mm"),
        "name": keys.text("name"),
    }
    safe_fill, heel = _limits(keys, shape)
    if keys.problems or shape is None or fuel is None:
        raise TankError(list(dict.fromkeys(keys.problems)))  # a key read twice is reported once
    return Tank(shape, fuel, safe_fill_l=safe_fill, heel_l=heel, **values)


def _load(data: bytes | str) -> dict[str, Any]:
    if len(data) > MAX_BYTES:
        raise TankError(Problem("too_large", "file", f"give a tank file of at most {MAX_BYTES // 1024} KiB"))
    try:
        return tomllib.loads(decode(data, error=TankError))
    except (ValueError, RecursionError) as bad:  # a number of 5000 digits is a ValueError of its own
        why = str(bad) if isinstance(bad, tomllib.TOMLDecodeError) else "a value cannot be read"
        raise TankError(Problem("not_toml", "file", f"write it as key = value lines (TOML): {why}")) from None


def _refuse_foreign_keys(keys: Keys, shape_name: str) -> None:
    """Report keys that are not known, and keys that belong to another shape."""
    own = SHAPE_KEYS.get(shape_name, ())
    of_shapes = {key for names in SHAPE_KEYS.values() for key in names}
    keys.refuse_unknown([*COMMON_KEYS, *sorted(of_shapes)])
    for key in keys.values:
        if shape_name and key in of_shapes and key not in own and key not in COMMON_KEYS:
            belongs = ", ".join(name for name, names in SHAPE_KEYS.items() if key in names)
            keys.report("foreign_key", key, f"leave it out: it belongs to {belongs}, not to {shape_name}")


def _fuel(keys: Keys) -> Fuel | None:
    density, heat = keys.number("density_15c", **_DENSITY), keys.number("gross_kwh_per_l", **_HEAT)
    if keys.has("product"):
        name = keys.choice("product", tuple(FUELS))
        if not name:
            return None
        fuel = FUELS[name] if math.isnan(density) else FUELS[name].at_density(density)
        return fuel if math.isnan(heat) else Fuel(fuel.name, fuel.density_15c, heat, fuel.co2_kg_per_l)
    if keys.has("density_15c") and keys.has("gross_kwh_per_l"):
        return Fuel("blend", density, heat, None)
    keys.report(
        "missing",
        "product",
        f"add this key: {' or '.join(FUELS)}; for a blend give density_15c and gross_kwh_per_l instead",
    )
    return None


def _plausible_shape(keys: Keys, shape_name: str) -> Shape | None:
    """Build the shape and hold its capacity against the limits and against a stated one."""
    shape = build_shape(keys, shape_name) if shape_name else None
    stated = math.nan
    if shape_name != "moulded":
        stated = keys.number("capacity_l", low=LEAST_CAPACITY_L, high=GREATEST_CAPACITY_L, unit="l")
    if shape is None:
        return None
    capacity = shape.capacity_l
    if not LEAST_CAPACITY_L <= capacity <= GREATEST_CAPACITY_L:
        keys.report(
            "capacity",
            "shape",
            f"check the dimensions: a tank holds {LEAST_CAPACITY_L:g} to {GREATEST_CAPACITY_L:g} l",
            seen=f"{capacity:.4g} l by its dimensions",
        )
        return None
    if abs(stated - capacity) > CAPACITY_AGREES * capacity:
        keys.report(
            "capacity_differs",
            "capacity_l",
            f"check it against the inside dimensions, which make {capacity:.0f} l, or leave it out",
        )
    return shape


def _sensor_height(keys: Keys, shape: Shape | None) -> float | None:
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
    lowest, highest = shape.height_mm - SENSOR_BELOW_TOP_MM, shape.height_mm + SENSOR_ABOVE_TOP_MM
    if given < lowest or given > highest:
        where = (
            f"the inside top is at {shape.height_mm:g} mm, so the sensor's face at {lowest:g} to {highest:g}"
        )
        keys.report(
            "sensor_height",
            "gauge_l" if pair else "sensor_height_mm",
            f"check gauge, ullage and dimensions: {where}" if pair else f"check it: {where}",
            seen=f"{given:.0f} mm from gauge and ullage" if pair else None,
        )
    return _or_none(given)


def _dead_band(keys: Keys, shape: Shape | None) -> float:
    band = keys.number("dead_band_mm", low=0.0, high=GREATEST_HEIGHT_MM, default=0.0, unit="mm")
    if shape is not None and band >= shape.height_mm:
        keys.report(
            "out_of_range", "dead_band_mm", f"give less than the tank's height, {shape.height_mm:g} mm"
        )
    return band


def _limits(keys: Keys, shape: Shape | None) -> tuple[float, float]:
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


def _timezone(keys: Keys) -> str | None:
    name = keys.values.get("timezone")
    if name is None:
        return None
    mend = "give a zone of the IANA list such as Europe/London or Europe/Dublin"
    if not isinstance(name, str) or not _ZONE.fullmatch(name):
        keys.report("unknown_zone", "timezone", mend)
        return None
    try:
        ZoneInfo(name)
    except (KeyError, ValueError, OSError):
        keys.report("unknown_zone", "timezone", mend)
        return None
    return name


def _or_none(value: float) -> float | None:
    return None if np.isnan(value) else value
