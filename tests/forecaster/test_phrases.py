"""Numbers and dates as people read them."""

import re
from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from forecaster.phrases import (
    chance_text,
    day_text,
    days_text,
    litres_text,
    moment_text,
    rounding_step,
    span_text,
    told_litres,
)

DAYS = st.dates(date(2000, 1, 1), date(2099, 12, 31))
LITRES = st.floats(0.0, 100_000.0)
SDS = st.floats(0.0, 900.0)


@given(LITRES, SDS)
def test_litres_are_never_told_finer_than_they_are_known(litres: float, sd: float) -> None:
    """What is told lies on a step no finer than the spread, and within half of it of what is known."""
    step, told = rounding_step(sd), told_litres(litres, sd=sd)
    assert step >= sd
    assert told / step == pytest.approx(round(told / step))
    assert abs(told - litres) <= step / 2 + 1e-6


@given(LITRES, SDS)
def test_litres_in_words_are_the_litres_told(litres: float, sd: float) -> None:
    """The text holds exactly the rounded figure, and one litre is no plural."""
    found = re.fullmatch(r"([\d,]+) litres?", litres_text(litres, sd=sd))
    assert found is not None
    assert float(found[1].replace(",", "")) == told_litres(litres, sd=sd)
    assert litres_text(litres, sd=sd).endswith("s") == (found[1] != "1")


@given(DAYS)
def test_a_day_in_words_is_that_day(day: date) -> None:
    """Weekday, day, month and year of the words are those of the date, in any locale of the machine."""
    weekday, number, month, year = day_text(day, year=True).split()
    assert weekday == ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")[day.weekday()]
    assert (int(number), int(year)) == (day.day, day.year)
    assert month.startswith(
        ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")[day.month - 1]
    )


@given(DAYS, st.integers(0, 400), DAYS)
def test_a_span_names_its_first_and_last_day(first: date, length: int, today: date) -> None:
    """Both ends stand in a span, each year other than today's is said, and one day is no span."""
    last = first + timedelta(days=length)
    said = span_text(first, last, today=today)
    assert f"{first.day}" in said.split(" to ")[0].split()
    assert said.endswith(day_text(last, year=last.year != today.year))
    assert (" to " in said) == (first != last)
    assert (first.year == today.year) or first.year == last.year or str(first.year) in said


def test_a_moment_is_told_in_the_tanks_own_time() -> None:
    """06:10 UTC on a summer's day is 07:10 in Dublin, and today is called today."""
    at, zone = datetime(2025, 7, 3, 6, 10, tzinfo=UTC), ZoneInfo("Europe/Dublin")
    assert moment_text(at, zone) == "Thu 3 July 07:10"
    assert moment_text(at, zone, today=date(2025, 7, 3)) == "today 07:10"
    assert moment_text(at, zone, today=date(2026, 7, 3)) == "Thu 3 July 2025 07:10"


@given(st.floats(1e-6, 1.0))
def test_a_chance_is_never_told_smaller_than_it_is(chance: float) -> None:
    """One in so many is at least the chance itself."""
    many = int(chance_text(chance).removeprefix("1 in ").replace(",", ""))
    assert 1 / many >= chance * (1 - 1e-9)


def test_no_chance_and_one_day() -> None:
    """A chance that no path had is told as small, not as none; one day is no plural."""
    assert chance_text(0.0) == "less than 1 in 1,000"
    assert days_text(1.2) == "1 day"
