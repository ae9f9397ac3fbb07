"""The account: it adds up, its intervals hold the truth of homes whose truth is known, and it says what it knows."""

from dataclasses import replace
from datetime import date
from functools import cache

import numpy as np
import pytest

from forecaster.account import PARTS, Account, Entry, make_account
from forecaster.account.system import allot, heavy_points
from forecaster.dwelling import Solar, Stove
from forecaster.fuel import Fuel
from tests.forecaster.homes import FROST, MILD, WARM, Home, survey, tank, work

YEAR = FROST * 10 + MILD * 14 + WARM * 14 + MILD * 10
HOME = Home(days=330, week_c=YEAR, poured={60: 450.0, 140: 450.0, 290: 400.0})


def account_of(home: Home, **changes: object) -> Account:
    """The account of a home at the moment of its last reading."""
    inputs = home.inputs(**changes)
    return make_account(inputs, work(inputs), rng=np.random.default_rng(2))


@cache
def year() -> Account:
    """The account of a home of nearly a year."""
    return account_of(HOME)


def truth(home: Home, entry: Entry) -> tuple[float, float]:
    """Litres of base load and of heating that the home burned in an entry's span, readings' hours counted."""
    weight = np.ones(home.days)
    weight[0], weight[-1] = 0.75, 7.0 / 24.0  # from 06:00 of the first day to 07:00 of the last
    day = (np.array([entry.first, entry.last], "datetime64[D]") - np.datetime64(home.first)).astype(int)
    span = slice(day[0], day[1] + 1)
    return float(weight[span].sum()), float(
        (np.maximum(15.0 - home.temp_c(), 0.0) / 2.0 * weight)[span].sum()
    )


def test_every_entry_adds_up() -> None:
    """Hot water and heating are the burn, and level, tickets and burn are the level after, to the last digit."""
    account = year()
    assert account.total is not None
    for entry in (*account.months, account.total):
        assert entry.hot_water.mean + entry.heating.mean == pytest.approx(entry.burned.mean, abs=1e-9)
        left = entry.opening.mean + entry.delivered + entry.unexplained.mean - entry.burned.mean
        assert left == pytest.approx(entry.closing.mean, abs=1e-9)


def test_months_add_up_to_the_total() -> None:
    """The months follow each other without a gap, and their means add up to the total's."""
    account = year()
    total = account.total
    assert total is not None
    for before, after in zip(account.months, account.months[1:], strict=False):
        assert (after.first - before.last).days == 1
        assert after.opening == before.closing
    assert (total.first, total.last) == (account.months[0].first, account.months[-1].last)
    for name in ("burned", *PARTS, "unexplained"):
        months = sum(getattr(m, name).mean for m in account.months)
        assert months == pytest.approx(getattr(total, name).mean, abs=1e-8), name
    assert sum(m.delivered for m in account.months) == pytest.approx(total.delivered)


def test_the_burn_of_the_year_is_known_within_its_tickets() -> None:
    """What was burned in a year comes out within 1.5 %, the error of three tickets, and the interval is as narrow."""
    total = year().total
    assert total is not None
    base, heating = truth(HOME, total)
    assert total.burned.mean == pytest.approx(base + heating, rel=0.015)
    # 80 % of a table known to 1.5 % is 3.84 %; the ends of 400 draws wander by a twentieth of that each
    assert total.burned.high - total.burned.low < 0.0423 * total.burned.mean


def test_intervals_hold_the_truth_of_the_months() -> None:
    """Of a home's months at least seven in ten intervals of burn, hot water and heating hold what is true."""
    account = year()
    for name, which in (("burned", (0, 1)), ("hot_water", (0,)), ("heating", (1,))):
        held = [
            (f := getattr(m, name)).low <= sum(truth(HOME, m)[i] for i in which) <= f.high
            for m in account.months
        ]
        assert np.mean(held) >= 0.7, name


def test_summer_and_winter_tell_hot_water_from_heating() -> None:
    """After a summer both are measured; sun and wood, which no reading shows, stay the survey's."""
    grounds = year().grounds
    assert grounds == {
        "hot_water": "measured", "heating": "measured", "sun": "survey", "panels": "survey", "wood": "survey",
    }  # fmt: skip


