"""The pictures: valid, of our colours, true to the numbers, with every label in its own place."""

import json
import re
from dataclasses import replace
from datetime import date, timedelta
from importlib import resources
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from api.pages.charts import DaySpan, days_shown, draw_fan, draw_section, floor_l
from api.pages.charts.days import day_ticks
from api.pages.charts.fan import describe_fan
from api.pages.charts.palette import COLOURS
from api.pages.charts.section import LINE_PX
from api.pages.charts.strips import DESK, PHONE, Size, place_marks
from api.pages.charts.svg import FONT, draw_png
from api.pages.telling.chances import chance_words
from forecaster.confidence import LitresBand, OrderAdvice, State, ToldForecast
from forecaster.fuel import KEROSENE
from forecaster.tanks import Shape, Tank
from tests.api.pages.sights import TANK, TODAY, ZONE, some_days, told, withheld
from tests.strategies import calm, few, least_dip, shapes

SIZES = pytest.mark.parametrize("size", [DESK, PHONE], ids=["desk", "phone"])
ADVICE = {
    "window": OrderAdvice(TODAY, TODAY + timedelta(days=9), 700.0, "window", "Order about 700 litres."),
    "order_today": OrderAdvice(TODAY, TODAY, 700.0, "order_today", "Order about 700 litres today."),
    "no_safe_window": OrderAdvice(None, TODAY, None, "no_safe_window", "There is no day."),
    "no_need": OrderAdvice(None, None, None, "no_need", "No order is needed."),
}


@pytest.mark.parametrize(
    ("note", "size"),
    [("window", DESK), ("order_today", PHONE), ("no_safe_window", DESK), ("no_need", PHONE)],
    ids=list(ADVICE),
)
def test_the_fan_s_description_is_valid(note: str, size: Size) -> None:
    """Altair, which knows the published schema of Vega-Lite, accepts it in every case of the order."""
    import altair

    forecast = told(order=ADVICE[note], daily=some_days()[:40])
    described = describe_fan(forecast, TANK, zone=ZONE, shown=days_shown(forecast), size=size)
    assert len(altair.VConcatChart.from_dict(described).vconcat) == 5


def test_altair_would_notice_a_description_that_is_not_valid() -> None:
    """The check above can fail."""
    import altair
    from jsonschema.exceptions import ValidationError

    forecast = told(daily=some_days()[:40])
    described = describe_fan(forecast, TANK, zone=ZONE, shown=days_shown(forecast), size=DESK)
    described["vconcat"][0]["layer"][0]["mark"]["type"] = "gauge"
    with pytest.raises(ValidationError):
        altair.VConcatChart.from_dict(described)


@pytest.mark.parametrize("a_day_l", [1.0, 30.0], ids=["never dry", "soon dry"])
def test_the_fan_s_svg_passes_the_strictest_content_policy(a_day_l: float) -> None:
    """No style, no script, no address, and names of its own for what it refers to."""
    forecast = told(daily=some_days(a_day_l=a_day_l))
    picture = draw_fan(forecast, TANK, zone=ZONE, shown=days_shown(forecast))
    for svg in (picture.desk, picture.phone):
        assert svg.startswith("<svg")
        assert "style=" not in svg
        assert "<style" not in svg
        assert "<script" not in svg
        assert "http" not in svg
        assert 'font-family="Source Sans 3"' in svg
    ids = [set(re.findall(r'\bid="([^"]+)"', svg)) for svg in (picture.desk, picture.phone)]
    assert ids[0] & ids[1] == set()
    for svg, own in zip((picture.desk, picture.phone), ids, strict=True):
        assert set(re.findall(r"url\(#([^)]+)\)", svg)) <= own


def test_a_picture_is_drawn_once() -> None:
    """The same forecast gives the same picture, from memory."""
    forecast = told()
    shown = days_shown(forecast)
    first = draw_fan(forecast, TANK, zone=ZONE, shown=shown)
    assert draw_fan(forecast, TANK, zone=ZONE, shown=shown) == first


def test_every_colour_of_the_fan_has_its_counterpart_in_the_style_sheet() -> None:
    """What is drawn for paper is turned for a dark screen, and nothing else is drawn."""
    forecast = told()
    picture = draw_fan(forecast, TANK, zone=ZONE, shown=days_shown(forecast))
    drawn = set(re.findall(r'(?:fill|stroke)="(#[0-9a-fA-F]+)"', picture.desk))
    assert drawn <= set(COLOURS)
    sheet = (resources.files("api.pages") / "static" / "page.css").read_text()
    for attribute, colour in set(re.findall(r'(fill|stroke)="(#[0-9a-f]+)"', picture.desk + picture.phone)):
        assert f'.fan [{attribute}="{colour}"]' in sheet


