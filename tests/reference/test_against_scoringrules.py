"""Our scores against the scoringrules package, and against a closed form it also carries.

Source  F. Zanetta, S. Allen, scoringrules, https://github.com/frazane/scoringrules
"""

import numpy as np
import pytest
import scoringrules
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from forecaster.scores import crps, pinball

# Sums of up to 60 terms up to 1e3 in another order: some hundred units in the last place of 1e3.
SUMMATION = {"rel": 1e-11, "abs": 1e-10}
litres = st.floats(-1000.0, 1000.0, allow_nan=False, width=32)


@given(observed=arrays(np.float64, 3, elements=litres), ensemble=arrays(np.float64, (3, 60), elements=litres))
def test_crps_against_the_energy_form(observed, ensemble):
    """Our sorted form equals the package's sum over all pairs, ties and all."""
    theirs = scoringrules.crps_ensemble(observed, ensemble, estimator="nrg", backend="numpy")
    assert crps(observed, ensemble) == pytest.approx(theirs, **SUMMATION)


@given(
    observed=arrays(np.float64, 8, elements=litres),
    quantile=arrays(np.float64, 8, elements=litres),
    level=st.floats(0.01, 0.99),
)
def test_pinball_against_the_quantile_score(observed, quantile, level):
    """Our pinball loss equals the package's quantile score."""
    theirs = scoringrules.quantile_score(observed, quantile, level, backend="numpy")
    assert pinball(observed, quantile, level=level) == pytest.approx(theirs, **SUMMATION)


@pytest.mark.parametrize("observed", [-1.5, 0.0, 0.3, 2.2])
def test_crps_of_many_normal_draws_against_the_closed_form(observed):
    """Evenly spaced normal quantiles approach the closed form; 4,000 of them are within 0.1 %."""
    from scipy.stats import norm

    samples = norm.ppf((np.arange(4_000) + 0.5) / 4_000)
    closed = scoringrules.crps_normal(observed, 0.0, 1.0, backend="numpy")
    assert float(crps(observed, samples)) == pytest.approx(float(closed), rel=1e-3)
