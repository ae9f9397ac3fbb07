"""Run-dry dates from litres paths."""

from datetime import date

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from forecaster.run_dry import chance_dry, run_dry_date, run_dry_days

PATHS = arrays(float, st.tuples(st.integers(1, 12), st.integers(1, 20)), elements=st.floats(-50, 500))


def test_a_path_at_the_heel_is_dry():
    """Touching the heel counts as dry, a litre above does not."""
    assert run_dry_days(np.array([[30.0, 20.0, 10.0], [30.0, 21.0, 21.0]]), heel_l=20.0).tolist() == [
        1.0,
        np.inf,
    ]


def test_a_delivery_after_running_dry_does_not_undo_it():
    """A path that recovers was dry all the same."""
    assert run_dry_days(np.array([[10.0, 900.0]]), heel_l=20.0).tolist() == [0.0]


def test_dates_count_from_the_day_of_as_of():
    """The first entry of p_dry belongs to the first date; a chance that is not reached has no date."""
    p = np.array([0.0, 0.1, 0.5])
    assert run_dry_date(p, first=date(2024, 2, 28), chance=0.5) == date(2024, 3, 1)
    assert run_dry_date(p, first=date(2024, 2, 28), chance=0.9) is None


def test_one_dimensional_litres_are_refused():
    """A single path must come as a row."""
    with pytest.raises(ValueError, match="shape"):
        run_dry_days(np.array([1.0, 2.0]), heel_l=0.0)


@given(PATHS, st.floats(0, 100), st.floats(0, 100))
def test_a_deeper_heel_never_runs_dry_later(paths, heel, deeper):
    """Raising the heel can only bring the day forward."""
    assert (run_dry_days(paths, heel_l=heel + deeper) <= run_dry_days(paths, heel_l=heel)).all()


@given(PATHS, st.floats(0, 100))
def test_the_chance_of_being_dry_rises_to_the_share_of_dry_paths(paths, heel):
    """p_dry never falls and ends at the share of paths that touch the heel."""
    p = chance_dry(run_dry_days(paths, heel_l=heel), days=paths.shape[1])
    assert (np.diff(p) >= 0).all()
    assert p[-1] == pytest.approx((paths <= heel).any(axis=1).mean())
