"""A change that the household declares is met within weeks; without a word the model takes it for months."""

from dataclasses import fields, replace
from datetime import date
from functools import cache

import numpy as np
import pytest

from forecaster.burn_model import Changes, Drivers, Posterior, declared, fit_burn_model
from forecaster.burn_model.expected import expected_burn
from forecaster.civil import zone_of
from forecaster.diary import CHANGES, MOVES, DeclaredChange
from tests.forecaster.test_burn_model import (
    CAPACITY_L,
    DAY,
    FIRST,
    SLOPE_L,
    YEAR_C,
    burn_l,
    drivers,
    none_added,
    observed,
    prior,
    weather_c,
)

DAYS, CHANGED, AHEAD = 460, 330, 60
LESS = 0.72
"""What a new roof leaves of the heat loss."""


@cache
def home(*, slope: float = LESS) -> tuple[np.ndarray, np.ndarray]:
    """Weather of a long winter, and what a home burns whose heat loss falls on one day. [C, L]"""
    temp = weather_c(DAYS, seed=4)
    before, after = burn_l(temp), burn_l(temp, slope=slope * SLOPE_L)
    return temp, np.where(np.arange(DAYS) < CHANGED, before, after)


def told(*what: str, day: int = CHANGED) -> Changes:
    """What the household wrote into its diary."""
    on = (FIRST + day * DAY).astype("datetime64[D]").item()
    return declared([DeclaredChange(on, w) for w in what], zone=zone_of("UTC"))


def learn(days: int, changes: Changes, *, slope: float = LESS) -> Posterior:
    """Fit at the end of some days of daily readings."""
    temp, burned = home(slope=slope)
    day = np.arange(days) + 0.25
    litres = 4000.0 - np.interp(day, np.arange(DAYS + 1), np.r_[0.0, np.cumsum(burned)])
    return fit_burn_model(
        drivers(temp), FIRST + np.arange(DAYS + 1) * DAY, observed(day, litres), none_added(), prior(),
        as_of=FIRST + days * DAY, normal_temp_c=YEAR_C, capacity_l=CAPACITY_L, changes=changes,
    )  # fmt: skip


def error_l(days: int, changes: Changes, *, slope: float = LESS) -> float:
    """By how much the burn of the 60 days after is foretold too high, their weather known."""
    temp, burned = home(slope=slope)
    ahead = slice(days, days + AHEAD)
    driven = drivers(temp)
    cut = Drivers(**{f.name: getattr(driven, f.name)[ahead] for f in fields(Drivers)})
    marks = FIRST + np.arange(days, days + AHEAD + 1) * DAY
    mean, _ = expected_burn(learn(days, changes, slope=slope), cut, marks, start=marks[0], end=marks[-1])
    return mean - float(burned[ahead].sum())


def test_declared_insulation_is_met_within_weeks() -> None:
    """One to six weeks after a heat loss fell by 28 %, the next 60 days err by less than 10 % instead of a quarter."""
    asked = [CHANGED + d for d in (7, 14, 28, 42)]
    silent = np.array([error_l(n, Changes.none()) for n in asked])
    spoken = np.array([error_l(n, told("insulation")) for n in asked])
    burned = np.array([home()[1][n : n + AHEAD].sum() for n in asked])
    assert (silent > 0.2 * burned).all()
    assert (np.abs(spoken) < 0.1 * burned).all()


def test_a_change_that_changed_nothing_costs_little() -> None:
    """A home that declares insulation and burns as before errs by no more than 5 % of its burn afterwards."""
    burned = home(slope=1.0)[1]
    for days in (CHANGED + 14, CHANGED + 42):
        assert abs(error_l(days, told("insulation"), slope=1.0)) < 0.05 * burned[days : days + AHEAD].sum()


@pytest.mark.parametrize("what", CHANGES)
def test_a_change_opens_what_it_concerns(what: str) -> None:
    """On the morning of its day each intensity it concerns is less sure than without it, and no other is."""
    moves = MOVES[what]
    usual, changed = learn(CHANGED + 1, Changes.none()), learn(CHANGED + 1, told(what))
    more = np.diag(changed.moments()[1])[1:3] / np.diag(usual.moments()[1])[1:3]
    for ratio, spread in zip(more, (moves.base, moves.slope), strict=True):
        assert ratio == pytest.approx(1.0, abs=0.02) if spread == 0.0 else ratio > 1.3


def test_a_change_before_the_first_level_or_after_as_of_is_nothing() -> None:
    """Of a house as it is, only the survey tells; of a change to come nothing is known yet."""
    usual = learn(40, Changes.none())
    for day in (-3, 0, 60):
        other = learn(40, told("insulation", day=day))
        np.testing.assert_array_equal(other.cov, usual.cov)


def test_changes_of_a_day_add_up() -> None:
    """A boiler and insulation on one day open the slope by both, as variances."""
    both = told("new boiler", "insulation")
    assert both.at[0] == both.at[1] == FIRST + CHANGED * DAY
    slope = np.sqrt((both.spread[:, 1] ** 2).sum())
    assert slope == pytest.approx(np.hypot(MOVES["new boiler"].slope, MOVES["insulation"].slope))
    one = replace(both, at=both.at[:1], spread=both.spread[:1])
    wider, narrower = learn(CHANGED + 1, both), learn(CHANGED + 1, one)
    assert wider.moments()[1][2, 2] > narrower.moments()[1][2, 2]


def test_a_day_begins_at_its_own_midnight() -> None:
    """A change counts from the midnight of its place."""
    summer = declared([DeclaredChange(date(2024, 7, 1), "stove")], zone=zone_of("Europe/Dublin"))
    assert summer.at[0] == np.datetime64("2024-06-30T23:00:00")
