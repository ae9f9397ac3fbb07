"""The shape of a tank from the keys of its file.

Flow     checked keys (keys.py) -> **shape** -> tank (file.py)
Source   limits of plausibility are common practice, no source
"""

import math
from collections.abc import Callable, Mapping
from itertools import pairwise
from types import MappingProxyType

from forecaster.tanks.cylinder import MAX_TILT_DEG, LyingCylinder
from forecaster.tanks.heads import (
    DISH_RADIUS_FRACTION,
    ELLIPTICAL_DEPTH_FRACTION,
    KNUCKLE_RADIUS_FRACTION,
    Elliptical,
    Flat,
    Head,
    Torispherical,
)
from forecaster.tanks.keys import Keys, number_mend, show
from forecaster.tanks.shape import Shape
from forecaster.tanks.strapping import StrappingTable
from forecaster.tanks.upright import (
    LyingBox,
    Moulded,
    UprightBox,
    UprightCylinder,
    lying_oval,
    upright_oval,
)

LEAST_CAPACITY_L, GREATEST_CAPACITY_L = 50.0, 100_000.0
"""Tanks that are heating-oil tanks. [l]"""
LEAST_HEIGHT_MM, GREATEST_HEIGHT_MM = 300.0, 4000.0
"""Heights that are heights of such tanks. [mm]"""
LEAST_LENGTH_MM, GREATEST_LENGTH_MM = 200.0, 30_000.0
"""Lengths and widths that are those of such tanks. [mm]"""
MAX_TABLE_ROWS = 10_000
"""More rows are no strapping table. [rows]"""
TABLE_GAP = 5.0
"""A step of dip so many times the usual step is a gap in a strapping table. [-]"""

ENDS = ("flat", "elliptical", "torispherical", "hemispherical")
"""Ends that a lying cylinder may have."""
EDGES = ("vertical", "long")
"""Edges of a box that may be rounded."""
SHAPE_KEYS: Mapping[str, tuple[str, ...]] = MappingProxyType(
    {
        "rectangular": ("length_mm", "width_mm", "height_mm", "edges", "edge_radius_mm"),
        "vertical_cylinder": ("diameter_mm", "height_mm"),
        "horizontal_cylinder": (
            "diameter_mm",
            "length_mm",
            "ends",
            "dish_radius_fraction",
            "knuckle_radius_fraction",
        ),
        "vertical_oval": ("length_mm", "width_mm", "height_mm"),
        "horizontal_oval": ("length_mm", "width_mm", "height_mm"),
        "table": ("rows", "table"),
        "moulded": ("height_mm",),
    }
)
"""The shapes, and the keys that only some of them have."""


def build_shape(keys: Keys, name: str) -> Shape | None:
    """Make the shape that a file describes.

    Parameters
    ----------
    keys : Keys
        The file; problems are added to it.
    name : str
        A key of `SHAPE_KEYS`.

    Returns
    -------
    Shape or None
        None when a problem of its own keys stands in the way.

    Examples
    --------
    >>> keys = Keys({"diameter_mm": 1200, "height_mm": 130})
    >>> build_shape(keys, "vertical_cylinder")
    >>> str(keys.problems[0])
    "height_mm: give a value of 300 to 4000 mm; 130 cm would be 1300 mm (seen: '130')"
    """
    before = len(keys.problems)
    _refuse_tilt(keys, name)
    build = _BUILDERS[name](keys)
    return build() if len(keys.problems) == before else None


# Each reader reads and checks its keys and gives what makes the shape once all of them are good.
_Build = Callable[[], Shape]


def _rectangular(keys: Keys) -> _Build:
    keys.require("length_mm", "width_mm", "height_mm")
    length, width, height = _length(keys, "length_mm"), _length(keys, "width_mm"), _height(keys, "height_mm")
    edges = keys.choice("edges", EDGES, default="vertical")
    shorter = min(length, width) if edges == "vertical" else min(width, height)
    radius = keys.number("edge_radius_mm", low=0.0, high=GREATEST_HEIGHT_MM / 2.0, default=0.0, unit="mm")
    if radius > shorter / 2.0:
        keys.report(
            "out_of_range", "edge_radius_mm", f"give at most half the shorter side, {shorter / 2.0:g} mm"
        )
    if edges == "long":
        return lambda: LyingBox(length, width, height, edge_radius_mm=radius)
    return lambda: UprightBox(length, width, height, edge_radius_mm=radius)


