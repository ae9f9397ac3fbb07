"""States: which of them may be told, and which wins."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from forecaster.states import Reason, State, worst_state

REASONS = st.lists(st.sampled_from(State).map(lambda state: Reason("code", state, "text")), max_size=6)


@pytest.mark.parametrize("state", State)
def test_only_the_two_mildest_states_are_told(state: State) -> None:
    """Litres, dates and an order leave a door in OK and WIDE alone."""
    assert state.is_told == (state.name in ("OK", "WIDE"))


@given(REASONS, REASONS)
def test_more_reasons_never_make_it_milder(some: list[Reason], more: list[Reason]) -> None:
    """Further reasons leave the state as it is or make it worse, in whatever order they come."""
    assert worst_state([*some, *more]) >= worst_state(some)
    assert worst_state([*some, *more]) == worst_state([*more, *some])


def test_without_a_reason_all_is_well() -> None:
    """No reason is the state OK."""
    assert worst_state([]) is State.OK
