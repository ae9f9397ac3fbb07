"""Errors: what they carry, and how they speak."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from forecaster.errors import (
    SEEN_LENGTH,
    DipcastError,
    InputError,
    OutOfRangeError,
    Problem,
    TankError,
    shorten,
)


def test_a_problem_names_row_field_mend_and_value() -> None:
    """A problem says where, what and how to mend it, in one line."""
    problem = Problem("not_a_number", "litres", "give a number", "five hundred", 7)
    assert str(problem) == "row 7, litres: give a number (seen: 'five hundred')"
    assert str(Problem("missing", "shape", "add this key")) == "shape: add this key"


@given(st.text(max_size=200))
def test_what_was_seen_is_shown_short_and_harmless(text: str) -> None:
    """A value is shown with at most 40 characters, and none of them steers a terminal."""
    shown = Problem("code", "field", "mend", text).seen
    assert len(shown) <= SEEN_LENGTH
    assert shown == "" or shown.isprintable()
    assert shorten(shown) == shown


def test_an_input_error_keeps_all_its_problems() -> None:
    """One problem or many: all of them are kept, in order, and said."""
    first, second = Problem("a", "heel_l", "give litres"), Problem("b", "shape", "add this key")
    assert TankError(first).problems == (first,)
    both = InputError([first, second])
    assert both.problems == (first, second)
    assert str(both) == "heel_l: give litres; shape: add this key"


def test_out_of_range_keeps_the_limits() -> None:
    """A caller can trim and try again: value and limits come with the error."""
    error = OutOfRangeError("dip_mm", 1300.0, low=0.0, high=1200.0)
    assert (error.value, error.low, error.high) == (1300.0, 0.0, 1200.0)
    assert str(error) == "dip_mm 1300 lies outside 0 to 1200"
    with pytest.raises(DipcastError):
        raise error
