"""The diary and the season enter the burn, behind and ahead."""

from dataclasses import replace
from datetime import date, timedelta

import numpy as np
import pytest

from forecaster.account import make_account
from forecaster.diary import FACTORS, DiaryEntry
from forecaster.pipeline import Inputs
from tests.forecaster.homes import FROST, MILD, WARM, Home, survey, work

HOME = Home(days=60)
TODAY = HOME.as_of().date()
DAYS = 28


def burned_ahead(inputs: Inputs) -> float:
    """Litres that the forecast burns in the next four weeks, mean of its paths."""
    paths = work(inputs).paths
    return float((paths.now_l - paths.litres[:, DAYS - 1]).mean())


@pytest.mark.parametrize("what", FACTORS)
def test_days_ahead_burn_as_the_diary_says(what: str) -> None:
    """Four weeks ahead with an entry burn what its factors make of four weeks without one."""
    entry = DiaryEntry(TODAY, TODAY + timedelta(days=DAYS - 1), what)
    usual, marked = burned_ahead(HOME.inputs()), burned_ahead(HOME.inputs(diary=(entry,)))
    factors = FACTORS[what]
    base = 1.0 * DAYS
    expected = (usual - base) * factors.heat + base * factors.base * (1.0 - factors.water_spared)
    assert marked == pytest.approx(expected, rel=0.12, abs=3.0)


def test_days_behind_do_not_teach_a_small_house() -> None:
    """A fortnight away, marked, leaves what is learnt of the house as it was; unmarked it does not."""

    class AwayHome(Home):
        """A home whose household was away in the last fortnight."""

        def litres(self) -> np.ndarray:
            """Litres with a fortnight burned at the factors of "away"."""
            heat = np.maximum(15.0 - self.temp_c(), 0.0) / 2.0
            away = np.zeros(self.days, bool)
            away[45:] = True
            burned = np.where(away, 0.1 + 0.35 * heat, 1.0 + heat)
            return self.start_l - np.cumsum(burned) + 0.75 * burned

    home = AwayHome(days=60)
    first = date.fromisoformat(home.first)
    entry = DiaryEntry(first + timedelta(days=45), first + timedelta(days=59), "away")
    usual = burned_ahead(HOME.inputs())
    marked, unmarked = burned_ahead(home.inputs(diary=(entry,))), burned_ahead(home.inputs())
    assert marked == pytest.approx(usual, rel=0.1)
    assert unmarked < 0.85 * usual


def test_heating_that_is_off_in_some_months_is_off_ahead() -> None:
    """A house whose heating is off in January burns next to its base load then, whatever the cold."""
    home = Home(days=60, first="2023-11-02")  # up to the last day of December
    off = replace(survey(), heating_off_months=(1,))
    usual = burned_ahead(home.inputs())
    assert burned_ahead(home.inputs(survey=off)) < 0.45 * usual


def test_a_cool_summer_with_the_heating_off_is_no_heating() -> None:
    """In the account of a house with its heating off, cool summer days count as base load, not as heating."""
    week = FROST * 8 + MILD * 8
    home = Home(days=112, week_c=week, first="2024-03-10")
    off = replace(survey(), heating_off_months=(5, 6))
    inputs = home.inputs(survey=off)
    june = make_account(inputs, work(inputs), rng=np.random.default_rng(1)).months[-1]
    plain = make_account(home.inputs(), work(home.inputs()), rng=np.random.default_rng(1)).months[-1]
    assert june.first.month == 6
    assert june.heating.mean / june.burned.mean < 0.6 * plain.heating.mean / plain.burned.mean


def test_panels_in_the_diary_are_in_the_account() -> None:
    """Litres of hot water that the diary says panels made stand as spared by panels."""
    home = Home(days=60, week_c=WARM, start_l=400.0, first="2024-05-15")
    entry = DiaryEntry(date(2024, 6, 1), date(2024, 6, 20), "panels heat water")
    inputs = home.inputs(diary=(entry,))
    account = make_account(inputs, work(inputs), rng=np.random.default_rng(1))
    may, june, *_ = account.months
    assert may.panels.mean == 0.0
    assert june.panels.mean > 5.0
    assert account.grounds["panels"] == "survey"
