"""The few pieces of Vega-Lite that the fan is made of, as plain objects.

Written out rather than through a library of classes: checking and copying those took seconds a page,
this takes none. That the descriptions are valid Vega-Lite is a test.

Flow     **pieces** -> fan -> svg
"""

from collections.abc import Mapping, Sequence
from datetime import date
from typing import Any

Piece = dict[str, Any]
"""A part of a Vega-Lite description."""


def layer(mark: Piece, encoding: Piece, rows: Sequence[Mapping[str, object]]) -> Piece:
    """One kind of mark over some rows."""
    return {"data": {"values": list(rows)}, "mark": mark, "encoding": encoding}


def words(text: str, *, x: float, y: float, align: str, size_px: int, colour: str) -> Piece:
    """A line of words at a place in the strip. [px]"""
    mark = {"type": "text", "align": align, "baseline": "middle", "fontSize": size_px, "color": colour}
    return layer(mark, {"x": {"value": x}, "y": {"value": y}, "text": {"field": "text"}}, [{"text": text}])


def stroke(x: float, y: float, x2: float, y2: float, *, colour: str, width: float) -> Piece:
    """A straight line in the strip. [px]"""
    ends = {"x": {"value": x}, "y": {"value": y}, "x2": {"value": x2}, "y2": {"value": y2}}
    return layer({"type": "rule", "color": colour, "strokeWidth": width}, ends, [{}])


def strip(layers: Sequence[Piece], *, width: int, height: int) -> Piece:
    """A strip of the picture with everything in it."""
    return {"width": width, "height": height, "layer": list(layers)}


def stamp(day: date) -> str:
    """The beginning of a civil day, written as an instant: the axis runs in the tank's own time."""
    return f"{day.isoformat()}T00:00:00Z"


def lookup(labels: Mapping[date, str]) -> str:
    """An expression that gives each mark of a time axis its label."""
    pairs = ", ".join(f"'{day.isoformat()}': '{label}'" for day, label in labels.items())
    return "{" + pairs + "}[utcFormat(datum.value, '%Y-%m-%d')]"
