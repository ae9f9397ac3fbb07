"""Recalibration: what is mended on unseen outcomes, what is left alone, and what may never be told."""

from dataclasses import replace
from datetime import date

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.special import ndtri

from forecaster.burn_model import Settings
from forecaster.burn_model.stored import settings_digest
from forecaster.calibration import (
    Calibration,
    Learnt,
    Outcomes,
    learn_calibration,
    packaged_calibration,
    recalibrate_burn,
    scores_of,
    to_rows,
)
from forecaster.calibration.mapping import drawn_to, mapped
from forecaster.calibration.table import CHANCES, LEADS_D
from forecaster.run_dry import run_dry_days
from forecaster.scores import coverage

LEARNT = Learnt("invented", 1, 0, 0, date(2024, 1, 1), "none", "none")
EVEN = np.asarray(ndtri(CHANCES))
DAYS = 100
DATE = np.datetime64("2023-12-01") + np.arange(DAYS)


def outcomes(score, *, middle="2024-01-15", lead=30, tanks=None):
    """Outcomes of one lead and day, of as many tanks as there are scores unless told."""
    n = len(score)
    tank = np.array([f"tank {i % (tanks or n)}" for i in range(n)])
    return Outcomes(tank, np.full(n, lead), np.full(n, np.datetime64(middle)), np.asarray(score, float))


def calibration(told):
    """The same map at every lead and in every month."""
    score = np.broadcast_to(np.asarray(told, float), (len(LEADS_D), 12, len(CHANCES)))
    return Calibration(np.array(LEADS_D), score, LEARNT)


def paths(rng, *, count=1000, sd=0.15):
    """Litres burned a day of paths whose level differs from path to path."""
    level = np.exp(sd * rng.standard_normal((count, 1)))
    return 8.0 * level * rng.gamma(16.0, 1.0 / 16.0, (count, DAYS))


def test_too_narrow_a_forecast_is_mended_on_outcomes_not_learnt_from():
    """Bands that hold 66 % in place of 80 come to 80 within 3 points on unseen outcomes, at every band."""
    rng = np.random.default_rng(1)
    samples = np.sort(np.exp(4.0 + 0.2 * rng.standard_normal(1000)))
    came = np.exp(4.0 + 0.27 * rng.standard_normal(4000))
    told = learn_calibration(outcomes([scores_of(y, samples) for y in came[:2000]]), LEARNT)
    mended = drawn_to(samples, told.at(LEADS_D.index(30), np.datetime64("2024-01-15")))
    for level in (0.5, 0.8, 0.95):
        before = coverage(came[2000:], np.broadcast_to(samples, (2000, 1000)), level=level)
        after = coverage(came[2000:], np.broadcast_to(mended, (2000, 1000)), level=level)
        assert before < level - 0.03
        assert after == pytest.approx(level, abs=0.03)


def test_a_forecast_that_is_off_to_one_side_is_moved():
    """Where half of what came lies below the 31 % point, that point is told as the median."""
    rng = np.random.default_rng(2)
    told = learn_calibration(outcomes(rng.standard_normal(3000) - 0.5), LEARNT)
    at = told.at(LEADS_D.index(30), np.datetime64("2024-01-15"))
    assert at[CHANCES.index(0.5)] == pytest.approx(-0.5, abs=0.06)


def test_an_honest_forecast_is_left_as_it_is():
    """With outcomes that fall evenly no told score is off by more than chance makes it."""
    rng = np.random.default_rng(3)
    told = learn_calibration(outcomes(rng.standard_normal(5000)), LEARNT)
    assert np.abs(told.at(LEADS_D.index(30), np.datetime64("2024-01-15")) - EVEN).max() < 0.12
    burned = paths(rng)
    assert recalibrate_burn(burned, DATE, calibration=calibration(EVEN)) == pytest.approx(burned, rel=1e-6)


def test_nothing_seen_changes_nothing():
    """Leads and seasons without an outcome keep the model's own scores."""
    told = learn_calibration(outcomes([2.0] * 50, lead=7, middle="2024-01-15"), LEARNT)
    for lead in (14, 30, 60, 90):
        assert told.at(LEADS_D.index(lead), np.datetime64("2024-01-15")) == pytest.approx(EVEN)


def test_few_tanks_are_believed_less_than_many():
    """A thousand outcomes of three tanks move the map less than as many of a thousand tanks."""
    score = np.full(1000, 1.0)
    few, many = (
        learn_calibration(outcomes(score, tanks=n), LEARNT).at(LEADS_D.index(30), np.datetime64("2024-01-15"))
        for n in (3, 1000)
    )
    assert 0.0 < few[CHANCES.index(0.5)] < many[CHANCES.index(0.5)] <= 1.0
    assert few[0] - EVEN[0] < 0.5 * (many[0] - EVEN[0])


def test_seasons_are_learnt_apart():
    """Outcomes of January move January's map, and leave July's alone."""
    told = learn_calibration(outcomes(np.full(500, 1.0)), LEARNT)
    july = told.at(LEADS_D.index(30), np.datetime64("2024-07-15"))
    assert told.at(LEADS_D.index(30), np.datetime64("2024-01-15"))[4] > 0.9
    assert july == pytest.approx(
        learn_calibration(outcomes(np.full(500, 1.0), middle="2024-07-15"), LEARNT).at(
            LEADS_D.index(30), np.datetime64("2024-01-15")
        ),
        abs=0.02,
    )
    south = told.in_the_south().at(LEADS_D.index(30), np.datetime64("2024-07-15"))
    assert south[4] > 0.9


