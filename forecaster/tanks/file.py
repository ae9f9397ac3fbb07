"""The tank file: tank.toml to a `Tank`, or every problem in it at once.

Flow     tank.toml -> **keys, checked** -> shape, sensor, limits -> Tank
Source   limits of plausibility and defaults are common practice, no source
"""

import math
import re
import tomllib
from collections.abc import Mapping
from types import MappingProxyType
from typing import Any
from zoneinfo import ZoneInfo

from forecaster.errors import Problem, TankError
from forecaster.fuel import FUELS, Fuel
from forecaster.rows import decode
from forecaster.tanks.build import (
    GREATEST_CAPACITY_L,
    GREATEST_LENGTH_MM,
    LEAST_CAPACITY_L,
    SHAPE_KEYS,
    build_shape,
)
from forecaster.tanks.keys import Keys
from forecaster.tanks.limits import read_dead_band, read_limits, read_sensor_height
from forecaster.tanks.linked import read_linked
from forecaster.tanks.shape import Shape
from forecaster.tanks.tank import Tank
from forecaster.tanks.upright import MOULDED_SD

MAX_BYTES = 1024 * 1024
"""A larger tank file is refused. [bytes]"""
CAPACITY_AGREES = 0.10
"""A stated capacity may differ from that of the dimensions by so much of it. [-]"""
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
    "count",
    "linked",
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
    "confirmed",
)
"""The keys that every shape may have."""
CONFIRMABLE = ("capacity_l", "sensor_height_mm", "gauge_l")
"""Keys whose values may stand although they do not agree with the dimensions."""
MOST_DOUBT = 0.3
"""Greatest relative standard deviation of a tank's litres. [-]"""

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
    keys.names("confirmed", CONFIRMABLE)
    fuel = _fuel(keys)
    first = _plausible_shape(keys, shape_name)
    shape = read_linked(keys, first, shape_name)
    values: dict[str, Any] = {
        "sensor_height_mm": read_sensor_height(keys, shape),
        "dead_band_mm": read_dead_band(keys, shape),
        "resolution_mm": keys.number(
            "resolution_mm", low=0.0, high=100.0, default=10.0, unit="mm", above_low=True
        ),
        "sensor_assumed_air_c": _assumed_air(keys),
        "location": keys.choice("location", LOCATIONS, default="outdoors"),
        "timezone": _timezone(keys),
        "table_sd_fraction": keys.number(
            "table_sd_fraction",
            low=0.0,
            high=MOST_DOUBT,
            default=MOULDED_SD if "moulded" in (shape_name, *_shapes_linked(keys)) else 0.0,
        ),
        "dip_at_mm": keys.number("dip_at_mm", low=0.0, high=GREATEST_LENGTH_MM, default=0.0, unit="mm"),
        "name": keys.text("name"),
    }
    safe_fill, heel = read_limits(keys, shape)
    if keys.problems or first is None or shape is None or fuel is None:
        raise TankError(list(dict.fromkeys(keys.problems)))  # a key read twice is reported once
    values["table_sd_fraction"] = max(values["table_sd_fraction"], _confirmed_doubt(keys, first))
    return Tank(shape, fuel, safe_fill_l=safe_fill, heel_l=heel, notes=tuple(keys.notes), **values)


def _load(data: bytes | str) -> dict[str, Any]:
    if len(data) > MAX_BYTES:
        raise TankError(Problem("too_large", "file", f"give a tank file of at most {MAX_BYTES // 1024} KiB"))
    try:
        return tomllib.loads(decode(data, error=TankError))
    except (ValueError, RecursionError) as bad:  # a number of 5000 digits is a ValueError of its own
        why = str(bad) if isinstance(bad, tomllib.TOMLDecodeError) else "a value cannot be read"
        raise TankError(Problem("not_toml", "file", f"write it as key = value lines (TOML): {why}")) from None


def _shapes_linked(keys: Keys) -> list[Any]:
    linked = keys.values.get("linked")
    tables = linked if isinstance(linked, list) else []
    return [table.get("shape") for table in tables if isinstance(table, dict)]


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
        keys.doubt(
            "capacity_differs",
            "capacity_l",
            f"check it against the inside dimensions, which make {capacity:.0f} l, or leave it out",
            f"The plate{_of_the_first(keys)} says {stated:,.0f} litres, the dimensions on file make "
            f"{capacity:,.0f}. That was confirmed; litres follow the dimensions and are less certain.",
        )
    return shape


def _of_the_first(keys: Keys) -> str:
    """Say which tank is meant, where several are linked to one store."""
    return " of the first tank" if keys.has("count") or keys.has("linked") else ""


def _confirmed_doubt(keys: Keys, shape: Shape) -> float:
    """Doubt about litres that plate and dimensions leave when both were confirmed, relative sd. [-]

    The truth lies between the two or near them: half their difference.
    """
    if "capacity_l" not in keys.values.get("confirmed", ()) or not keys.has("capacity_l"):
        return 0.0
    stated = keys.number("capacity_l", low=LEAST_CAPACITY_L, high=GREATEST_CAPACITY_L)
    return min(abs(stated / shape.capacity_l - 1.0) / 2.0, MOST_DOUBT)


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


def _assumed_air(keys: Keys) -> float | None:
    air_c = keys.number("sensor_assumed_air_c", low=-40.0, high=60.0, unit="°C")
    return None if math.isnan(air_c) else air_c
