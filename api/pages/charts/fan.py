"""The fan of litres, the chance of being dry, and the order window, on one time axis.

::

    litres  |~~~---...____                   safe fill
            |      ~~~~----....____
            |____________________~~~~____    heel
             20 Jan   27 Jan   3 Feb
            chance that the boiler has stopped
            [.  /  / // // /// ///////// ]   the thicker the likelier
                   | 1 in 10 by ...
                |_______|
                order ... to ...

Flow     forecast, tank -> **fan** -> svg -> template
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import timedelta
from zoneinfo import ZoneInfo

from markupsafe import Markup

from api.pages.charts import palette
from api.pages.charts.days import DaySpan, day_ticks, days_shown
from api.pages.charts.strips import DESK, PHONE, Size, draw_hatching, draw_marks, draw_order
from api.pages.charts.svg import FONT, draw_png, draw_svg
from api.pages.charts.told import chance_marks, floor_l, say_fan
from api.pages.charts.vega import Piece, layer, lookup, stamp, strip, stroke, words
from forecaster.civil import civil_date
from forecaster.confidence import DayOutlook, ToldForecast
from forecaster.tanks import Tank

QUANTILES = ("p025", "p10", "p25", "p50", "p75", "p90", "p975")
BANDS = (
    ("p025", "p975", palette.OIL_95),
    ("p10", "p90", palette.OIL_80),
    ("p25", "p75", palette.OIL_50),
)
"""Lower and upper edge and shade of each band, the widest first."""
TOP = 1.06
"""The litres' axis reaches so far above the safe fill."""
AXIS_PX = 42
"""Room for the dates under the fan, and for the words over the hatching."""


@dataclass(frozen=True, slots=True)
class FanPicture:
    """The fan for a desk and for a phone, and what it shows in words."""

    desk: Markup
    phone: Markup
    says: str


def draw_fan(forecast: ToldForecast, tank: Tank, *, zone: ZoneInfo, shown: DaySpan) -> FanPicture:
    """Draw what a told forecast sees ahead."""
    desk, phone = (
        draw_svg(describe_fan(forecast, tank, zone=zone, shown=shown, size=size)) for size in (DESK, PHONE)
    )
    return FanPicture(desk, phone, say_fan(forecast, tank, zone=zone, shown=shown))


def draw_fan_png(forecast: ToldForecast, tank: Tank, *, zone: ZoneInfo) -> bytes:
    """Draw the same as PNG, in the size of a phone."""
    return draw_png(describe_fan(forecast, tank, zone=zone, shown=days_shown(forecast), size=PHONE))


def describe_fan(forecast: ToldForecast, tank: Tank, *, zone: ZoneInfo, shown: DaySpan, size: Size) -> Piece:
    """Describe the picture in Vega-Lite."""
    today = civil_date(forecast.as_of, zone)
    days = forecast.daily[: shown.days]
    room_for_dates = strip([], width=size.width, height=AXIS_PX)
    room_for_dates["layer"] = [stroke(0, 0, 0, 0, colour="transparent", width=0)]
    return {
        "vconcat": [
            _litres(forecast, tank, days, zone=zone, shown=shown, size=size),
            room_for_dates,
            draw_hatching(days, size=size),
            draw_marks(chance_marks(forecast), shown=shown, size=size),
            draw_order(forecast.order, today, shown=shown, size=size),
        ],
        "spacing": 2,
        "bounds": "flush",
        "background": "transparent",
        "config": {"font": FONT, "aria": False, "view": {"stroke": None}},
    }


def _litres(
    forecast: ToldForecast,
    tank: Tank,
    days: Sequence[DayOutlook],
    *,
    zone: ZoneInfo,
    shown: DaySpan,
    size: Size,
) -> Piece:
    floor = floor_l(forecast, tank)
    # a day's litres are those of its end, which is where the next day begins
    rows = [
        {
            "t": stamp(day.date + timedelta(days=1)),
            **{name: max(getattr(day, name), floor) for name in QUANTILES},
        }
        for day in days
    ]
    local = forecast.as_of.astimezone(zone)
    band = forecast.litres
    now = [{"t": f"{local:%Y-%m-%dT%H:%M:%S}Z", "p10": band.p10, "p50": band.p50, "p90": band.p90}]
    x = _time(shown, size=size)
    y = _scale(max(tank.safe_fill_l * TOP, band.p90 * 1.02), size=size)
    brown = {"color": palette.OIL_LINE, "strokeWidth": 2}
    layers = [
        *(
            layer(
                {"type": "area", "color": shade, "opacity": 1},
                {"x": x, "y": {"field": low, **y}, "y2": {"field": high}},
                rows,
            )
            for low, high, shade in BANDS
        ),
        layer({"type": "line", **brown}, {"x": x, "y": {"field": "p50", **y}}, rows),
        layer({"type": "rule", **brown}, {"x": x, "y": {"field": "p10", **y}, "y2": {"field": "p90"}}, now),
        layer(
            {"type": "point", "fill": palette.OIL_LINE, "color": palette.OIL_LINE, "size": 36, "opacity": 1},
            {"x": x, "y": {"field": "p50", **y}},
            now,
        ),
        *_limit("safe fill", tank.safe_fill_l, y=y, size=size),
        *_limit("heel", tank.heel_l, y=y, size=size),
        words("litres", x=-6, y=-6, align="right", size_px=size.font_px, colour=palette.FAINT),
    ]
    return strip(layers, width=size.width, height=size.height)


def _time(shown: DaySpan, *, size: Size) -> Piece:
    labels = {tick.day: tick.label for tick in day_ticks(shown, most=size.most_ticks)}
    return {
        "field": "t",
        "type": "temporal",
        "title": None,
        "scale": {"type": "utc", "domain": [stamp(shown.first), stamp(shown.end)], "nice": False},
        "axis": {
            "values": [stamp(day) for day in labels],
            "labelExpr": lookup(labels),
            "labelOverlap": False,
            "labelFontSize": size.font_px,
            "labelColor": palette.INK,
            "gridColor": palette.GRID,
            "domainColor": palette.FAINT,
            "tickColor": palette.FAINT,
        },
    }


def _scale(top: float, *, size: Size) -> Piece:
    return {
        "type": "quantitative",
        "title": None,
        "scale": {"domain": [0, top], "nice": False},
        "axis": {
            "tickCount": 5,
            "format": ",.0f",
            "domain": False,
            "ticks": False,
            "labelPadding": 6,
            "labelFontSize": size.font_px,
            "labelColor": palette.INK,
            "gridColor": palette.GRID,
        },
    }


def _limit(name: str, litres: float, *, y: Piece, size: Size) -> Iterator[Piece]:
    """A dashed line across, with its name to the right of the fan where nothing else stands."""
    rows = [{"y": litres, "name": name}]
    dashes = {"type": "rule", "color": palette.INK, "strokeDash": [5, 4], "strokeWidth": 1}
    yield layer(dashes, {"y": {"field": "y", **y}}, rows)
    text = {
        "type": "text", "align": "left", "baseline": "middle", "dx": 6, "fontSize": size.font_px,
        "color": palette.INK,
    }  # fmt: skip
    yield layer(text, {"x": {"value": size.width}, "y": {"field": "y", **y}, "text": {"field": "name"}}, rows)
