"""The tank in its section, to scale: level, spread, safe fill, heel, litres a centimetre.

Where a shape has a true section (boxes, cylinders, ovals) that is drawn; where only litres by height
are known (moulded tanks, strapping tables) the width at each height follows the litres a centimetre.

Flow     forecast, tank -> **section** -> template
"""

from dataclasses import dataclass
from zoneinfo import ZoneInfo

import numpy as np

from api.pages.charts.told import known_to_l
from forecaster.civil import civil_date
from forecaster.confidence import Forecast, ToldForecast
from forecaster.phrases import day_text, litres_text
from forecaster.tanks import (
    LyingBox,
    LyingCylinder,
    Shape,
    StrappingTable,
    Tank,
    UprightBox,
    UprightCylinder,
)
from forecaster.units import MM_PER_CM, Floats

BOX_WIDTH_PX, BOX_HEIGHT_PX = 165.0, 200.0
"""The tank is drawn as large as fits into that."""
MARGIN_PX, LABELS_PX = 4.0, 192.0
LINE_PX = 18.0
"""Labels stand at least so far apart."""
HEIGHTS = 97
LITRE_MM = 1e6
"""A litre in mm³."""


@dataclass(frozen=True, slots=True)
class LevelMark:
    """A level across the tank with its label: where, where the label stands, what it says.

    ``kind`` is the class of the style sheet: safe, level, past or heel.
    """

    kind: str
    y: float
    label_y: float
    lines: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class SectionPicture:
    """The section, in pixels of its own view; None for areas that are not to be drawn.

    ``oil`` is filled, ``spread`` lies around the level where it is known between two values,
    ``heel`` is what the draw-off cannot reach.
    """

    width: float
    height: float
    left: float
    right: float
    outline: str
    oil: str | None
    spread: str | None
    heel: str
    marks: tuple[LevelMark, ...]
    is_past: bool
    says: str
    note: str


@dataclass(frozen=True, slots=True)
class _Canvas:
    """Heights and widths of a tank, and how they fall on the picture."""

    height_mm: Floats
    width_mm: Floats
    scale: float

    @property
    def middle(self) -> float:
        return MARGIN_PX + float(self.width_mm.max()) * self.scale / 2.0

    def y(self, height_mm: float) -> float:
        return MARGIN_PX + (float(self.height_mm[-1]) - height_mm) * self.scale

    def area(self, low_mm: float, high_mm: float) -> str:
        """Outline of the section between two heights, as points."""
        inside = (self.height_mm > low_mm) & (self.height_mm < high_mm)
        heights = np.concatenate([[low_mm], self.height_mm[inside], [high_mm]])
        half = np.interp(heights, self.height_mm, self.width_mm) * self.scale / 2.0
        right = [(self.middle + w, self.y(h)) for w, h in zip(half.tolist(), heights.tolist(), strict=True)]
        left = [(self.middle - w, self.y(h)) for w, h in zip(half.tolist(), heights.tolist(), strict=True)]
        return " ".join(f"{x:.2f},{y:.2f}" for x, y in [*right, *left[::-1]])


def draw_section(forecast: Forecast, tank: Tank, *, zone: ZoneInfo) -> SectionPicture:
    """Draw the tank with the level as far as it may be told.

    Notes
    -----
    A withheld forecast has only the last trusted level, drawn as an empty line with its date.
    """
    canvas = _canvas(tank.shape)
    top, bottom = float(canvas.height_mm[-1]), float(canvas.height_mm[0])
    told = isinstance(forecast, ToldForecast)
    level, spread, lines = _level(forecast, tank, zone)
    dip = None if level is None else _dip(tank.shape, level)
    heel_mm = _dip(tank.shape, tank.heel_l)
    marks = [
        LevelMark(
            "safe",
            canvas.y(_dip(tank.shape, tank.safe_fill_l)),
            0.0,
            (f"safe fill {litres_text(tank.safe_fill_l)}",),
        )
    ]
    if dip is not None:
        marks.append(LevelMark("level" if told else "past", canvas.y(dip), 0.0, lines))
    marks.append(LevelMark("heel", canvas.y(heel_mm), 0.0, (f"heel {litres_text(tank.heel_l)}",)))
    # a flat tank is lower than its labels
    height = max(canvas.y(bottom) + MARGIN_PX, LINE_PX * (sum(len(mark.lines) for mark in marks) + 1))
    low_high = None if spread is None else tuple(_dip(tank.shape, litres) for litres in spread)
    return SectionPicture(
        width=canvas.middle * 2 - MARGIN_PX + LABELS_PX,
        height=height,
        left=MARGIN_PX,
        right=canvas.middle * 2 - MARGIN_PX,
        outline=canvas.area(bottom, top),
        oil=canvas.area(bottom, dip) if told and dip is not None else None,
        spread=canvas.area(*low_high) if low_high is not None else None,
        heel=canvas.area(bottom, max(heel_mm, bottom)),
        marks=_apart(marks, height),
        is_past=not told,
        says=_say(tank, lines, told=told),
        note=_note(tank.shape),
    )


