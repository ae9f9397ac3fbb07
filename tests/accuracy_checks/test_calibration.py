"""Learning the recalibration: which forecasts are taken, what is kept with it, and when it is out of date."""

from dataclasses import replace
from datetime import date
from functools import cache

import numpy as np
import pytest

from forecaster.calibration import Calibration, Learnt, packaged_calibration
from forecaster.calibration.table import CHANCES, LEADS_D
from tests.accuracy import calibration
from tests.accuracy.calibration import (
    HELD_OUT_SEED,
    SEED_OF_HOUSES,
    Forecasted,
    Seen,
    cover_table,
    forecasts_of,
    learn,
    out_of_date,
    outcomes_of,
    seen_of,
    to_csv,
)
from tests.accuracy.simulated.run import TEACHERS_SEED, houses_of
from tests.accuracy.world import TUNING


@cache
def forecasts() -> tuple[Forecasted, ...]:
    """The first two of a house."""
    house = next(houses_of(TUNING, seed=3, count=1))
    asked = forecasts_of(house)
    return next(asked), next(asked)


def invented(*, tanks=40, spread=1.0):
    """Outcomes of invented tanks whose scores spread so wide, all of January and of thirty days."""
    rng = np.random.default_rng(1)
    middle = np.datetime64("2024-01-15")
    return [[(f"tank {n}", 30, middle, float(spread * rng.standard_normal()))] for n in range(tanks)]


def test_forecasts_are_taken_uncalibrated_and_scored_by_what_came() -> None:
    """Paths do not change with the packaged table, and each lead's outcome is what the house burned over it."""
    first = forecasts()[0]
    assert first.burned_l.shape[1] >= max(LEADS_D)
    assert sorted(first.came_l) == list(LEADS_D)
    assert np.all(np.diff([first.came_l[lead] for lead in LEADS_D]) >= 0.0)
    rows = list(outcomes_of(iter(forecasts())))
    assert len(rows) == 2 * len(LEADS_D)
    assert {tank for tank, *_ in rows} == {first.tank}
    assert rows[0][2] == first.date[0] + LEADS_D[0] // 2


def test_held_out_outcomes_are_seen_before_and_after() -> None:
    """A map that draws the paths apart moves every outcome's place towards the middle."""
    wide = np.broadcast_to(3.0 * packaged_even(), (len(LEADS_D), 12, len(CHANCES)))
    learnt = Learnt("invented", 1, 1, 1, date(2024, 1, 1), "", "")
    seen = list(seen_of(iter(forecasts()), Calibration(np.array(LEADS_D), wide, learnt)))
    assert len(seen) == 2 * len(LEADS_D)
    for s in seen:
        assert abs(s.pit[1] - 0.5) <= abs(s.pit[0] - 0.5) + 1e-3


def packaged_even() -> np.ndarray:
    """Normal scores of the chances."""
    from scipy.special import ndtri

    return np.asarray(ndtri(CHANCES))


def test_what_is_learnt_keeps_its_provenance() -> None:
    """World, seed, houses, cases and revision of a run are those of its table."""
    found = learn(invented(), seed=12, revision="abc1234")
    assert (found.learnt.world, found.learnt.seed, found.learnt.tanks, found.learnt.cases) == (
        "tuning",
        12,
        40,
        40,
    )
    text = to_csv(found).splitlines()
    assert len(text) == 1 + 12 * len(LEADS_D)
    assert all("abc1234" in line and "40 simulated houses" in line for line in text[1:])


def test_houses_learnt_from_are_no_others() -> None:
    """The seeds of houses learnt from, held out, and of the trees' teachers differ."""
    assert len({SEED_OF_HOUSES, HELD_OUT_SEED, TEACHERS_SEED}) == 3


def test_other_settings_make_the_table_out_of_date() -> None:
    """A table learnt with other settings is named with its day and what to run."""
    held = packaged_calibration()
    other = replace(held, learnt=replace(held.learnt, settings="0" * 32))
    assert "make calibrate" in out_of_date(other)
    assert str(held.learnt.on) in out_of_date(other)


def test_changed_code_makes_the_table_out_of_date(monkeypatch: pytest.MonkeyPatch) -> None:
    """A revision whose model's code differs, or that is not known, is named; with no code to differ all is well."""
    held = packaged_calibration()
    assert "make calibrate" in out_of_date(
        replace(held, learnt=replace(held.learnt, revision="no-such-revision"))
    )
    monkeypatch.setattr(calibration, "MODEL_CODE", ("no-such-folder",))
    assert out_of_date(replace(held, learnt=replace(held.learnt, revision="HEAD"))) == ""


def test_the_table_tells_cover_before_and_after() -> None:
    """A case within the 80 % band before and the 50 % band after counts so; the scores stand as a ratio."""
    seen = [Seen(400, "winter", lead, (0.85, 0.6), (10.0, 8.0)) for lead in LEADS_D]
    lines = cover_table(seen).splitlines()
    assert lines[-1].startswith("| all (1) | 0 / 100 / 100 → 100 / 100 / 100; CRPS × 0.800 |")
    assert any(line.startswith("| a year and more (1)") for line in lines)
    assert any(line.startswith("| as of winter (1)") for line in lines)
