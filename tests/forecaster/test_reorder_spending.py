"""Orders in money: price steps, drift, budget, waiting; and that the advice is never a worse buy than another."""

from datetime import date, timedelta

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from forecaster.errors import OrderError
from forecaster.reorder import (
    STEP_L,
    OrderSettings,
    Quotes,
    Spending,
    advise_order,
    delivery_days,
    parse_quotes,
)
from forecaster.run_dry import chance_dry, run_dry_days

MONDAY = date(2024, 1, 8)
DAYS = 200


def quotes(*steps, quoted=MONDAY):
    """Quotes of a day."""
    return Quotes(quoted, steps)


def advise(start_l, burn_l_per_day, *, safe_fill_l=1200.0, spending=None, **kwargs):
    """Paths that burn the same every day, heel 50 l."""
    burn = np.atleast_1d(np.asarray(burn_l_per_day, float))
    litres = start_l - burn[:, None] * np.arange(1, DAYS + 1)
    p_dry = chance_dry(run_dry_days(litres, heel_l=50.0), days=DAYS)
    return advise_order(
        litres, p_dry, now_l=np.full(len(burn), float(start_l)), first=MONDAY, safe_fill_l=safe_fill_l,
        settings=OrderSettings(spending=spending, **kwargs),
    )  # fmt: skip


def test_one_flat_price_changes_nothing_but_tells_the_cost() -> None:
    """With one price for any quantity the window and the litres are those without prices, and the bill is told."""
    plain, priced = advise(400.0, 10.0), advise(400.0, 10.0, spending=Spending(quotes((500.0, 0.62))))
    assert (priced.earliest, priced.latest, priced.litres) == (plain.earliest, plain.latest, plain.litres)
    assert plain.money is None
    assert priced.money.cost == pytest.approx(0.62 * plain.litres)
    assert priced.money.waiting_cost == pytest.approx(0.0)


def test_a_cheaper_step_is_worth_a_later_order() -> None:
    """830 l fit today; from 900 l on a litre is 6 % cheaper, so the window begins when 900 l fit.

    Room today: 1,200 - (400 - 3 x 10) = 830 l, and 10 l more each working day's wait... the first order
    day whose earliest delivery (3 working days on) finds 900 l of room is Monday, index 7: delivered on
    Thursday, index 10, from the evening of index 9: 1,200 - (400 - 10 x 10) = 900 l.
    """
    flat = advise(400.0, 10.0)
    assert flat.litres == 830.0
    stepped = advise(400.0, 10.0, spending=Spending(quotes((500.0, 0.64), (900.0, 0.60))))
    assert stepped.earliest == MONDAY + timedelta(days=7)
    assert stepped.litres == 900.0
    assert stepped.money.price_per_l == pytest.approx(0.60)


def test_a_step_cheaper_by_half_a_per_cent_is_not_waited_for() -> None:
    """Less than 1 % off a litre does not use up days of the window."""
    stepped = advise(400.0, 10.0, spending=Spending(quotes((500.0, 0.600), (900.0, 0.597))))
    assert stepped.earliest == advise(400.0, 10.0).earliest


def test_waiting_costs_the_drift() -> None:
    """At 2 % a month, 830 l waited for until the last safe day cost what compound growth says."""
    spending = Spending(quotes((500.0, 0.6)), drift_per_month=0.02)
    advice = advise(400.0, 10.0, spending=spending)
    days = (advice.latest - MONDAY).days
    by_hand = 0.6 * 830 * (1.02 ** (days / (365.25 / 12)) - 1)
    assert advice.money.safe_until == advice.latest
    assert advice.money.waiting_cost == pytest.approx(by_hand)
    assert advice.earliest == MONDAY


def test_falling_prices_are_waited_for_within_the_window() -> None:
    """At 10 % a month less, the window begins near its last safe day, and never after it."""
    advice = advise(600.0, 10.0, spending=Spending(quotes((500.0, 0.6)), drift_per_month=-0.10))
    plain = advise(600.0, 10.0)
    assert plain.earliest < advice.earliest <= plain.latest
    assert advice.latest == plain.latest
    assert advice.money.waiting_cost <= 0.0


def test_old_quotes_have_drifted_by_today() -> None:
    """Quotes of a month ago at 2 % a month are told 2 % dearer."""
    month_ago = MONDAY - timedelta(days=30)
    advice = advise(400.0, 10.0, spending=Spending(quotes((500.0, 0.6), quoted=month_ago), 0.02))
    assert advice.money.price_per_l == pytest.approx(0.6 * 1.02 ** (30 / (365.25 / 12)))


