"""The order window: worked examples, holidays, edges, and properties."""

from datetime import date, timedelta

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from forecaster.errors import OrderError
from forecaster.reorder import OrderSettings, advise_order, delivery_days, public_holidays, quantity_l
from forecaster.run_dry import chance_dry, run_dry_days

MONDAY = date(2024, 1, 8)


def _advise(start_l, burn_l_per_day, *, safe_fill_l=1200.0, heel_l=50.0, days=200, first=MONDAY, **kwargs):
    """One or more certain paths: level falls by the same litres every day."""
    burn = np.atleast_1d(np.asarray(burn_l_per_day, float))
    litres = start_l - burn[:, None] * np.arange(1, days + 1)
    p_dry = chance_dry(run_dry_days(litres, heel_l=heel_l), days=days)
    now = np.full(len(burn), float(start_l))
    return advise_order(
        litres, p_dry, now_l=now, first=first, safe_fill_l=safe_fill_l, settings=OrderSettings(**kwargs)
    )


def test_window_of_a_tank_that_burns_ten_litres_a_day():
    """A certain burn of 10 l a day from 1,000 l, worked by hand.

    Dry (50 l) by the evening of day 95 - 1 = index 94. An order on day d comes on the 10th working
    day at the latest: the last safe delivery is index 93, a Wednesday (index 0 is a Monday, so 93 = 13
    weeks and 2 days). Its order day is 10 working days before: two weeks, index 79, a Wednesday; who
    looks every day sees that day. The smallest delivery of 500 l fits from a level of 700 l on, seen
    in the evening before delivery: index 29 in the morning of day 30. The earliest delivery is the 3rd
    working day after ordering: index 30 is a Wednesday, ordered on Friday, index 25.
    """
    advice = _advise(1000.0, 10.0)
    assert advice.note == "window"
    assert advice.latest == MONDAY + timedelta(days=79)
    assert advice.earliest == MONDAY + timedelta(days=25)
    assert advice.litres == 500.0


def test_a_rare_look_is_reckoned_by_its_mean():
    """Who looks once a week is told so much earlier that, coming up to six days late, they run dry as rarely.

    Nineteen of twenty tanks last for ever; one is dry from index 94 on, so that an order is too late in one
    case of twenty from index 80 on (it comes on the 10th working day, index 94), and in none before. With an
    accepted risk of 2 % at most two of the seven days on which it may be seen to be due may lie there: from
    index 75 on they are 75 to 81. A risk of 1 % allows one of them, of 0.5 % none.
    """
    burn = np.array([10.0] + [0.1] * 19)
    for risk, latest in ((0.02, 75), (0.01, 74), (0.005, 73)):
        rare = _advise(1000.0, burn, lead_days=(10, 10), look_every_days=7, risk=risk)
        assert rare.latest == MONDAY + timedelta(days=latest), risk
    daily = _advise(1000.0, burn, lead_days=(10, 10), risk=0.02)
    assert daily.latest == MONDAY + timedelta(days=79)


def test_quantity_counts_the_fullest_tank_on_the_earliest_day():
    """Ordered today at 300 l, at least 3 working days ahead: 1,200 - (300 - 3 x 10) = 930 l fit."""
    advice = _advise(300.0, 10.0)
    assert advice.earliest == MONDAY
    assert advice.litres == 1200 - (300 - 3 * 10)


def test_published_capped_order():
    """Room of 0.97 x 1,300 - 350 = 911 l caps the order; we go down to a 10 l step (closed form)."""
    assert quantity_l(0.97 * 1300 - 350, min_drop_l=500.0) == 910.0


def test_quantity_is_never_below_the_smallest_delivery():
    """A tank with hardly more room than the smallest delivery is still offered that delivery."""
    assert quantity_l(505.0, min_drop_l=500.0) == 500.0


def test_late_tank_is_told_to_order_today():
    """When even an order of today comes too late, the advice is to order today."""
    advice = _advise(150.0, 12.0)
    assert advice.note == "order_today"
    assert advice.latest is not None
    assert advice.latest <= MONDAY


def test_small_tank_with_a_large_smallest_delivery_has_no_window():
    """When the smallest delivery fits only after it is too late to wait for it, that is said plainly."""
    advice = _advise(550.0, 20.0, safe_fill_l=600.0, heel_l=50.0, lead_days=(3, 15))
    assert advice.note == "no_safe_window"
    assert advice.litres is None
    assert "a supplier who delivers" in advice.text


def test_summer_tank_needs_no_order():
    """A tank that outlasts the horizon needs no order."""
    assert _advise(1000.0, 0.5).note == "no_need"