def test_the_litres_drawn_are_the_forecast_s_at_the_ends_of_civil_days() -> None:
    """A day's litres stand where the next civil day begins, down to the heel and not below."""
    forecast = told()
    shown = days_shown(forecast)
    fan = describe_fan(forecast, TANK, zone=ZONE, shown=shown, size=DESK)["vconcat"][0]
    rows = fan["layer"][0]["data"]["values"]
    assert len(rows) == shown.days
    assert rows[0]["t"] == "2025-06-15T00:00:00Z"
    floor = floor_l(forecast, TANK)
    assert floor == TANK.heel_l
    for row, day in zip(rows, forecast.daily, strict=False):
        assert row["p50"] == max(day.p50, floor)
        assert row["p025"] <= row["p10"] <= row["p25"] <= row["p50"] <= row["p75"] <= row["p90"]
    now = fan["layer"][4]["data"]["values"][0]
    assert now["t"] == "2025-06-14T06:30:00Z"  # 05:30 UTC, in the tank's own time


def test_the_bracket_spans_the_order_window_s_days() -> None:
    """From the beginning of the first day to the end of the last, on the axis of the fan."""
    forecast = told(order=ADVICE["window"])
    shown = days_shown(forecast)
    strip = describe_fan(forecast, TANK, zone=ZONE, shown=shown, size=DESK)["vconcat"][4]
    line = strip["layer"][0]["encoding"]
    assert line["x"]["value"] == 0.0
    assert line["x2"]["value"] == pytest.approx(10 / shown.days * DESK.width, abs=1e-9)
    words = json.dumps(strip)
    assert "order Sat 14 to Mon 23 June" in words


def test_without_a_window_the_last_safe_day_is_marked() -> None:
    """One edge at that day's end, with its words; once it has gone by only words are left."""
    for days, words in ((6, "last safe day to order Fri 20 June"), (-1, "no day to order is safe")):
        forecast = told(order=replace(ADVICE["no_safe_window"], latest=TODAY + timedelta(days=days)))
        shown = days_shown(forecast)
        strip = describe_fan(forecast, TANK, zone=ZONE, shown=shown, size=DESK)["vconcat"][4]
        edges = [part["encoding"]["x"]["value"] for part in strip["layer"] if part["mark"]["type"] == "rule"]
        assert edges == ([pytest.approx(7 / shown.days * DESK.width, abs=1e-9)] if days > 0 else [])
        assert words in json.dumps(strip)


def test_the_hatching_thickens_with_the_chance_of_being_dry() -> None:
    """No stroke is thinner than one before it, none stands where there is no chance yet."""
    forecast = told()
    shown = days_shown(forecast)
    strip = describe_fan(forecast, TANK, zone=ZONE, shown=shown, size=DESK)["vconcat"][2]
    rows = strip["layer"][0]["data"]["values"]
    thick = [row["thick"] for row in rows]
    assert thick == sorted(thick)
    assert thick[-1] > 5 * thick[0]
    first_chance = next(i for i, day in enumerate(forecast.daily) if day.p_dry >= 0.002)
    assert rows[0]["x2"] >= first_chance / shown.days * DESK.width


@given(
    first=st.dates(date(2024, 1, 1), date(2026, 12, 31)), days=st.integers(28, 366), most=st.integers(4, 9)
)
@calm
def test_dates_under_the_fan_have_room(first: date, days: int, most: int) -> None:
    """At most one more than wanted, at least two, in order, and all of them on the axis."""
    shown = DaySpan(first, days)
    ticks = [tick.day for tick in day_ticks(shown, most=most)]
    assert 2 <= len(ticks) <= most + 1
    assert ticks == sorted(set(ticks))
    assert all(first <= day < shown.end for day in ticks)
    assert min(b - a for a, b in pairwise(ticks)) >= timedelta(days=7)


@SIZES
@given(data=st.data())
@calm
def test_no_stroke_runs_through_the_words_of_the_other_mark(size: Size, data: st.DataObject) -> None:
    """Wherever the two dates stand, their words lie beside both strokes and inside the picture."""
    ends = st.floats(0.0, float(size.width))
    at = sorted([data.draw(ends), data.draw(ends)])
    placed = place_marks(at, size=size)
    assert {p.line for p in placed} == {0, 1}
    for i, (x, p) in enumerate(zip(at, placed, strict=True)):
        low, high = (x, x + size.words_px) if p.side == "right" else (x - size.words_px, x)
        assert low >= -size.margin_px
        assert high <= size.width + size.margin_px
        other, other_placed = at[1 - i], placed[1 - i]
        if p.line == 0 and other_placed.line == 1:  # the other's stroke runs down past this line
            assert not low < other < high or other == x