def _vertical_cylinder(keys: Keys) -> _Build:
    keys.require("diameter_mm", "height_mm")
    diameter, height = _length(keys, "diameter_mm"), _height(keys, "height_mm")
    return lambda: UprightCylinder(diameter, height)


def _horizontal_cylinder(keys: Keys) -> _Build:
    keys.require("diameter_mm", "length_mm")
    diameter, length = _height(keys, "diameter_mm"), _length(keys, "length_mm")
    head = _head(keys, diameter)
    tilt = keys.number("tilt_deg", low=0.0, high=MAX_TILT_DEG, default=0.0, unit="degrees")
    dip_at = keys.number("dip_at_mm", low=0.0, high=GREATEST_LENGTH_MM, default=0.0, unit="mm")
    if dip_at > length:
        keys.report("out_of_range", "dip_at_mm", f"give at most length_mm, {length:g}, from the low end")
    return lambda: LyingCylinder(diameter, length, head(), tilt_deg=tilt, dip_at_mm=dip_at)


def _head(keys: Keys, diameter: float) -> Callable[[], Head]:
    ends = keys.choice("ends", ENDS, default="flat")
    for key in ("dish_radius_fraction", "knuckle_radius_fraction"):
        if keys.has(key) and ends and ends != "torispherical":
            keys.report("foreign_key", key, 'leave it out, or give ends = "torispherical"')
    if ends == "torispherical":
        dish = keys.number("dish_radius_fraction", low=0.5, high=2.0, default=DISH_RADIUS_FRACTION)
        knuckle = keys.number("knuckle_radius_fraction", low=0.0, high=0.5, default=KNUCKLE_RADIUS_FRACTION)
        if knuckle > dish:
            keys.report("out_of_range", "knuckle_radius_fraction", "give at most dish_radius_fraction")
        return lambda: Torispherical(diameter / 2.0, dish, knuckle)
    if ends == "elliptical":
        return lambda: Elliptical(diameter / 2.0, ELLIPTICAL_DEPTH_FRACTION * diameter)
    if ends == "hemispherical":
        return lambda: Elliptical(diameter / 2.0, diameter / 2.0)
    return Flat


def _vertical_oval(keys: Keys) -> _Build:
    length, width, height = _oval_sides(keys)
    if height < width:
        keys.report("out_of_range", "height_mm", 'give at least width_mm, or shape = "horizontal_oval"')
    return lambda: upright_oval(length_mm=length, width_mm=width, height_mm=height)


def _horizontal_oval(keys: Keys) -> _Build:
    length, width, height = _oval_sides(keys)
    if width < height:
        keys.report("out_of_range", "width_mm", 'give at least height_mm, or shape = "vertical_oval"')
    return lambda: lying_oval(length_mm=length, width_mm=width, height_mm=height)


def _oval_sides(keys: Keys) -> tuple[float, float, float]:
    keys.require("length_mm", "width_mm", "height_mm")
    return _length(keys, "length_mm"), _length(keys, "width_mm"), _height(keys, "height_mm")


def _moulded(keys: Keys) -> _Build:
    keys.require("capacity_l", "height_mm")
    capacity = keys.number("capacity_l", low=LEAST_CAPACITY_L, high=GREATEST_CAPACITY_L, unit="l")
    height = _height(keys, "height_mm")
    return lambda: Moulded(capacity, height)


def _strapping_table(keys: Keys) -> _Build:
    key = "table" if keys.has("table") and not keys.has("rows") else "rows"
    keys.require(key)
    rows = keys.values.get(key, [])
    if keys.has("rows") and keys.has("table"):
        keys.report("twice", "table", "give the rows once, as rows", seen="")
    if not isinstance(rows, list) or not all(isinstance(row, list | dict) for row in rows):
        keys.report("not_a_table", key, "give rows of dip and litres: [[0, 0], [100, 95]]")
        rows = []
    elif keys.has(key) and not 2 <= len(rows) <= MAX_TABLE_ROWS:
        keys.report("table_rows", key, f"give 2 to {MAX_TABLE_ROWS} rows", seen=f"{len(rows)} rows")
        rows = []
    pairs = [_table_row(keys, key, number, row) for number, row in enumerate(rows, start=1)]
    _check_rising(keys, key, pairs)
    _check_gaps(keys, key, [dip for dip, _ in pairs])
    if pairs:
        _check_height(keys, key, pairs[-1][0])
    return lambda: StrappingTable(tuple(dip for dip, _ in pairs), tuple(litres for _, litres in pairs))


