"""The strips under the fan: hatching for the chance of being dry, its two dates, the order window.

Flow     forecast -> **strips** -> fan
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Literal

from api.pages.charts import palette
from api.pages.charts.days import DaySpan
from api.pages.charts.told import ChanceMark, last_safe_day, order_days, order_words
from api.pages.charts.vega import Piece, layer, strip, stroke, words
from forecaster.confidence import DayOutlook, OrderAdvice

HATCH_APART_PX, HATCH_HEIGHT_PX, HATCH_SLANT_PX = 6.0, 16, 4.0
HATCH_THINNEST_PX, HATCH_THICKEST_PX = 0.4, 3.8
LEAST_SEEN = 0.002
"""A smaller chance of being dry is not hatched. [-]"""


@dataclass(frozen=True, slots=True)
class Size:
    """How large a picture is drawn in pixels, how many dates fit under it, how wide a mark's words are."""

    width: int
    height: int
    most_ticks: int
    words_px: float
    margin_px: float
    is_short: bool
    font_px: int = 13

    @property
    def line_px(self) -> float:
        """Height of a line of words."""
        return self.font_px + 5.0


DESK = Size(width=560, height=290, most_ticks=9, words_px=172.0, margin_px=60.0, is_short=False)
PHONE = Size(width=262, height=210, most_ticks=5, words_px=104.0, margin_px=60.0, is_short=True)


def draw_hatching(days: Sequence[DayOutlook], *, size: Size) -> Piece:
    """Draw slanting strokes whose thickness is the chance of being dry by then."""
    rows = []
    strokes = int(size.width / HATCH_APART_PX)
    for i in range(strokes):
        at = (i + 0.5) / strokes
        chance = days[min(int(at * len(days)), len(days) - 1)].p_dry
        if chance >= LEAST_SEEN:
            thick = HATCH_THINNEST_PX + (HATCH_THICKEST_PX - HATCH_THINNEST_PX) * chance
            x = at * size.width
            rows.append({"x": x - HATCH_SLANT_PX, "x2": x + HATCH_SLANT_PX, "thick": thick})
    scale = {"domain": [0, size.width], "nice": False}
    hatch = layer(
        {"type": "rule", "color": palette.HATCH, "clip": True},
        {
            "x": {"field": "x", "type": "quantitative", "scale": scale, "axis": None},
            "x2": {"field": "x2"},
            "y": {"value": HATCH_HEIGHT_PX},
            "y2": {"value": 0},
            "strokeWidth": {"field": "thick", "type": "quantitative", "scale": None, "legend": None},
        },
        rows,
    )
    title = words(
        "chance that the boiler has stopped", x=0, y=-10, align="left", size_px=size.font_px,
        colour=palette.FAINT,
    )  # fmt: skip
    framed = strip([hatch, title], width=size.width, height=HATCH_HEIGHT_PX)
    return {**framed, "view": {"stroke": palette.FAINT}}


@dataclass(frozen=True, slots=True)
class Placed:
    """A mark's words: on which line, on which side of their stroke."""

    line: int
    side: Literal["left", "right"]


def place_marks(at: Sequence[float], *, size: Size) -> tuple[Placed, ...]:
    """Place the words of one or two marks so that no stroke runs through words.

    Parameters
    ----------
    at
        Where the strokes stand, from the left. [px]

    Examples
    --------
    >>> place_marks([300.0, 340.0], size=DESK)
    (Placed(line=0, side='left'), Placed(line=1, side='left'))
    >>> place_marks([20.0, 60.0], size=DESK)
    (Placed(line=1, side='right'), Placed(line=0, side='right'))
    """

    def roomy(x: float) -> Literal["left", "right"]:
        return "right" if x + size.words_px <= size.width + size.margin_px else "left"

    if len(at) < 2:
        return tuple(Placed(0, roomy(x)) for x in at)
    first, second = at
    if first >= size.words_px:
        return Placed(0, "left"), Placed(1, "left" if second >= size.words_px else "right")
    if first + size.words_px <= second:
        return Placed(0, "right"), Placed(1, roomy(second))
    return Placed(1, "right"), Placed(0, "right")


def draw_marks(marks: Sequence[ChanceMark], *, shown: DaySpan, size: Size) -> Piece:
    """Draw the dates that are told, each with a stroke out of the hatching."""
    # by the end of the day: where the next begins
    at = {m: _share(m.day + timedelta(days=1), shown) * size.width for m in marks if m.day < shown.end}
    layers = []
    for (mark, x), placed in zip(at.items(), place_marks(list(at.values()), size=size), strict=True):
        y = size.line_px * (placed.line + 0.5)
        layers.append(stroke(x, -HATCH_HEIGHT_PX - 2, x, y + 5, colour=palette.INK, width=1.5))
        layers.append(
            words(
                mark.short if size.is_short else mark.text, x=x + (5 if placed.side == "right" else -5), y=y,
                align="left" if placed.side == "right" else "right", size_px=size.font_px, colour=palette.INK,
            )
        )  # fmt: skip
    if not layers:
        few = "less than 1 in 10 in these days"
        layers.append(
            words(few, x=0, y=size.line_px * 0.5, align="left", size_px=size.font_px, colour=palette.INK)
        )
    return strip(layers, width=size.width, height=int(size.line_px * max(len(at), 1)) + 4)


def draw_order(order: OrderAdvice, today: date, *, shown: DaySpan, size: Size) -> Piece:
    """Draw the order window as a bracket from the beginning of its first day to the end of its last.

    Where there is none, an edge marks the last day that is safe from running dry.
    """
    text = order_words(order, today=today)
    window = order_days(order, today=today)
    last = last_safe_day(order, today=today)
    if window is None and last is None:
        line = words(text, x=0, y=12, align="left", size_px=size.font_px, colour=palette.INK)
        return strip([line], width=size.width, height=24)

    def edge(x: float) -> Piece:
        return stroke(x, 4, x, 13, colour=palette.INK, width=2.5)

    def at(day: date) -> float:
        return min(max(_share(day, shown), 0.0), 1.0) * size.width

    if window is not None:
        left, right = at(window[0]), at(window[1] + timedelta(days=1))
        layers = [stroke(left, 12, right, 12, colour=palette.INK, width=2.5), edge(left), edge(right)]
    else:
        assert last is not None
        left = right = at(last + timedelta(days=1))
        layers = [edge(right)]
    # rather from the bracket's end inward than out of the picture
    align, x = ("left", left) if left + right < size.width else ("right", right)
    layers.append(words(text, x=x, y=26, align=align, size_px=size.font_px, colour=palette.INK))
    return strip(layers, width=size.width, height=36)


def _share(day: date, shown: DaySpan) -> float:
    """Where a day begins on the axis, from 0 at the left to 1 at the right."""
    return (day - shown.first).days / shown.days
