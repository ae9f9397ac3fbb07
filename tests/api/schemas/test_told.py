"""What people type is read as they mean it, or refused at its place with what to do."""

import string
from datetime import UTC, datetime
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from api.schemas.told import KINDS, read_json, read_texts
from api.schemas.told.amounts import parse_amount, parse_length, parse_part
from api.schemas.told.members import Asked
from forecaster.errors import InputError

ASKED = Asked(ZoneInfo("Europe/London"), datetime(2026, 1, 10, 12, tzinfo=UTC))


@pytest.mark.parametrize(
    ("text", "unit", "mm", "step"),
    [
        ("640", "mm", 640.0, 1.0),
        ("63.5", "cm", 635.0, 1.0),
        ("63,5", "cm", 635.0, 1.0),
        ("64", "cm", 640.0, 10.0),
        (" 25 3/8 ", "in", 644.525, 3.175),
        ("25-3/8", "in", 644.525, 3.175),
        ("25⅜", "in", 644.525, 3.175),
        ("25 ⅜", "in", 644.525, 3.175),
        ("7/16", "in", 11.1125, 1.5875),
        ("25.375", "in", 644.525, 0.0254),
        ("0", "mm", 0.0, 1.0),
    ],
)
def test_lengths_as_people_write_them(text: str, unit: str, mm: float, step: float) -> None:
    """Decimals with point or comma, common fractions and vulgar signs, each with the step it was read in."""
    assert parse_length(text, unit=unit) == (pytest.approx(mm), pytest.approx(step))


@pytest.mark.parametrize(
    ("text", "mend"),
    [
        ("", "give a value"),
        ("about 60", "give a number"),
        ("1,250", "thousands"),
        ("1.250,5", "give a number"),
        ("25 9/8", "smaller than one"),
        ("25 3/7", "common fraction"),
        ("3/0", "common fraction"),
        ("-5", "from 0 up"),
        ("nan", "give a number"),
        ("٦٤٠", "give a number"),
        ("1_000", "give a number"),
        ("9" * 30, "give a number"),
    ],
)
def test_what_is_no_length_is_refused(text: str, mend: str) -> None:
    """A refusal says what to do instead."""
    with pytest.raises(ValueError, match=mend):
        parse_length(text, unit="mm")


@pytest.mark.parametrize(
    ("text", "part", "step"),
    [("3/8", 0.375, 0.125), ("½", 0.5, 0.5), ("0.4", 0.4, 0.1), ("45 %", 0.45, 0.01), ("1", 1.0, 1.0)],
)
def test_parts_as_people_write_them(text: str, part: float, step: float) -> None:
    """A gauge is told as fraction, decimal or percent."""
    assert parse_part(text) == (pytest.approx(part), pytest.approx(step))


@pytest.mark.parametrize("text", ["45", "1.2", "-0.1", "101 %", "%", "full"])
def test_what_is_no_part_is_refused(text: str) -> None:
    """45 without its sign is not taken for 45 times the tank."""
    with pytest.raises(ValueError, match="give"):
        parse_part(text)


@given(st.integers(0, 999), st.sampled_from([2, 4, 8, 16, 32]), st.data())
def test_fractions_are_exact(whole: int, below: int, data: st.DataObject) -> None:
    """A whole number and a common fraction give their sum."""
    above = data.draw(st.integers(1, below - 1))
    assert parse_amount(f"{whole} {above}/{below}") == (whole + above / below, 1 / below)


@given(st.text(alphabet=string.digits + "./,-+eE ½⅜%inm", max_size=12) | st.text(max_size=12))
def test_any_text_is_an_amount_or_is_refused(text: str) -> None:
    """Whatever is typed is a finite number with a step, or a refusal in words."""
    try:
        value, step = parse_amount(text)
    except ValueError as bad:
        assert str(bad)  # noqa: PT017
    else:
        assert abs(value) < 1e999
        assert step > 0.0


_VALUES = st.none() | st.booleans() | st.floats() | st.integers() | st.text(max_size=12) | st.just([1])


@pytest.mark.parametrize("kind", KINDS)
@given(data=st.data())
def test_any_json_is_read_or_named_at_its_member(kind: str, data: st.DataObject) -> None:
    """Each member of whatever type is read, or refused with a pointer to it."""
    names = [member.name for member in KINDS[kind].members]
    value: Any = data.draw(st.dictionaries(st.sampled_from([*names, "owner_id"]), _VALUES) | _VALUES)
    try:
        values = read_json(KINDS[kind].members, value, ASKED)
    except InputError as bad:
        assert {p.field for p in bad.problems} <= {"", *(f"/{n}" for n in names)}  # noqa: PT017
    else:
        assert set(values) == set(names)


@pytest.mark.parametrize("kind", KINDS)
@given(data=st.data())
def test_any_form_is_read_or_named_at_its_field(kind: str, data: st.DataObject) -> None:
    """Each field of whatever text is read, or refused at it."""
    names = [member.name for member in KINDS[kind].members]
    texts = data.draw(st.dictionaries(st.sampled_from(names), st.text(max_size=12)))
    try:
        values = read_texts(KINDS[kind].members, texts, ASKED)
    except InputError as bad:
        assert {p.field for p in bad.problems} <= set(names)  # noqa: PT017
    else:
        assert set(values) == set(names)


def test_a_time_without_an_offset_is_of_the_tanks_zone() -> None:
    """A summer hour typed in England is an hour before the same hour in UTC."""
    texts = {"litres": "500", "at": "2025-07-01T09:30"}
    values = read_texts(KINDS["deliveries"].members, texts, ASKED)
    assert values["at"] == datetime(2025, 7, 1, 8, 30, tzinfo=UTC)