def test_christmas_moves_the_latest_order_forward():
    """Public holidays are no working days: an order before Christmas comes later than otherwise."""
    first = date(2024, 12, 20)
    plain, _ = delivery_days(first, 1, settings=OrderSettings(lead_days=(3, 3)))
    english, _ = delivery_days(first, 1, settings=OrderSettings(lead_days=(3, 3), holidays="GB-ENG"))
    # Fri 20 December: Mon 23, Tue 24, then Christmas and Boxing Day (gov.uk bank holidays), Fri 27
    assert first + timedelta(days=int(plain[0, 0])) == date(2024, 12, 25)
    assert first + timedelta(days=int(english[0, 0])) == date(2024, 12, 27)


def test_closing_days_of_the_supplier_count():
    """Closing days are no working days."""
    closed = frozenset({date(2024, 1, 9)})
    days, _ = delivery_days(MONDAY, 1, settings=OrderSettings(lead_days=(1, 1), closed=closed))
    assert days[0, 0] == 2


@pytest.mark.parametrize("code", ["XX", "GB-NOWHERE", "Europe"])
def test_unknown_holidays_are_refused(code):
    """A code that the library does not know is an error that names an example."""
    with pytest.raises(OrderError, match="GB-ENG"):
        public_holidays(code, range(2024, 2025))


@pytest.mark.parametrize(
    ("field", "value"),
    [("risk", 0.0), ("risk", 0.9), ("risk", float("nan")), ("lead_days", (5, 3)), ("lead_days", (-1, 3)),
     ("lead_days", (0, 400)), ("look_every_days", -1), ("min_drop_l", 0.0), ("min_drop_l", float("nan")),
     ("ordered", {MONDAY: -5.0})],
)  # fmt: skip
def test_settings_out_of_range_are_refused(field, value):
    """Each setting out of range is named in the error."""
    with pytest.raises(OrderError) as refused:
        OrderSettings(**{field: value})
    assert refused.value.problems[0].field == field


def test_room_is_kept_for_oil_that_is_promised():
    """700 l promised for the 24th leave no room for 500 l more before they have been burned for a while.

    The tank holds 600 l and burns 10 a day; 700 l on Wednesday 24 January (index 16) make 1,130 of its
    1,200 l. Until 500 l fit again, 43 days later, there is nothing to order: the window begins later.
    """
    promised = {date(2024, 1, 24): 700.0}
    litres = 600.0 - 10.0 * np.arange(1, 201)[None] + 700.0 * (np.arange(200) >= 16)
    p_dry = chance_dry(run_dry_days(litres, heel_l=50.0), days=200)
    advice = advise_order(
        litres, p_dry, now_l=np.array([600.0]), first=MONDAY, safe_fill_l=1200.0,
        settings=OrderSettings(ordered=promised),
    )  # fmt: skip
    # 1,130 l at the end of index 16; at most 700 l on the evening of index 59; three working days before
    assert advice.earliest == MONDAY + timedelta(days=57)
    assert advice.litres >= 500.0


@settings(max_examples=60, deadline=None)
@given(
    start=st.floats(100, 1500), burn=st.lists(st.floats(1, 25), min_size=20, max_size=20),
    extra=st.floats(0.1, 10), look=st.integers(0, 7),
)  # fmt: skip
def test_more_burn_never_orders_later(start, burn, extra, look):
    """With every path burning more, the latest order date never moves later."""
    less = _advise(start, burn, safe_fill_l=1600.0, look_every_days=look)
    more = _advise(start, np.array(burn) + extra, safe_fill_l=1600.0, look_every_days=look)
    assert (more.latest or date.max) <= (less.latest or date.max)


@settings(max_examples=60, deadline=None)
@given(start=st.floats(100, 1500), burn=st.floats(1, 25), heel=st.floats(0, 90), deeper=st.floats(0, 90))
def test_a_deeper_heel_never_orders_later(start, burn, heel, deeper):
    """A deeper heel never moves the latest order date later."""
    shallow = _advise(start, burn, heel_l=heel)
    deep = _advise(start, burn, heel_l=heel + deeper)
    assert (deep.latest or date.max) <= (shallow.latest or date.max)


@settings(max_examples=60, deadline=None)
@given(start=st.floats(60, 1500), burn=st.lists(st.floats(1, 25), min_size=10, max_size=10))
def test_the_quantity_fits_in_nine_tanks_of_ten(start, burn):
    """The quantity advised fits on the earliest delivery day in at least 90 % of paths, or is the least."""
    advice = _advise(start, burn)
    if advice.litres is None or advice.earliest is None:
        return
    index = (advice.earliest - MONDAY).days
    delivery, _ = delivery_days(MONDAY, index + 1, settings=OrderSettings())
    evening = start - np.array(burn) * delivery[index, 0]
    assert (evening + advice.litres <= 1200.0 + 1e-6).mean() >= 0.9
