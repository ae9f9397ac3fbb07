"""A forecast as plain data: whole for keeping, cut for the doors."""

import json
from datetime import UTC, date, datetime, timedelta

from hypothesis import given
from hypothesis import strategies as st

from forecaster.confidence import (
    Appointment,
    DayOutlook,
    LastTrusted,
    LitresBand,
    OrderAdvice,
    OrderMoney,
    RunDryDates,
    ToldForecast,
    WithheldForecast,
)
from forecaster.document import from_document, public_document, to_document
from forecaster.states import Reason, State

LITRES = st.floats(0, 5_000)
DATES = st.dates(date(2024, 1, 1), date(2027, 1, 1))
TIMES = st.datetimes(datetime(2024, 1, 1), datetime(2027, 1, 1), timezones=st.just(UTC))  # noqa: DTZ001
REASONS = st.lists(
    st.builds(Reason, st.text(max_size=9), st.sampled_from(State), st.text(max_size=30)), max_size=3
)
COMMON = {
    "as_of": TIMES,
    "reasons": REASONS.map(tuple),
    "horizon_days": st.integers(1, 365),
    "last_trusted": st.none() | st.builds(LastTrusted, TIMES, LITRES),
    "appointment": st.none() | st.builds(Appointment, DATES, TIMES),
}
TOLD = st.builds(
    ToldForecast,
    **COMMON,
    state=st.sampled_from([State.OK, State.WIDE]),
    litres=st.builds(LitresBand, LITRES, LITRES, LITRES),
    run_dry=st.builds(RunDryDates, *[st.none() | DATES] * 6),
    order=st.builds(OrderAdvice, st.none() | DATES, st.none() | DATES, st.none() | LITRES, st.text(max_size=9),
                    st.text(max_size=30), st.none() | st.builds(
                        OrderMoney, DATES, st.none() | LITRES, st.none() | LITRES, st.none() | LITRES,
                        st.booleans(), LITRES, LITRES, st.floats(-0.5, 0.5), st.none() | DATES,
                        st.none() | LITRES)),
    daily=st.lists(st.builds(DayOutlook, DATES, *[LITRES] * 8), max_size=3).map(tuple),
)  # fmt: skip
WITHHELD = st.builds(
    WithheldForecast,
    **COMMON,
    state=st.sampled_from([s for s in State if not s.is_told]),
    order_below_l=st.none() | LITRES,
)


@given(TOLD | WITHHELD)
def test_a_kept_forecast_comes_back_as_it_was(forecast):
    """Through JSON text and back nothing is lost, rounded or changed."""
    assert from_document(json.loads(json.dumps(to_document(forecast), allow_nan=False))) == forecast


@given(WITHHELD)
def test_nothing_ahead_leaves_a_door_of_a_withheld_forecast(forecast):
    """Numbers and dates ahead are null or absent, whatever is kept inside."""
    told = public_document(forecast)
    assert [told[name] for name in ("litres", "run_dry", "order", "appointment")] == [None] * 4
    assert told["daily"] == []
    assert "order_below_l" not in told


@given(TOLD)
def test_a_told_forecast_leaves_whole(forecast):
    """What may be told is told in full, under the same names as kept."""
    told = public_document(forecast)
    kept = to_document(forecast)
    assert told == {name: value for name, value in kept.items() if name != "order_below_l"}
    assert told["litres"]["p50"] == forecast.litres.p50


def test_times_are_written_in_utc():
    """An instant is written with Z, a civil date as a date."""
    forecast = WithheldForecast(
        datetime(2025, 1, 5, 7, tzinfo=UTC), State.BLIND, (), 365, None,
        Appointment(date(2025, 1, 20), datetime(2025, 1, 5, 7, tzinfo=UTC) - timedelta(days=1)),
    )  # fmt: skip
    kept = to_document(forecast)
    assert kept["as_of"] == "2025-01-05T07:00:00Z"
    assert kept["appointment"] == {"order_by": "2025-01-20", "told_at": "2025-01-04T07:00:00Z"}
