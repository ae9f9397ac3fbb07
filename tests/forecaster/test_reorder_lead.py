"""Lead times: tables of chances, and deliveries that slow down in the cold."""

from datetime import date, timedelta

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from forecaster.errors import OrderError
from forecaster.reorder import (
    ColdLead,
    LeadTable,
    OrderSettings,
    Spells,
    advise_order,
    delivery_days,
    order_below_l,
    parse_lead_table,
)
from forecaster.run_dry import chance_dry, run_dry_days

MONDAY = date(2024, 1, 8)
DAYS = 150


def advise(litres, *, spells_of=None, heel_l=50.0, **kwargs):
    """Advice on paths (path, day); ``spells_of`` (temperatures by path and day, normals by day)."""
    litres = np.asarray(litres, float)
    dry = run_dry_days(litres, heel_l=heel_l)
    spells = None
    if spells_of is not None:
        temp_c, normal_c = spells_of
        spells = Spells(dry, np.arange(len(litres)), np.asarray(temp_c, float), np.asarray(normal_c, float))
    return advise_order(
        litres, chance_dry(dry, days=litres.shape[1]), now_l=litres[:, 0], first=MONDAY, safe_fill_l=1200.0,
        settings=OrderSettings(**kwargs), spells=spells,
    )  # fmt: skip


def falling(burn_l_per_day, *, start_l=900.0):
    """Paths that burn the same every day."""
    burn = np.atleast_1d(np.asarray(burn_l_per_day, float))
    return start_l - burn[:, None] * np.arange(1, DAYS + 1)


def test_a_table_of_equal_chances_is_the_span() -> None:
    """Three to six working days, each as likely, are the same as a table or as a span."""
    table = LeadTable((3, 4, 5, 6), (0.25,) * 4)
    litres = falling(np.linspace(6, 14, 40))
    span = advise(litres, lead_days=(3, 6), risk=0.1)
    assert advise(litres, lead_table=table, risk=0.1) == span
    assert span.note == "window"


def test_a_rare_long_wait_counts_by_its_chance() -> None:
    """A wait of 12 working days with 1 chance in 100 matters to a risk of 0.5 %, not to one of 2 %.

    The rare wait then decides alone: with the careful risk the order date is that of a supplier who
    always takes 12 days, with the bold one that of a supplier who always takes 3.
    """
    table = LeadTable((3, 12), (0.99, 0.01))
    litres = falling(10.0)
    careful = advise(litres, lead_table=table, risk=0.005)
    bold = advise(litres, lead_table=table, risk=0.02)
    assert careful.latest == advise(litres, lead_days=(12, 12), risk=0.005).latest
    assert bold.latest == advise(litres, lead_days=(3, 3), risk=0.02).latest
    assert careful.latest < bold.latest


def test_a_table_is_read_as_chances_or_as_counts() -> None:
    """Counts of past deliveries become chances; chances may have a decimal comma; zero rows fall away."""
    counts = parse_lead_table("days,deliveries\n10,1\n3,6\n5,3\n7,0\n")
    chances = parse_lead_table("days;chance\n3;0,6\n5;0,3\n10;0,1\n", decimal=",")
    assert counts.days == chances.days == (3, 5, 10)
    np.testing.assert_allclose(counts.chance, chances.chance)


def test_every_bad_row_of_a_table_is_named_and_none_is_left_out() -> None:
    """A table with bad rows is refused with a problem for each: chances are a whole."""
    with pytest.raises(OrderError) as refused:
        parse_lead_table("days,chance\n3,half\n-1,0.2\n5,-0.1\n6,0.5\n")
    assert [(p.row, p.field) for p in refused.value.problems] == [(2, "chance"), (3, "days"), (4, "chance")]


@pytest.mark.parametrize(
    "text",
    [
        "days,chance\n3,0.5\n5,0.3\n",
        "days,deliveries\n3,0\n",
        "days,chance\n300,1\n",
        "days,share\n3,1\n",
        "",
    ],
)
def test_a_table_that_is_no_distribution_is_refused(text: str) -> None:
    """Chances that do not add up to 1, no deliveries at all, waits beyond 120 days, other columns."""
    with pytest.raises(OrderError):
        parse_lead_table(text)


def test_settings_of_the_cold_out_of_range_are_refused() -> None:
    """A negative slowing is an error."""
    with pytest.raises(OrderError, match="cold_lead"):
        ColdLead(days_per_k=-1.0)


def test_cold_paths_wait_longer_and_burn_more() -> None:
    """The one cold path in four decides: it burns most, and its deliveries take the most days more.

    Apart, each effect moves the latest order less than both together, path by path.
    """
    litres = falling([8.0, 8.0, 8.0, 14.0])
    normal = np.full(DAYS, 5.0)
    cold = np.full((4, DAYS), 5.0)
    cold[3] = -8.0
    one = {"lead_days": (3, 3), "risk": 0.2}
    plain = advise(litres, **one)
    joint = advise(litres, **one, spells_of=(cold, normal))
    # in working days: 13 K colder are five days more, the most there is
    slow = advise(litres[3:], risk=0.2, lead_days=(8, 8))
    assert joint.latest == slow.latest
    assert joint.latest < plain.latest
    swapped = advise(litres, **one, spells_of=(cold[::-1], normal))
    assert joint.latest < swapped.latest