@given(
    told=st.lists(st.floats(-6.0, 6.0), min_size=len(CHANCES), max_size=len(CHANCES)).map(sorted),
    seed=st.integers(0, 1000),
)
def test_ranks_stay_and_no_oil_comes_back(told, seed):
    """Under any rising map burns stay finite and at or above nothing, and at the first lead the paths' order stays."""
    burned = paths(np.random.default_rng(seed), count=60)
    after = recalibrate_burn(burned, DATE, calibration=calibration(told))
    assert np.isfinite(after).all()
    assert (after >= 0.0).all()
    first = LEADS_D[0]
    order = np.argsort(burned[:, :first].sum(axis=1), kind="stable")
    assert (np.diff(after[:, :first].sum(axis=1)[order]) >= -1e-9).all()


def test_litres_are_drawn_apart_at_each_lead_as_told():
    """Scores told half as far again widen the 80 % band by half at every lead, in log litres."""
    burned = paths(np.random.default_rng(5))
    after = recalibrate_burn(burned, DATE, calibration=calibration(1.5 * EVEN))
    for lead in LEADS_D:
        width = [np.ptp(np.quantile(np.log(b[:, :lead].sum(axis=1)), [0.1, 0.9])) for b in (burned, after)]
        assert width[1] == pytest.approx(1.5 * width[0], rel=0.05)


def test_run_dry_dates_are_those_of_the_litres():
    """The chance of being dry by a day is that of the litres told burned until then: one set of paths serves both."""
    burned = recalibrate_burn(paths(np.random.default_rng(6)), DATE, calibration=calibration(1.4 * EVEN))
    litres = 300.0 - np.cumsum(burned, axis=1)
    dry = run_dry_days(litres, heel_l=0.0)
    for day in (20, 40, 60):
        assert np.mean(dry <= day) == pytest.approx(np.mean(burned[:, : day + 1].sum(axis=1) >= 300.0))


def test_beyond_what_was_seen_the_tail_is_never_drawn_in():
    """Past the outermost chances a told score falls behind by no more than at them, however narrow the middle."""
    narrow = 0.6 * EVEN
    far = np.array([3.0, 4.0, 5.0])
    for sign in (-1.0, 1.0):
        told = sign * mapped(sign * far, narrow)
        assert told - sign * mapped(sign * EVEN[-1:], narrow) == pytest.approx(far - EVEN[-1])
    assert mapped(np.array([4.0]), 1.5 * EVEN)[0] == pytest.approx(6.0)


def test_days_beyond_the_last_lead_are_left_alone():
    """Of days further ahead than anything seen the burn is the model's own."""
    burned = paths(np.random.default_rng(7))
    after = recalibrate_burn(burned, DATE, calibration=calibration(1.5 * EVEN))
    assert np.array_equal(after[:, LEADS_D[-1] :], burned[:, LEADS_D[-1] :])
    assert not np.array_equal(after[:, : LEADS_D[-1]], burned[:, : LEADS_D[-1]])


@pytest.mark.parametrize("days", [1, 3, 20])
def test_fewer_days_than_leads_are_served(days):
    """One day, three, or twenty ahead are recalibrated up to the last lead among them, the first map at least."""
    burned = paths(np.random.default_rng(8))[:, :days]
    after = recalibrate_burn(burned, DATE[:days], calibration=calibration(2.0 * EVEN))
    assert after.shape == burned.shape
    assert np.log(after.sum(axis=1)).std() > 1.3 * np.log(burned.sum(axis=1)).std()


def test_a_tank_that_burns_nothing_is_no_trouble():
    """Paths without any burn stay so."""
    nothing = np.zeros((50, DAYS))
    assert np.array_equal(recalibrate_burn(nothing, DATE, calibration=calibration(2.0 * EVEN)), nothing)


def test_an_outcome_beyond_all_samples_has_a_score_beyond_theirs():
    """What lies far below or above every sample is continued, in the order of the litres, and bounded."""
    samples = np.exp(3.0 + 0.1 * np.random.default_rng(9).standard_normal(500))
    score = [scores_of(y, samples) for y in (0.0, 5.0, 12.0, 20.0, 40.0, 1e9)]
    assert score == sorted(score)
    assert score[0] == -8.0
    assert score[-1] == 8.0
    assert abs(score[3]) < 0.3


def test_the_packaged_table_tells_where_it_is_from():
    """World, seed, tanks, cases, day, settings and revision stand in every row, and are read back the same."""
    held = packaged_calibration()
    assert held.learnt.world == "tuning"
    assert held.learnt.tanks >= 100
    assert held.learnt.cases >= 5 * held.learnt.tanks
    assert len(held.learnt.revision) >= 7
    rows = to_rows(held)
    assert len(rows) == len(LEADS_D) * 12
    assert {row["settings"] for row in rows} == {held.learnt.settings}
    assert to_rows(replace(held, learnt=replace(held.learnt, seed=9)))[0]["seed"] == "9"


def test_the_packaged_table_was_learnt_with_the_models_settings():
    """Settings that have changed since make the bands' record another: `make calibrate` learns it anew."""
    assert packaged_calibration().learnt.settings == settings_digest(Settings()).hex()
    assert settings_digest(Settings(day_noise=0.31)) != settings_digest(Settings())


def test_the_packaged_maps_rise():
    """At every lead and month a higher chance is told at no lower score, and none is moved beyond reason."""
    score = packaged_calibration().score
    assert (np.diff(score, axis=-1) >= 0.0).all()
    assert np.abs(score[..., 1:-1] - EVEN[1:-1]).max() < 6.0
