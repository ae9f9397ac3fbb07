"""Scores: worked examples, edges and what must hold for any forecast."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from forecaster.scores import coverage, crps, mean_absolute_error, mean_bias, mean_error_ratio, pinball, pit

litres = st.floats(-2000.0, 2000.0, allow_nan=False, width=32)
ensembles = arrays(np.float64, st.integers(1, 40), elements=litres)


def test_crps_of_two_samples_by_hand():
    """Samples 0 and 4 against 1: mean distance 2, less half the pairs' mean distance of 8 / 4."""
    assert crps(1.0, [0.0, 4.0]) == pytest.approx(2.0 - 8.0 / (2 * 4))


def test_crps_reads_the_last_axis_as_samples():
    """A forecast of shape (tank, day, sample) gives a score of shape (tank, day)."""
    ensemble = np.random.default_rng(1).normal(100.0, 10.0, (3, 5, 50))
    observed = np.full((3, 5), 104.0)
    score = crps(observed, ensemble)
    assert score.shape == (3, 5)
    assert score[2, 4] == pytest.approx(float(crps(104.0, ensemble[2, 4])))


@given(observed=litres, ensemble=ensembles)
def test_crps_lies_between_nothing_and_the_mean_distance(observed, ensemble):
    """A CRPS is never negative and never above the mean absolute error of its samples."""
    score = float(crps(observed, ensemble))
    assert -1e-9 <= score <= np.abs(ensemble - observed).mean() + 1e-9


@given(observed=litres, sample=litres)
def test_crps_of_one_sample_is_the_absolute_error(observed, sample):
    """A point forecast is scored by its absolute error, so that point and band methods share one table."""
    assert float(crps(observed, [sample])) == pytest.approx(abs(observed - sample))


@given(observed=litres, ensemble=ensembles, factor=st.floats(0.1, 10.0))
def test_scaling_litres_scales_scores(observed, ensemble, factor):
    """Counted in gallons, every loss shrinks by the same factor as the litres."""
    assert float(crps(factor * observed, factor * ensemble)) == pytest.approx(
        factor * float(crps(observed, ensemble)), rel=1e-9, abs=1e-6
    )
    assert float(pinball(factor * observed, factor * ensemble[0], level=0.9)) == pytest.approx(
        factor * float(pinball(observed, ensemble[0], level=0.9)), rel=1e-9, abs=1e-6
    )


@given(observed=litres, ensemble=ensembles, order=st.randoms())
def test_the_order_of_the_samples_does_not_matter(observed, ensemble, order):
    """Samples are a set: shuffled, they score the same and place the truth at the same rank."""
    shuffled = ensemble.copy()
    order.shuffle(shuffled)
    assert float(crps(observed, shuffled)) == pytest.approx(float(crps(observed, ensemble)), abs=1e-9)
    assert float(pit(observed, shuffled)) == float(pit(observed, ensemble))


@given(observed=litres, ensemble=ensembles)
def test_pit_stays_inside_0_and_1(observed, ensemble):
    """The transform never reaches 0 or 1, however far outside the samples the truth fell."""
    assert 0.0 < float(pit(observed, ensemble)) < 1.0


def test_pit_of_an_honest_forecast_is_uniform():
    """Truth and samples from one distribution: the ranks' first two moments are those of a flat histogram."""
    rng = np.random.default_rng(7)
    draws = rng.poisson(3.0, (20_000, 10)).astype(float)  # counts, so that ties are common
    ranks = pit(draws[:, 0], draws[:, 1:], tie_break=rng.random(20_000))
    assert ranks.mean() == pytest.approx(0.5, abs=0.01)
    assert ranks.std() == pytest.approx(np.sqrt(1.0 / 12.0), abs=0.005)


def test_coverage_of_an_honest_forecast_is_nominal():
    """Bands of many draws hold the truth as often as they say."""
    draws = np.random.default_rng(3).normal(0.0, 1.0, (4_000, 201))
    for level in (0.5, 0.8, 0.95):
        assert coverage(draws[:, 0], draws[:, 1:], level=level) == pytest.approx(level, abs=0.025)


def test_coverage_shows_bands_that_are_too_narrow():
    """Half the spread covers far less than nominal: P(|z| < 1.2816 / 2) = 0.478 for the 80 % band."""
    draws = np.random.default_rng(4).normal(0.0, 1.0, (4_000, 201))
    assert coverage(draws[:, 0], draws[:, 1:] / 2.0, level=0.8) == pytest.approx(0.478, abs=0.025)


def test_pinball_charges_the_side_the_quantile_promised_to_avoid():
    """A 90 % quantile pays nine times as much for a litre above it as for a litre below it."""
    assert pinball([11.0, 9.0], 10.0, level=0.9) == pytest.approx(np.array([0.9, 0.1]))


def test_pinball_averaged_over_levels_is_half_the_crps():
    """The quantile losses of all levels add up to the CRPS, within the grid of 999 levels."""
    ensemble = np.random.default_rng(5).gamma(4.0, 20.0, 4_000)
    levels = np.arange(1, 1000) / 1000
    losses = pinball(95.0, np.quantile(ensemble, levels), level=levels)
    assert 2.0 * losses.mean() == pytest.approx(float(crps(95.0, ensemble)), rel=0.005)


def test_point_errors_by_hand():
    """Errors +10, -20 and 0 on 100, 50 and 150: mean absolute 10, bias -3.33, a tenth of the mean of 100."""
    observed, foretold = [100.0, 50.0, 150.0], [110.0, 30.0, 150.0]
    assert mean_absolute_error(observed, foretold) == pytest.approx(10.0)
    assert mean_bias(observed, foretold) == pytest.approx(-10.0 / 3.0)
    assert mean_error_ratio(observed, foretold) == pytest.approx(0.1)


def test_a_summer_without_burn_has_no_error_ratio():
    """A share of nothing is refused, not divided."""
    with pytest.raises(ValueError, match="more than 0"):
        mean_error_ratio([0.0, 0.0], [1.0, 2.0])


@pytest.mark.parametrize(
    ("observed", "ensemble"),
    [([1.0, 2.0], [[1.0], [2.0], [3.0]]), (1.0, []), (1.0, 5.0), ([1.0, 2.0], [1.0, 2.0])],
)
def test_shapes_that_do_not_agree_are_refused(observed, ensemble):
    """One forecast scored against two observations is an error, never broadcast."""
    for score in (crps, pit):
        with pytest.raises(ValueError, match=r"sample"):
            score(observed, ensemble)


def test_point_errors_refuse_unequal_lengths():
    """A single forecast is not stretched over many observations."""
    with pytest.raises(ValueError, match="as many forecasts"):
        mean_absolute_error([1.0, 2.0], [1.0])


@pytest.mark.parametrize("level", [0.0, 1.0, -0.1, 90.0, float("nan")])
def test_a_level_outside_0_to_1_is_refused(level):
    """A level given in per cent, or at the edge, is refused with the value seen."""
    with pytest.raises(ValueError, match="between 0 and 1"):
        pinball(1.0, 1.0, level=level)
    with pytest.raises(ValueError, match="between 0 and 1"):
        coverage([1.0], [[1.0]], level=level)


def test_coverage_of_nothing_is_refused():
    """A share of no observations is refused, not reported as a number."""
    with pytest.raises(ValueError, match="at least one"):
        coverage(np.empty(0), np.empty((0, 3)), level=0.8)
