"""Sketches of tanks to be measured, the dimension asked for lit up; our own drawings, not to scale.

Flow     shape, dimension -> **sketch** -> set-up pages
"""

from collections.abc import Mapping
from dataclasses import dataclass, field

from markupsafe import Markup

WIDTH_PX, HEIGHT_PX = 200, 130
_TICK_PX = 5.0

Point = tuple[float, float]


@dataclass(frozen=True, slots=True)
class Sketch:
    """A tank drawn once: lines before and behind, and where each dimension runs.

    Attributes
    ----------
    near, far
        Paths of edges that are seen, and of those that are not.
    spans
        Both ends of each dimension, by its name.
    spots
        Areas that are lit up instead of a line, such as the label.
    """

    near: tuple[str, ...]
    far: tuple[str, ...] = ()
    spans: Mapping[str, tuple[Point, Point]] = field(default_factory=dict)
    spots: Mapping[str, str] = field(default_factory=dict)


_PLATE_BOX = "M{x},{y} h26 v14 h-26 z"
_ON_TOP = "M88,38 v-12 h24 v12"

SKETCHES: Mapping[str, Sketch] = {
    "rectangular": Sketch(
        near=("M24,46 h104 v64 h-104 z", "M24,46 l40,-26 h104 l-40,26", "M168,20 v64 l-40,26"),
        far=("M24,110 l40,-26 v-64", "M64,84 h104"),
        spans={
            "length": ((24, 121), (128, 121)),
            "width": ((136, 118), (176, 92)),
            "height": ((14, 46), (14, 110)),
        },
        spots={"capacity": _PLATE_BOX.format(x=63, y=70)},
    ),
    "horizontal_cylinder": Sketch(
        near=(
            "M44,24 a16,43 0 1 0 0.1,0 z",
            "M44,24 h112 a16,43 0 0 1 0,86 h-112",
            "M66,110 v8 h14 v-8 M124,110 v8 h14 v-8",
        ),
        spans={"diameter": ((44, 26), (44, 108)), "length": ((44, 124), (156, 124))},
        spots={"capacity": _PLATE_BOX.format(x=96, y=60)},
    ),
    "vertical_cylinder": Sketch(
        near=("M55,28 a45,12 0 1 0 90,0 a45,12 0 1 0 -90,0 z", "M55,28 v78 a45,12 0 0 0 90,0 v-78"),
        far=("M55,106 a45,12 0 0 1 90,0",),
        spans={"diameter": ((57, 28), (143, 28)), "height": ((42, 28), (42, 106))},
        spots={"capacity": _PLATE_BOX.format(x=87, y=66)},
    ),
    "vertical_oval": Sketch(
        near=(
            "M24,42 a18,18 0 0 1 36,0 v46 a18,18 0 0 1 -36,0 z",
            "M42,24 l96,-10 a18,18 0 0 1 18,18 v46 a18,18 0 0 1 -18,18 l-96,10",
        ),
        spans={
            "length": ((44, 118), (140, 108)),
            "width": ((25, 66), (59, 66)),
            "height": ((14, 24), (14, 106)),
        },
        spots={"capacity": _PLATE_BOX.format(x=96, y=52)},
    ),
    "horizontal_oval": Sketch(
        near=(
            "M40,58 h40 a24,24 0 0 1 0,48 h-40 a24,24 0 0 1 0,-48 z",
            "M40,58 l70,-36 h40 a24,24 0 0 1 11,45.3 l-70,36",
        ),
        spans={
            "length": ((104, 110), (174, 74)),
            "width": ((17, 82), (103, 82)),
            "height": ((8, 58), (8, 106)),
        },
        spots={"capacity": _PLATE_BOX.format(x=110, y=46)},
    ),
    "moulded": Sketch(
        near=(
            "M46,34 q0,-10 10,-10 h88 q10,0 10,10 v70 q0,10 -10,10 h-88 q-10,0 -10,-10 z",
            "M64,32 v74 M82,32 v74 M118,32 v74 M136,32 v74",
            "M90,24 v-8 h20 v8",
        ),
        spans={"height": ((30, 24), (30, 114))},
        spots={"capacity": _PLATE_BOX.format(x=87, y=56)},
    ),
    "table": Sketch(
        near=("M58,14 h84 v104 h-84 z", "M58,34 h84 M100,14 v104"),
        far=("M66,48 h22 M110,48 h24 M66,64 h22 M110,64 h24 M66,80 h22 M110,80 h24 M66,96 h22 M110,96 h24",),
        spots={"table": "M60,36 h80 v80 h-80 z"},
    ),
    "sensor": Sketch(
        near=("M40,38 h120 v76 h-120 z", _ON_TOP, "M40,82 h120"),
        far=("M46,92 h20 M80,98 h30 M124,92 h26",),
        spans={"sensor": ((122, 38), (122, 113)), "ullage": ((100, 39), (100, 81))},
        spots={"gauge": "M168,60 h14 v48 h-14 z"},
    ),
}
"""For each shape of tank.toml, and for the sensor on top of one."""


def draw_sketch(name: str, lit: str = "") -> Markup:
    """Draw a tank with one dimension lit up, the others faint.

    Examples
    --------
    >>> draw_sketch("moulded", "height").count('class="span lit"')
    1
    """
    sketch = SKETCHES[name]
    parts = [f'<path class="behind" d="{path}"/>' for path in sketch.far]
    parts += [f'<path class="spot{_lit(spot == lit)}" d="{path}"/>' for spot, path in sketch.spots.items()]
    parts += [f'<path class="edge" d="{path}"/>' for path in sketch.near]
    parts += [
        f'<path class="span{_lit(span == lit)}" d="{_measured(*ends)}"/>'
        for span, ends in sorted(sketch.spans.items(), key=lambda item: item[0] == lit)
        if not lit or span == lit
    ]
    return Markup(  # noqa: S704 - made of the constants above alone
        f'<svg class="sketch" viewBox="0 0 {WIDTH_PX} {HEIGHT_PX}" aria-hidden="true" focusable="false">'
        f"{''.join(parts)}</svg>"
    )


def _lit(is_lit: bool) -> str:
    return " lit" if is_lit else ""


def _measured(start: Point, end: Point) -> str:
    """A line with a tick across each end, as drawings have it."""
    (x0, y0), (x1, y1) = start, end
    long = ((x1 - x0) ** 2 + (y1 - y0) ** 2) ** 0.5
    across_x, across_y = -(y1 - y0) / long * _TICK_PX, (x1 - x0) / long * _TICK_PX
    ticks = " ".join(
        f"M{x - across_x:.1f},{y - across_y:.1f} L{x + across_x:.1f},{y + across_y:.1f}"
        for x, y in (start, end)
    )
    return f"M{x0:.1f},{y0:.1f} L{x1:.1f},{y1:.1f} {ticks}"