def test_weather_as_normal_slows_nothing() -> None:
    """With every year as the normals say, the advice is the one without weather."""
    litres = falling(np.linspace(5, 15, 30))
    normal = np.linspace(8, 2, DAYS)
    spells_of = (np.tile(normal, (30, 1)), normal)
    assert advise(litres, risk=0.1, spells_of=spells_of) == advise(litres, risk=0.1)


def test_the_level_to_order_below_waits_for_slow_deliveries_too() -> None:
    """In a cold week a delivery of 3 working days takes 8, and the level to order below holds their burn."""
    litres = falling(10.0, start_l=500.0)
    settings_ = OrderSettings(lead_days=(3, 3))
    spells = Spells(np.array([np.inf]), np.array([0]), np.full((1, DAYS), -10.0), np.full(DAYS, 5.0))
    now = np.array([500.0])
    plain = order_below_l(litres, now_l=now, first=MONDAY, heel_l=50.0, settings=settings_)
    slow = order_below_l(litres, now_l=now, first=MONDAY, heel_l=50.0, settings=settings_, spells=spells)
    # an order of tomorrow comes on Friday (index 4); after eight working days on Friday a week later (index 11)
    assert plain == 50 + 10 * 5
    assert slow == 50 + 10 * 12


def test_weights_of_a_table_enter_the_level_to_order_below() -> None:
    """Nine short waits and one long, as a table or as ten leads written out, give the same level within a litre."""
    rng = np.random.default_rng(3)
    litres = falling(rng.uniform(5, 15, 400), start_l=800.0)
    now = np.full(400, 800.0)
    table = OrderSettings(lead_table=LeadTable((2, 9), (0.9, 0.1)), risk=0.05)
    found = order_below_l(litres, now_l=now, first=MONDAY, heel_l=0.0, settings=table)
    # an order of tomorrow, Tuesday: due today is what would be too late then
    by = delivery_days(MONDAY, 2, settings=table)[0][1]
    written_out = np.concatenate([np.tile(800.0 - litres[:, by[0]], 9), 800.0 - litres[:, by[1]]])
    assert found == pytest.approx(np.quantile(written_out, 0.95), abs=1.0)


paths = st.lists(st.floats(1, 25), min_size=8, max_size=8)


@settings(max_examples=60, deadline=None)
@given(
    start=st.floats(100, 1500),
    burn=paths,
    low=st.integers(0, 6),
    more=st.integers(0, 6),
    longer=st.integers(0, 9),
)
def test_longer_waits_never_order_later(start, burn, low, more, longer) -> None:
    """With every lead time longer, the latest order date never moves later."""
    short = advise(falling(burn, start_l=start), lead_days=(low, low + more))
    long = advise(falling(burn, start_l=start), lead_days=(low + longer, low + more + longer))
    assert (long.latest or date.max) <= (short.latest or date.max)


@settings(max_examples=60, deadline=None)
@given(start=st.floats(100, 1500), burn=paths, risk=st.floats(0.001, 0.4), more=st.floats(0.0, 0.1))
def test_more_accepted_risk_never_orders_earlier(start, burn, risk, more) -> None:
    """Accepting more risk never moves the latest order date earlier."""
    less = advise(falling(burn, start_l=start), risk=risk)
    bold = advise(falling(burn, start_l=start), risk=risk + more)
    assert (less.latest or date.max) <= (bold.latest or date.max)


@settings(max_examples=15, deadline=None)
@given(
    seed=st.integers(0, 2**32 - 1), risk=st.floats(0.01, 0.4), most=st.integers(0, 6),
    look=st.integers(0, 4), lead=st.integers(0, 5),
)  # fmt: skip
def test_the_bracket_finds_what_trying_every_day_finds(seed, risk, most, look, lead) -> None:
    """The latest order day is that of the rule tried on every path, day and lead time, one by one."""
    rng = np.random.default_rng(seed)
    litres = 700.0 - np.cumsum(rng.uniform(2, 18, (5, 1)) * rng.uniform(0.2, 1.8, (5, DAYS)), axis=1)
    normal = np.full(DAYS, 4.0)
    temp = normal + np.cumsum(rng.normal(0.0, 2.0, (5, DAYS)), axis=1) * 0.7
    chosen = {"lead_days": (lead, lead + 4), "look_every_days": look, "cold_lead": ColdLead(2.0, 0.6, most)}
    advice = advise(litres, risk=risk, spells_of=(temp, normal), **chosen)
    dry = run_dry_days(litres, heel_l=50.0)
    plain = OrderSettings(lead_days=(lead, lead + 4), cold_lead=None)
    chance = []
    for day in range(DAYS - 60):
        colder = (normal - temp)[:, day : day + 7].mean(axis=1)
        extra = np.clip(np.floor(0.6 * (colder - 2.0)), 0, most).astype(int)
        quick = delivery_days(MONDAY + timedelta(days=day), 1, settings=plain)[0][0] + day
        chance.append(np.mean([dry[i] <= later(by, int(extra[i])) for i in range(5) for by in quick]))
    days = max(look, 1)
    risks = [np.mean(chance[day : day + days]) for day in range(len(chance) - days + 1)]
    latest = next((day - 1 for day, found in enumerate(risks) if found > risk + 1e-9), None)
    if latest is not None:
        assert advice.latest == MONDAY + timedelta(days=latest)


def later(day: int, working_days: int) -> int:
    """So many working days, Monday to Friday, after a day."""
    while working_days:
        day += 1
        working_days -= (MONDAY + timedelta(days=int(day))).weekday() < 5
    return int(day)