@given(shape=shapes(), share=st.floats(0.0, 1.0), spread=st.floats(0.0, 0.2))
@few
def test_the_tank_is_drawn_inside_its_picture_with_labels_apart(
    shape: Shape, share: float, spread: float
) -> None:
    """For any shape and level, even beyond the tank, points and labels stay inside and apart."""
    tank, level = a_tank(shape), shape.capacity_l * share * 1.1
    forecast = told()
    band = LitresBand(level * (1 - spread), level, level * (1 + spread))
    picture = draw_section(replaced(forecast, band), tank, zone=ZONE)
    points = [
        tuple(map(float, point.split(",")))
        for area in (picture.outline, picture.oil, picture.spread, picture.heel)
        if area
        for point in area.split()
    ]
    assert all(0 <= x <= picture.right + 0.1 and 0 <= y <= picture.height for x, y in points)
    spans = sorted((m.label_y, m.label_y + LINE_PX * (len(m.lines) - 1)) for m in picture.marks)
    assert all(b[0] - a[1] >= LINE_PX - 1e-6 for a, b in pairwise(spans))
    assert spans[0][0] >= 0
    assert spans[-1][1] <= picture.height


@given(shape=shapes(), share=st.floats(0.05, 0.9))
@few
def test_levels_stand_at_their_true_heights(shape: Shape, share: float) -> None:
    """The picture is to scale: a level's height over the tank's height is its dip over the greatest."""
    tank = a_tank(shape)
    low = least_dip(shape)
    least, most = shape.litres([low, shape.height_mm])
    level = float(least + (most - least) * share)
    picture = draw_section(replaced(told(), LitresBand(level, level, level)), tank, zone=ZONE)
    heights = [float(point.split(",")[1]) for point in picture.outline.split()]
    top, bottom = min(heights), max(heights)
    mark = next(m for m in picture.marks if m.kind == "level")
    expected = (float(shape.dip_mm(level)) - low) / (shape.height_mm - low)
    assert (bottom - mark.y) / (bottom - top) == pytest.approx(expected, abs=2e-3)  # points to 0.1 px


@pytest.mark.parametrize("state", [s for s in State if not s.is_told])
def test_a_tank_that_is_not_seen_is_drawn_without_oil(state: State) -> None:
    """A withheld forecast fills nothing: only a dated line, or none."""
    picture = draw_section(withheld(state), TANK, zone=ZONE)
    assert (picture.oil, picture.spread) == (None, None)
    assert [mark.kind for mark in picture.marks] == ["safe", "heel"]
    assert picture.is_past


def test_litres_a_centimetre_are_those_at_the_level() -> None:
    """A level cylinder of 1.2 m by 1.8 m, half full: 1.2 x 1.8 m2 of surface is 21.6 l a centimetre."""
    half = TANK.capacity_l / 2
    picture = draw_section(replaced(told(), LitresBand(half, half, half)), TANK, zone=ZONE)
    level = next(mark for mark in picture.marks if mark.kind == "level")
    assert level.lines[1] == "22 litres a centimetre here"


@given(chance=st.floats(0.0, 1.0))
@calm
def test_a_chance_in_words_is_never_less_than_the_chance(chance: float) -> None:
    """Rounding is cautious: what is said is at least as likely as what was reckoned."""
    words = chance_words(chance)
    a, b = (int(n.replace(",", "")) for n in re.findall(r"([\d,]+) in ([\d,]+)", words)[0])
    if words.startswith("less than"):
        assert chance < a / b
    elif words.startswith("more than"):
        assert chance >= a / b
    else:
        assert chance <= a / b + 1e-8


def a_tank(shape: Shape) -> Tank:
    """A tank of that shape with a heel and a safe fill that it holds."""
    least = float(shape.litres(least_dip(shape)))
    room = shape.capacity_l - least
    return Tank(shape, KEROSENE, safe_fill_l=least + 0.95 * room, heel_l=least + 0.02 * room)


def replaced(forecast: ToldForecast, litres: LitresBand) -> ToldForecast:
    """The same forecast with other litres now."""
    return replace(forecast, litres=litres)


def test_a_png_has_its_words() -> None:
    """The letters of a chart are drawn in its PNG too: other words make another picture."""
    pictures = {
        words: draw_png(
            {"data": {"values": [{}]}, "mark": {"type": "text", "text": words}, "config": {"font": FONT}}
        )
        for words in ("safe fill", "heel", "")
    }
    assert all(png.startswith(b"\x89PNG") for png in pictures.values())
    assert len(set(pictures.values())) == len(pictures)
