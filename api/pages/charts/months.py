"""Where the oil went: a column for each month, what was spared below the line.

::

    litres |      ___
           |  ___|   |  heating
           | |   |   |
           | |___|___|  hot water
         0 |_|___|___|_____
           | |   |   |  spared by sun, by wood
              Dec  Jan

Flow     account -> **columns** -> svg -> template
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from markupsafe import Markup

from api.pages.charts import palette
from api.pages.charts.strips import DESK, PHONE, Size
from api.pages.charts.svg import FONT, draw_svg
from api.pages.charts.vega import Piece, layer, strip, stroke, words

if TYPE_CHECKING:
    from forecaster.account import Entry

MOST_MONTHS = 36
"""Columns on a desk; a phone shows the newest twelve."""
ON_A_PHONE = 12
BURNED = (("hot_water", palette.OIL_50), ("heating", palette.OIL_80))
SPARED = (("sun", palette.SUN), ("panels", palette.SUN), ("wood", palette.WOOD))


@dataclass(frozen=True, slots=True)
class MonthsPicture:
    """The columns for a desk and for a phone, and what they show in words."""

    desk: Markup
    phone: Markup
    says: str


def draw_months(months: "Sequence[Entry]", *, says: str) -> MonthsPicture:
    """Draw an account's months.

    Parameters
    ----------
    months
        In order of time, at least one.
    says
        What the picture shows, for whoever does not see it.
    """
    desk = draw_svg(describe_months(months[-MOST_MONTHS:], size=DESK))
    return MonthsPicture(desk, draw_svg(describe_months(months[-ON_A_PHONE:], size=PHONE)), says)


def describe_months(months: "Sequence[Entry]", *, size: Size) -> Piece:
    """Describe the picture in Vega-Lite."""
    rows = [row for i, month in enumerate(months) for row in _stack(i, month)]
    every = -(-len(months) // size.most_ticks)
    labels = {i: _label(month, is_first=i == 0) for i, month in enumerate(months) if i % every == 0}
    named = "{" + ", ".join(f"'{i}': '{text}'" for i, text in labels.items()) + "}[datum.value]"
    x = {
        "field": "month", "type": "ordinal", "title": None, "sort": None,
        "scale": {"domain": list(range(len(months))), "paddingInner": 0.22, "paddingOuter": 0.15},
        "axis": {
            "values": list(labels), "labelExpr": named, "labelAngle": 0, "labelOverlap": False,
            "labelFontSize": size.font_px, "labelColor": palette.INK, "domain": False, "ticks": False,
            "orient": "bottom", "labelPadding": 6,
        },
    }  # fmt: skip
    y = {
        "type": "quantitative", "title": None,
        "axis": {
            "tickCount": 5, "labelExpr": "format(abs(datum.value), ',.0f')", "domain": False, "ticks": False,
            "labelPadding": 6, "labelFontSize": size.font_px, "labelColor": palette.INK,
            "gridColor": palette.GRID,
        },
    }  # fmt: skip
    # no stroke around a piece: the colours differ in lightness, and the order is told beside the picture
    columns = [
        layer(
            {"type": "bar", "color": colour},
            {"x": x, "y": {"field": "low", **y}, "y2": {"field": "high"}},
            [row for row in rows if row["colour"] == colour],
        )
        for colour in dict.fromkeys(str(row["colour"]) for row in rows)
    ]
    zero = layer(
        {"type": "rule", "color": palette.INK, "strokeWidth": 1}, {"y": {"field": "y", **y}}, [{"y": 0}]
    )
    named_axis = words("litres", x=-6, y=-8, align="right", size_px=size.font_px, colour=palette.FAINT)
    # room above for the axis's name
    room = stroke(0, -14, 0, -14, colour="transparent", width=0)
    drawn = strip([*columns, zero, named_axis, room], width=size.width, height=size.height)
    return {
        **drawn,
        "background": "transparent",
        "config": {"font": FONT, "aria": False, "view": {"stroke": None}},
    }


def _stack(index: int, month: "Entry") -> list[dict[str, object]]:
    """Pieces of one column: what was burned upwards, what was spared downwards."""
    found: list[dict[str, object]] = []
    for parts, way in ((BURNED, 1.0), (SPARED, -1.0)):
        at = 0.0
        for name, colour in parts:
            litres = max(getattr(month, name).mean, 0.0)
            if litres > 0.0:
                found.append({"month": index, "low": at, "high": at + way * litres, "colour": colour})
                at += way * litres
    return found


def _label(month: "Entry", *, is_first: bool) -> str:
    return f"{month.first:%b %Y}" if is_first or month.first.month == 1 else f"{month.first:%b}"
