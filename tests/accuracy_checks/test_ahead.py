"""The score by weather years: the best fit in hindsight is the bound that it is meant to be."""

from functools import cache

import numpy as np
import pytest

from tests.accuracy import ahead
from tests.accuracy.ahead import Ahead, score_ahead
from tests.accuracy.tanks import without_errors
from tests.accuracy_checks.test_baselines import degree_days, house_burning


@cache
def scored() -> tuple[Ahead, ...]:
    """A house that burns by a line, foretold 14 and 30 days ahead."""
    house = without_errors(house_burning(1.0 + 0.5 * degree_days(15.5)))
    return tuple(score_ahead(house, horizons=(14, 30), own_years=False))


def test_nobody_beats_the_line_that_made_the_house() -> None:
    """Where the burn is a line, its best fit is at most a few percent behind, and we are within half as much again."""
    for row in scored():
        assert 0.95 < row.of_best < 1.5
        assert row.crps_l == pytest.approx(row.of_best * row.crps_best_l, rel=0.02)


def test_a_line_departs_from_itself_by_nothing() -> None:
    """A house that burns by a line of a base temperature that is tried has no departures."""
    house = without_errors(house_burning(1.0 + 0.5 * degree_days(15.5)))
    date, off = ahead._departures(house, 14)
    assert len(date) == len(house.date) - 13
    np.testing.assert_allclose(off, np.zeros(len(off)), atol=0.2)


def test_days_that_were_not_measured_are_in_no_sum() -> None:
    """A day without a measured burn takes all sums over it out."""
    house = house_burning(1.0 + 0.5 * degree_days(15.5))
    house.known[100] = False
    date, _ = ahead._departures(house, 14)
    assert len(date) == len(house.date) - 13 - 14
    assert not np.isin(house.date[87:101], date).any()


def test_each_horizon_is_scored_with_its_bands() -> None:
    """Every horizon has its forecasts, its error over the quarters and three bands that grow."""
    assert [row.horizon_days for row in scored()] == [14, 30]
    for row in scored():
        assert row.forecasts > 20
        assert row.of_best_se is not None
        assert row.cover[0] <= row.cover[1] <= row.cover[2]