def _level(
    forecast: Forecast, tank: Tank, zone: ZoneInfo
) -> tuple[float | None, tuple[float, float] | None, tuple[str, ...]]:
    """The level that may be shown, its spread, and its label."""
    match forecast:
        case ToldForecast():
            band = forecast.litres
            dip = _dip(tank.shape, band.p50)
            a_cm = float(tank.shape.litres_per_cm(dip))
            about = litres_text(band.p50, sd=known_to_l(forecast))
            return (
                band.p50,
                (band.p10, band.p90),
                (f"about {about}", f"{_short(a_cm)} litres a centimetre here"),
            )
        case _:
            last = forecast.last_trusted
            if last is None:
                return None, None, ()
            day = civil_date(last.at, zone)
            year = day.year != civil_date(forecast.as_of, zone).year
            about = litres_text(last.litres, sd=8.0)
            return last.litres, None, (f"about {about}", "last trusted on", day_text(day, year=year))


def _canvas(shape: Shape) -> _Canvas:
    low = _least_dip_mm(shape)
    high = shape.height_mm
    # close together at both ends, where a lying tank narrows
    heights = low + (high - low) / 2.0 * (1.0 - np.cos(np.linspace(0.0, np.pi, HEIGHTS)))
    heights[-1] = high
    widths = _width_mm(shape, heights)
    scale = min(BOX_WIDTH_PX / float(widths.max()), BOX_HEIGHT_PX / (high - low))
    return _Canvas(heights, widths, scale)


def _width_mm(shape: Shape, heights: Floats) -> Floats:
    """How wide the tank is at each height, seen along its length."""
    match shape:
        case UprightBox():
            return np.full(len(heights), shape.width_mm)
        case UprightCylinder():
            return np.full(len(heights), shape.diameter_mm)
        case LyingBox():
            return np.asarray(shape.surface_mm2(heights) / shape.length_mm)
        case LyingCylinder():
            return np.asarray(2.0 * np.sqrt(np.maximum(heights * (shape.diameter_mm - heights), 0.0)))
        case _:
            surface_mm2 = shape.litres_per_cm(heights) * LITRE_MM / MM_PER_CM
            return np.asarray(surface_mm2 / np.sqrt(surface_mm2.max()))


def _note(shape: Shape) -> str:
    if isinstance(shape, UprightBox | UprightCylinder | LyingBox | LyingCylinder):
        return "The tank in section, to scale."
    return "The tank by its litres at each height: the width is drawn from them."


def _dip(shape: Shape, litres: float) -> float:
    """Height of so many litres, held within what a dip can show, for drawing."""
    least, most = shape.litres([_least_dip_mm(shape), shape.height_mm])
    return float(shape.dip_mm(min(max(litres, float(least)), float(most))))


def _least_dip_mm(shape: Shape) -> float:
    return shape.dips_mm[0] if isinstance(shape, StrappingTable) else 0.0


def _apart(marks: list[LevelMark], height: float) -> tuple[LevelMark, ...]:
    """Move labels so that none stands on another: down from the top, then up from the bottom."""
    tall = [LINE_PX * len(mark.lines) for mark in marks]
    at = [mark.y - tall[i] / 2.0 for i, mark in enumerate(marks)]
    order = sorted(range(len(marks)), key=lambda i: (marks[i].y, i))
    floor = 0.0
    for i in order:
        at[i] = max(at[i], floor)
        floor = at[i] + tall[i]
    ceiling = height
    for i in reversed(order):
        at[i] = min(at[i], ceiling - tall[i])
        ceiling = at[i]
    return tuple(
        LevelMark(mark.kind, mark.y, at[i] + LINE_PX * 0.72, mark.lines) for i, mark in enumerate(marks)
    )


def _say(tank: Tank, lines: tuple[str, ...], *, told: bool) -> str:
    safe, heel = litres_text(tank.safe_fill_l), litres_text(tank.heel_l)
    limits = f"Safe fill at {safe}; the heel, where the boiler stops, at {heel}."
    if not lines:
        return f"The tank in section, without a level. {limits}"
    head = (
        "The tank in section with its level" if told else "The tank in section with the last level we trust"
    )
    return f"{head}: {', '.join(lines)}. {limits}"


def _short(value: float) -> str:
    return f"{value:.0f}" if value >= 10.0 else f"{value:.1f}"