def test_a_budget_buys_the_most_within_it() -> None:
    """350 at 0.62 a litre and 10 for the delivery pay for 548 l: 540 l in steps of 10."""
    spending = Spending(quotes((500.0, 0.62)), delivery_cost=10.0, budget=350.0)
    advice = advise(400.0, 10.0, spending=spending)
    assert advice.litres == 540.0
    assert advice.money.limited_by_budget
    assert advice.money.cost == pytest.approx(10 + 0.62 * 540)


def test_a_budget_that_pays_for_the_larger_step_buys_it() -> None:
    """560 pays for 800 l at 0.64 or, cheaper, 900 l at 0.60 (540): it buys 930 l of the larger step."""
    spending = Spending(quotes((500.0, 0.64), (900.0, 0.60)), budget=560.0)
    assert advise(300.0, 10.0, spending=spending).litres == 930.0


def test_out_of_reach_says_so_by_when_and_whom_to_ask() -> None:
    """A budget below the smallest delivery gives no quantity; it says its cost, the last safe day, and whom to ask."""
    advice = advise(400.0, 10.0, spending=Spending(quotes((500.0, 0.62)), budget=250.0))
    assert advice.litres is None
    assert advice.latest == advise(400.0, 10.0).latest
    assert advice.money.cost is None
    assert advice.money.smallest_cost == pytest.approx(310.0)
    for word in ("310", "250", "supplier", "neighbours", "heating costs", "ordered by"):
        assert word in advice.text


def test_the_smallest_quantity_quoted_is_the_smallest_delivery() -> None:
    """Where prices begin at 900 l, the window begins when 900 l fit."""
    advice = advise(400.0, 10.0, spending=Spending(quotes((900.0, 0.6))))
    assert advice.litres == 900.0
    assert advice.earliest == MONDAY + timedelta(days=7)


def test_holding_oil_that_costs_much_makes_the_order_smaller() -> None:
    """With money dear and deliveries cheap, less than the room is ordered; without a cost of holding, all of it."""
    cheap = Spending(quotes((100.0, 0.6)), delivery_cost=2.0, holding_per_year=0.5)
    small = advise(300.0, 10.0, min_drop_l=100.0, spending=cheap)
    # sqrt(2 x 2 x 3652.5 / (0.5 x 0.6)) = 220.7
    assert small.litres == pytest.approx(220.0, abs=STEP_L)
    assert advise(300.0, 10.0, min_drop_l=100.0, spending=Spending(quotes((100.0, 0.6)))).litres == 930.0


# ---- quotes as files


def test_newest_quotes_count_and_the_cheaper_of_two() -> None:
    """Older and later quotes are not used, and said; of two prices for a quantity the lower counts."""
    text = (
        "from_litres,price_per_litre,date\n500,0.70,2023-12-01\n500,0.62,2024-01-05\n500,0.61,2024-01-05\n"
        "1000,0.60,2024-01-05\n500,0.50,2024-02-01\n"
    )
    found, problems, notes = parse_quotes(text, today=MONDAY)
    assert found == Quotes(date(2024, 1, 5), ((500.0, 0.61), (1000.0, 0.60)))
    assert problems == ()
    assert len(notes) == 2


def test_bad_rows_of_quotes_are_set_aside_and_the_rest_stands() -> None:
    """Each bad row is named with its field; good rows are kept."""
    text = "from_litres;price_per_litre\n500;0,62\nmany;0,60\n800;-1\n900;nan\n"
    found, problems, _ = parse_quotes(text, today=MONDAY, decimal=",")
    assert found.steps == ((500.0, 0.62),)
    assert [(p.row, p.field) for p in problems] == [
        (3, "from_litres"), (4, "price_per_litre"), (5, "price_per_litre"),
    ]  # fmt: skip


@pytest.mark.parametrize(
    "text", ["from_litres,price_per_litre\n", "from_litres,price_per_litre,date\n500,0.6,2025-01-01\n",
             "litres,price\n500,0.6\n", "from_litres,price_per_litre\n500,free\n"],
)  # fmt: skip
def test_quotes_without_a_usable_row_are_refused(text: str) -> None:
    """No rows, only later ones, other columns, or only bad rows."""
    with pytest.raises(OrderError):
        parse_quotes(text, today=MONDAY)


@pytest.mark.parametrize(
    ("field", "value"),
    [("drift_per_month", 0.9), ("drift_per_month", float("nan")), ("delivery_cost", -1.0),
     ("holding_per_year", -0.1), ("budget", 0.0), ("budget", float("nan"))],
)  # fmt: skip
def test_spending_out_of_range_is_refused(field: str, value: float) -> None:
    """Each figure out of range is an error of the order."""
    with pytest.raises(OrderError):
        Spending(quotes((500.0, 0.6)), **{field: value})