def _table_row(keys: Keys, key: str, number: int, row: object) -> tuple[float, float]:
    pair = [row.get("dip_mm"), row.get("litres")] if isinstance(row, dict) else row
    if not isinstance(pair, list) or len(pair) != 2:
        keys.report("table_row", key, "give each row a dip and its litres", seen=row, row=number)
        return math.nan, math.nan
    for value in pair:
        mend = number_mend(value)
        if mend or value < 0:
            mend = mend or "give 0 or more"
            keys.report("not_a_number", key, f"{mend} for dip and litres", seen=pair, row=number)
            return math.nan, math.nan
    return float(pair[0]), float(pair[1])


def _check_rising(keys: Keys, key: str, pairs: list[tuple[float, float]]) -> None:
    for number, (before, after) in enumerate(pairwise(pairs), start=2):
        if after[0] <= before[0] or after[1] <= before[1]:
            keys.report(
                "not_rising",
                key,
                "give rows in which dip and litres both rise",
                seen=list(after),
                row=number,
            )


def _check_gaps(keys: Keys, key: str, dips: list[float]) -> None:
    steps = [after - before for before, after in pairwise(dips)]
    if len(steps) < 3 or any(not step > 0 for step in steps):  # too few to know the usual step, or reported
        return
    usual = sorted(steps)[len(steps) // 2]
    for number, step in enumerate(steps, start=2):
        if step > TABLE_GAP * usual:
            low, high = dips[number - 2], dips[number - 1]
            keys.report(
                "table_gap",
                key,
                f"add the rows between {low:g} and {high:g} mm",
                seen=f"{step:g} mm between rows, usually {usual:g}",
                row=number,
            )


_BUILDERS: Mapping[str, Callable[[Keys], _Build]] = MappingProxyType(
    {
        "rectangular": _rectangular,
        "vertical_cylinder": _vertical_cylinder,
        "horizontal_cylinder": _horizontal_cylinder,
        "vertical_oval": _vertical_oval,
        "horizontal_oval": _horizontal_oval,
        "table": _strapping_table,
        "moulded": _moulded,
    }
)


def _refuse_tilt(keys: Keys, name: str) -> None:
    if name != "horizontal_cylinder" and keys.values.get("tilt_deg", 0) != 0:
        keys.report(
            "tilt",
            "tilt_deg",
            "tilt is worked out for a horizontal cylinder only: level the tank, or give a strapping table",
        )


def _length(keys: Keys, key: str) -> float:
    return keys.number(key, low=LEAST_LENGTH_MM, high=GREATEST_LENGTH_MM, unit="mm")


def _height(keys: Keys, key: str) -> float:
    value = keys.values.get(key)
    if value is None or number_mend(value):
        return keys.number(key, low=LEAST_HEIGHT_MM, high=GREATEST_HEIGHT_MM, unit="mm")
    _check_height(keys, key, value)
    return float(value)


def _check_height(keys: Keys, key: str, height_mm: float) -> None:
    """Refuse an implausible height, saying what it would be in centimetres, metres or inches."""
    if LEAST_HEIGHT_MM <= height_mm <= GREATEST_HEIGHT_MM or math.isnan(height_mm):
        return
    hint = ""
    for unit, mm in (("cm", 10.0), ("m", 1000.0)):
        if LEAST_HEIGHT_MM <= height_mm * mm <= GREATEST_HEIGHT_MM:
            hint = f"; {height_mm:g} {unit} would be {height_mm * mm:g} mm"
    keys.report(
        "implausible_height",
        key,
        f"give a value of {LEAST_HEIGHT_MM:g} to {GREATEST_HEIGHT_MM:g} mm{hint}",
        seen=show(height_mm),
    )