def test_a_month_of_winter_cannot_tell_hot_water() -> None:
    """Four weeks of the same cold week leave the hot water as the survey has it, and say so."""
    account = account_of(Home(days=28))
    assert account.grounds["hot_water"] == "survey"
    assert account.total is not None
    assert account.total.hot_water.high - account.total.hot_water.low > 0.4 * account.total.hot_water.mean


def test_wood_and_panels_are_told_as_the_survey_has_them() -> None:
    """A stove and panels spare litres with an interval, never measured, and a home without them none."""
    rich = replace(survey(), stove=Stove(), solar=Solar(window_m2=8.0, thermal_m2=3.0))
    total = account_of(Home(days=90), survey=rich).total
    assert total is not None
    assert total.wood.mean > 5.0
    assert total.panels.mean > 0.5
    assert total.sun.mean > 1.0
    assert total.wood.low < total.wood.mean < total.wood.high
    bare = account_of(Home(days=90)).total
    assert bare is not None
    assert bare.wood.mean == bare.panels.mean == 0.0


def test_carbon_dioxide_is_the_fuels_factor() -> None:
    """CO2 is the litres times the published factor of the fuel, ends of the interval included."""
    total = year().total
    assert total is not None
    assert total.co2_kg is not None
    factor = tank().fuel.co2_kg_per_l
    assert factor is not None
    assert total.co2_kg.mean == pytest.approx(total.burned.mean * factor)
    assert total.co2_kg.high == pytest.approx(total.burned.high * factor)


def test_a_blend_has_no_factor() -> None:
    """Of a blend no factor is published, and none is made up."""
    blend = replace(tank(), fuel=Fuel("blend", 820.0, 10.3, None))
    total = account_of(Home(days=40), tank=blend).total
    assert total is not None
    assert total.co2_kg is None


def test_oil_gone_at_once_is_not_called_burned() -> None:
    """Two hundred litres that vanish overnight stand as unexplained, and the burn stays what it was."""
    account = account_of(Home(days=60, leak={40: 200.0}))
    total = account.total
    assert total is not None
    assert total.unexplained.mean == pytest.approx(-200.0, abs=25.0)
    assert total.burned.mean == pytest.approx(sum(truth(Home(days=60), total)), rel=0.06)


def test_a_delivery_without_a_ticket_is_delivered() -> None:
    """A rise without a ticket counts as delivered litres."""
    account = account_of(Home(days=60, start_l=500.0, poured={30: 500.0}, tickets={}))
    assert account.total is not None
    assert account.total.delivered == pytest.approx(500.0, abs=15.0)


def test_the_tables_error_is_in_the_interval() -> None:
    """Where litres are known to 5 % the burn is known no better, until tickets teach the table."""
    unsure = replace(tank(), table_sd_fraction=0.05)
    for home, least, most in ((Home(days=80), 0.045, 0.06), (HOME, 0.01, 0.035)):
        total = account_of(home, tank=unsure).total
        assert total is not None
        assert least < (total.burned.high - total.burned.low) / 2.56 / total.burned.mean < most


def test_without_any_level_there_is_no_account() -> None:
    """Without any level there are no months, no total and no figure."""
    account = account_of(Home(days=30), readings=None)
    assert (account.months, account.total, dict(account.grounds)) == ((), None, {})


def test_months_are_civil_months_up_to_the_last_day() -> None:
    """The first entry begins on the day of the first level, the last one ends on the day of as-of."""
    months = year().months
    assert (months[0].first, months[0].last) == (date(2023, 11, 12), date(2023, 11, 30))
    assert (months[-1].first, months[-1].last) == (date(2024, 10, 1), date(2024, 10, 6))


def test_later_readings_change_nothing_before_as_of() -> None:
    """An account at a date is the same whether or not later readings lie in the file."""
    early = Home(days=60)
    long = Home(days=90).inputs(as_of=early.as_of())
    account = make_account(long, work(long), rng=np.random.default_rng(2))
    assert account == account_of(early)


def test_points_and_draws_follow_the_weights() -> None:
    """Nearly all of the weight is looked at, and draws are allotted in proportion."""
    weight = np.array([0.5, 0.3, 0.19, 0.009, 0.001])
    assert heavy_points(weight).tolist() == [0, 1, 2, 3]
    assert np.bincount(allot(weight[:3], 99)).tolist() == [50, 30, 19]