@pytest.mark.parametrize("steps", [(), ((500.0, 0.6), (500.0, 0.5)), ((500.0, 0.0),), ((-1.0, 0.6),)])
def test_quotes_that_are_no_steps_are_refused(steps) -> None:
    """No step, a quantity twice, a free litre, a negative quantity."""
    with pytest.raises(OrderError):
        Quotes(MONDAY, steps)


# ---- properties

prices = st.floats(0.2, 2.0)
steps = st.lists(st.tuples(st.sampled_from([300.0, 505.0, 750.0, 1000.0, 1500.0]), prices), min_size=1, max_size=4,
                 unique_by=lambda step: step[0]).map(lambda s: tuple(sorted(s)))  # fmt: skip
spendings = st.builds(
    Spending, steps.map(lambda s: Quotes(MONDAY, s)), drift_per_month=st.floats(-0.1, 0.1),
    delivery_cost=st.floats(0, 60), holding_per_year=st.floats(0, 0.3),
)  # fmt: skip
burns = st.lists(st.floats(1, 25), min_size=8, max_size=8)
starts = st.floats(100, 1500)


def rooms(start_l, burn, settings_, *, safe_fill_l):
    """Room that nine tanks in ten have on the earliest delivery day of each order day."""
    delivery = delivery_days(MONDAY, 120, settings=settings_)[0][:, 0]
    level = np.sort(start_l - np.array(burn)[:, None] * delivery[None, :], axis=0)
    return safe_fill_l - level[int(np.ceil(0.9 * (len(burn) - 1)))]


@settings(max_examples=100, deadline=None)
@given(start=starts, burn=burns, spending=spendings, safe=st.floats(700, 2500))
def test_what_is_advised_fits_when_the_window_begins(start, burn, spending, safe) -> None:
    """The quantity fits with the contract's certainty on the earliest delivery of the window's first day."""
    advice = advise(start, burn, safe_fill_l=safe, spending=spending)
    assume(advice.litres is not None)
    day = (advice.earliest - MONDAY).days
    assume(day < 120)
    room = rooms(start, burn, OrderSettings(spending=spending), safe_fill_l=safe)[day]
    assert advice.litres <= room + 1e-6
    assert advice.earliest <= max(advice.latest, MONDAY)


@settings(max_examples=100, deadline=None)
@given(start=starts, burn=burns, spending=spendings, safe=st.floats(700, 2500), budget=st.floats(50, 2000))
def test_a_budget_never_raises_the_quantity_and_is_kept(start, burn, spending, safe, budget) -> None:
    """With a budget no more is ordered than without, and the bill is within it."""
    freely = advise(start, burn, safe_fill_l=safe, spending=spending)
    limited = advise(
        start, burn, safe_fill_l=safe,
        spending=Spending(spending.quotes, spending.drift_per_month, spending.delivery_cost,
                          spending.holding_per_year, budget),
    )  # fmt: skip
    assert (limited.litres or 0.0) <= (freely.litres or 0.0)
    if limited.litres is not None:
        assert limited.money.cost <= budget * (1 + 1e-9)


@settings(max_examples=100, deadline=None)
@given(start=starts, burn=burns, spending=spendings, safe=st.floats(700, 2500))
def test_no_other_quantity_is_a_better_buy(start, burn, spending, safe) -> None:
    """On its day no quantity makes a cheaper litre, and on no other day of the window one cheaper by 1 %.

    Tried on every tenth litre of every day of the window. So, where holding costs nothing, no larger
    quantity costs less in all.
    """
    advice = advise(start, burn, safe_fill_l=safe, spending=spending)
    assume(advice.litres is not None)
    settings_ = OrderSettings(spending=spending)
    first, last = (advice.earliest - MONDAY).days, max((advice.latest - MONDAY).days, 0)
    assume(last < 120)
    room = rooms(start, burn, settings_, safe_fill_l=safe)
    yearly = float(np.mean(burn)) * 365.25

    def cost(litres, day):
        return spending.cost_per_l(litres, spending.drifted(MONDAY, np.array(float(day))), yearly_l=yearly)

    own = float(cost(np.array(advice.litres), first))
    for day in range(last + 1):
        tried = np.arange(np.ceil(settings_.smallest_l / 10) * 10, room[day] + 1e-9, STEP_L)
        if len(tried):
            limit = own if day == first else own / 1.01
            assert cost(tried, day).min() >= limit * (1 - 1e-9)
