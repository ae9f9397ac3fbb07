"""The gate: what may be told, what is kept back, and the appointment."""

from datetime import UTC, date, datetime, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from forecaster.confidence import (
    Appointment,
    LastTrusted,
    LitresBand,
    Numbers,
    OrderAdvice,
    Reason,
    RunDryDates,
    State,
    ToldForecast,
    WithheldForecast,
    gate,
    keep_appointment,
)

AT = datetime(2025, 1, 5, 7, tzinfo=UTC)
NUMBERS = Numbers(
    LitresBand(400.0, 420.0, 440.0),
    RunDryDates(*[date(2025, 2, 10 + i) for i in range(6)]),
    OrderAdvice(date(2025, 1, 6), date(2025, 1, 20), 600.0, "window", "Order about 600 litres."),
    (),
)
STATES = st.sampled_from(State)
DATES = st.dates(date(2024, 1, 1), date(2026, 1, 1))


def _gate(states, *, earlier=None, order_by=date(2025, 1, 20), seen_at=None, filled_at=None):
    reasons = [Reason(s.name.lower(), s, f"because of {s.name}") for s in states]
    return gate(
        NUMBERS,
        as_of=AT,
        reasons=reasons,
        horizon_days=365,
        last_trusted=None if seen_at is None else LastTrusted(seen_at, 420.0),
        earlier=earlier,
        order_by=order_by,
        filled_at=filled_at,
    )


@given(st.lists(STATES, max_size=6))
def test_numbers_pass_only_in_the_two_told_states(states):
    """Whatever the reasons, numbers are told exactly when none asks for more than WIDE."""
    forecast = _gate(states)
    told = all(s in (State.OK, State.WIDE) for s in states)
    assert isinstance(forecast, ToldForecast if told else WithheldForecast)
    assert forecast.state == max(states, default=State.OK)


@given(st.sampled_from([s for s in State if not s.is_told]))
def test_a_withheld_forecast_has_no_member_for_a_number(state):
    """The type itself has no litres, dates or order that a door could print."""
    forecast = _gate([state])
    for member in ("litres", "run_dry", "order", "daily"):
        assert not hasattr(forecast, member)


@pytest.mark.parametrize("state", [s for s in State if not s.is_told])
def test_a_told_forecast_cannot_be_made_in_a_withheld_state(state):
    """The constructor refuses what the gate would refuse."""
    with pytest.raises(ValueError, match="may not carry numbers"):
        ToldForecast(AT, state, (), 365, NUMBERS.litres, NUMBERS.run_dry, NUMBERS.order, (), None, None)


@pytest.mark.parametrize("state", [State.OK, State.WIDE])
def test_a_withheld_forecast_cannot_claim_to_be_told(state):
    """The other constructor refuses too."""
    with pytest.raises(ValueError, match="is told"):
        WithheldForecast(AT, state, (), 365, None, None)


def test_a_told_forecast_makes_its_own_appointment():
    """Once the tank was seen again, the latest order date is the promise, whatever was promised before."""
    before = AT - timedelta(days=1)
    forecast = _gate([], earlier=Appointment(date(2025, 1, 10), before), seen_at=AT - timedelta(hours=1))
    assert forecast.appointment == Appointment(date(2025, 1, 20), AT)


@given(STATES, DATES, st.none() | DATES, st.integers(0, 90))
def test_a_tank_not_seen_since_it_was_promised_keeps_its_date(state, promised, now, days):
    """In every state, told ones too, the date only moves earlier until a new level or delivery comes."""
    told_at = AT - timedelta(days=days)
    forecast = _gate([state], earlier=Appointment(promised, told_at), order_by=now, seen_at=told_at)
    assert forecast.appointment == Appointment(min(promised, now or promised), told_at)


def test_a_delivery_makes_a_new_appointment():
    """Oil put in since the date was told serves it, even where no sensor sees the tank."""
    earlier = Appointment(date(2025, 1, 10), AT - timedelta(days=3))
    forecast = _gate([State.WIDE], earlier=earlier, filled_at=AT - timedelta(days=1))
    assert forecast.appointment == Appointment(date(2025, 1, 20), AT)


@given(STATES.filter(lambda s: not s.is_told), DATES, st.none() | DATES)
def test_a_dead_sensor_never_moves_the_appointment_later(state, promised, now):
    """Withheld, the date kept is never after the one promised."""
    forecast = _gate([state], earlier=Appointment(promised, AT), order_by=now)
    assert forecast.appointment is not None
    assert forecast.appointment.order_by == min(promised, now or promised)


def test_without_a_promise_doubtful_data_makes_none():
    """A tank that was never told gets no date from data that may not be told."""
    assert keep_appointment(None, date(2025, 1, 9)) is None
    assert _gate([State.CHECK]).appointment is None


def test_missing_numbers_need_a_reason():
    """Without numbers and without a reason to withhold, nothing is made up."""
    with pytest.raises(ValueError, match="needs a reason"):
        gate(None, as_of=AT, reasons=[], horizon_days=365, last_trusted=None, earlier=None, order_by=None)


def test_reasons_stand_worst_first():
    """The reason that decides is read first."""
    assert [r.state for r in _gate([State.WIDE, State.URGENT, State.OK]).reasons] == [
        State.URGENT, State.WIDE, State.OK,
    ]  # fmt: skip
