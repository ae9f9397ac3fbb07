"""The burn model on homes whose truth is known: what it learns, and what must not mislead it."""

from dataclasses import replace
from datetime import date
from functools import cache
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from forecaster.burn_model import (
    Additions,
    Drivers,
    House,
    Observations,
    PastLitres,
    Posterior,
    Settings,
    fit_burn_model,
    house_drivers,
    reference_slope_factor,
)
from forecaster.burn_model.expected import expected_burn
from forecaster.burn_model.steps import LONGEST_STEP_D, cut_steps, sum_over_steps
from forecaster.burn_model.stuck import stuck_readings
from forecaster.civil import midnights
from forecaster.confidence import State
from forecaster.diary import DiaryEntry, parse_diary
from forecaster.dwelling import BurnPrior, Solar, Stove, Survey, burn_prior
from forecaster.fuel import KEROSENE
from forecaster.stove import StoveLog
from tests.forecaster.homes import Home, last, work
from tests.strategies import calm, few

DAY = np.timedelta64(86_400, "s")
FIRST = np.datetime64("2023-10-01T00:00:00")
BASE_L, SLOPE_L, LIMIT_C = 1.2, 0.45, 15.5
"""Truth of the test home: litres a day, litres a degree-day, and the temperature below which it heats."""
YEAR_C = 10.0 - 6.0 * np.cos(np.arange(365) * 2 * np.pi / 365)
CAPACITY_L, STEP_L = 2500.0, 10.0
GATED, STUCK, SILENT, LIFTED = 2, 3, 4, 5


def weather_c(days: int, *, seed: int = 1) -> np.ndarray:
    """Winter days of a mild climate, a spell after the other."""
    rng = np.random.default_rng(seed)
    noise = np.zeros(days)
    for i in range(1, days):
        noise[i] = 0.75 * noise[i - 1] + 2.2 * rng.standard_normal()
    return 9.0 - 5.0 * np.sin(np.arange(days) / 150.0 * np.pi) + noise


def burn_l(temp_c: np.ndarray, *, base: float = BASE_L, slope: float = SLOPE_L) -> np.ndarray:
    """Litres that the test home burns on each day."""
    return base + slope * np.maximum(LIMIT_C - temp_c, 0.0)


def drivers(temp_c: np.ndarray) -> Drivers:
    """Temperature alone: no sun, no stove, no diary."""
    none = np.zeros(len(temp_c))
    date_d = FIRST.astype("datetime64[D]") + np.arange(len(temp_c))
    return Drivers(date_d, temp_c, none, none + 1.0, none + 1.0, none, none)


def prior(**changes: float) -> BurnPrior:
    """A survey that is right on the whole and says so modestly."""
    right = BurnPrior(
        base_l_per_day=1.4, base_rel_sd=0.4, slope_l_per_kday=0.5, slope_rel_sd=0.3, solar_l_per_kwh_m2=0.0,
        solar_rel_sd=0.3, stove_l_per_kwh=0.0, stove_rel_sd=0.3, base_temperature_c=16.0,
        base_temperature_sd_c=1.8, hot_water_l_per_day=np.ones(12), boiler_ceiling_l_per_day=60.0, rests_on=(),
    )  # fmt: skip
    return replace(right, **changes)


def none_added() -> Additions:
    """No delivery."""
    return Additions(np.empty(0, "datetime64[s]"), np.empty(0), np.empty(0))


def added(at: list[float], litres: list[float]) -> Additions:
    """Deliveries at days (and parts of days) after the first."""
    return Additions(_at(np.array(at)), np.array(litres), 0.015 * np.array(litres))


def _at(day: np.ndarray) -> np.ndarray:
    return FIRST + np.round(np.asarray(day) * 86_400).astype("timedelta64[s]")


def true_litres(
    day: np.ndarray, temp_c: np.ndarray, extra: Additions, *, start_l: float = 2000.0
) -> np.ndarray:
    """Litres in the tank at times in days after the first."""
    gone = np.interp(day, np.arange(len(temp_c) + 1), np.r_[0.0, np.cumsum(burn_l(temp_c))])
    came = (extra.litres_15c[None, :] * (extra.at[None, :] <= _at(day)[:, None])).sum(axis=1)
    return start_l - gone + came


def observed(day: np.ndarray, litres: np.ndarray, *, at_least: np.ndarray | None = None) -> Observations:
    """Readings of a sensor that steps by ten litres."""
    read = np.round(litres / STEP_L) * STEP_L
    n = len(read)
    return Observations(
        _at(day), read, np.full(n, STEP_L / np.sqrt(12.0)), np.ones(n), np.full(n, STEP_L),
        np.zeros(n, bool) if at_least is None else at_least, np.r_[False, np.diff(read) == 0.0],
    )  # fmt: skip


def fit(
    temp_c: np.ndarray,
    seen: Observations,
    *,
    extra: Additions | None = None,
    survey: BurnPrior | None = None,
    past: PastLitres | None = None,
    days: int | None = None,
    settings: Settings | None = None,
) -> Posterior:
    """Fit at the end of the last day."""
    n = len(temp_c) if days is None else days
    return fit_burn_model(
        drivers(temp_c), FIRST + np.arange(len(temp_c) + 1) * DAY, seen, extra or none_added(), survey or prior(),
        as_of=FIRST + n * DAY, normal_temp_c=YEAR_C, capacity_l=CAPACITY_L, past_litres=past,
        settings=settings,
    )  # fmt: skip


def daily(temp_c: np.ndarray, *, hour: float = 6.0, extra: Additions | None = None, start_l: float = 2000.0):
    """One reading a day."""
    day = np.arange(len(temp_c)) + hour / 24.0
    return observed(day, true_litres(day, temp_c, extra or none_added(), start_l=start_l))


def spread_l(posterior: Posterior) -> float:
    """Standard deviation of the litres now."""
    return float(np.sqrt(posterior.moments()[1][0, 0]))


def week_ahead(posterior: Posterior, temp_c: float) -> tuple[float, float]:
    """Expected litres, and their sd, of a week at one temperature."""
    marks = FIRST + np.arange(8) * DAY
    return expected_burn(posterior, drivers(np.full(7, temp_c)), marks, start=marks[0], end=marks[-1])


# ---- steps


@few
@given(
    st.lists(st.floats(0.0, 60.0), min_size=1, max_size=30, unique_by=lambda d: round(d * 86_400)).map(
        sorted
    ),
    st.floats(0.0, 20.0),
    st.lists(st.tuples(st.floats(0.0, 80.0), st.floats(1.0, 900.0)), max_size=8),
)
def test_steps_cut_the_time_at_every_reading_and_lose_no_litre(day, wait, poured):
    """The steps' lengths come to the whole time, each reading ends one, none is long, and every delivery counts."""
    at = _at(np.array(day))
    until = at[-1] + np.timedelta64(int(wait * 86_400), "s")
    extra = added([d for d, _ in poured], [v for _, v in poured])
    steps = cut_steps(at[0], until, at, extra)
    assert steps.days.sum() == pytest.approx((until - at[0]) / DAY, abs=1e-6)
    assert (steps.days >= 0).all()
    assert steps.days.max() <= LONGEST_STEP_D + 1e-6
    ends = steps.end[steps.reading >= 0]
    assert ends.tolist() == at.tolist()
    inside = (extra.at >= at[0]) & (extra.at <= until)
    assert steps.added_l.sum() == pytest.approx(extra.litres_15c[inside].sum())
    assert steps.added_var.sum() == pytest.approx((extra.sd_l[inside] ** 2).sum())


def test_a_delivery_falls_into_the_step_in_which_it_came():
    """Put in at noon, litres count towards the reading of the next morning, not of that morning."""
    at = _at(np.array([0.25, 1.25, 2.25]))
    steps = cut_steps(at[0], at[-1], at, added([1.5], [500.0]))
    assert steps.added_l.tolist() == [0.0, 0.0, 500.0, 0.0]


@few
@given(st.lists(st.floats(0.0, 10.0), min_size=2, max_size=12, unique=True).map(sorted))
def test_what_the_days_hold_is_shared_out_without_loss(marks):
    """Summed over all steps, a daily quantity is its sum over the time, in proportion within days."""
    at = _at(np.array(marks))
    steps = cut_steps(at[0], at[-1], at, none_added())
    per_day = np.arange(1.0, 12.0)[:, None]
    summed = sum_over_steps(per_day, FIRST + np.arange(12) * DAY, steps, at[0])
    seconds = (at[[0, -1]] - FIRST) / np.timedelta64(1, "s") / 86_400
    whole = np.interp(seconds, np.arange(12), np.r_[0.0, np.cumsum(per_day)])
    assert summed.sum() == pytest.approx(whole[1] - whole[0], abs=1e-6)


def test_a_day_of_23_hours_is_a_whole_day():
    """On the day the clocks go forward a step from midnight to midnight takes all of the day's weather."""
    days = midnights(date(2024, 3, 30), 3, ZoneInfo("Europe/London"))
    steps = cut_steps(days[1], days[2], days[1:3], none_added())
    assert steps.days.sum() == pytest.approx(23 / 24)
    per_day = np.array([[5.0], [7.0], [9.0]])
    assert sum_over_steps(per_day, days, steps, days[1]).sum() == pytest.approx(7.0)


# ---- drivers


def _house(**survey: object) -> House:
    asked = Survey(
        latitude=54.5, longitude=-2.6, occupants=3, heat_loss_w_per_k=200, hot_water="oil", **survey
    )
    return House(54.5, -2.6, asked, burn_prior(asked, KEROSENE))


DATES = np.arange(np.datetime64("2024-01-01"), np.datetime64("2024-12-31"))


def test_known_days_and_scenarios_are_driven_the_same_way():
    """A scenario with the weather of the known days has their drivers exactly."""
    temp, ghi = YEAR_C[:365], 2000.0 - 1500.0 * np.cos(np.arange(365) * 2 * np.pi / 365)
    house = _house(stove=Stove(5.0, 4.0, 5.0), solar=Solar(window_m2=5.0, thermal_m2=3.0))
    one = house_drivers(DATES, temp, ghi, house=house)
    many = house_drivers(DATES, np.stack([temp, temp - 5]), np.stack([ghi, ghi / 2]), house=house)
    for name in ("temp_c", "sun_kwh_m2", "base_factor"):
        assert getattr(many, name).shape == (2, 365)
        assert getattr(many, name)[0] == pytest.approx(getattr(one, name))
    assert (many.sun_kwh_m2[1] < one.sun_kwh_m2).all()


def test_panels_on_the_roof_spare_hot_water_most_in_summer():
    """Solar thermal takes from the base load, more in June than in December, and never all of it or less than none."""
    ghi = 2500.0 - 2000.0 * np.cos(np.arange(365) * 2 * np.pi / 365)
    bare = house_drivers(DATES, YEAR_C, ghi, house=_house())
    solar = house_drivers(DATES, YEAR_C, ghi, house=_house(solar=Solar(thermal_m2=3.0)))
    kept = solar.base_factor / bare.base_factor
    assert (kept <= 1.0).all()
    assert (kept >= 0.0).all()
    assert kept[150:180].mean() < kept[340:].mean()


def test_a_diary_lowers_what_it_says():
    """Away, a home neither heats as usual nor takes hot water; other days are untouched."""
    entries, problems = parse_diary("start,end,what\n2024-02-01,2024-02-07,away\n")
    assert not problems
    assert isinstance(entries[0], DiaryEntry)
    usual = house_drivers(DATES, YEAR_C, np.full(365, 1000.0), house=_house())
    away = house_drivers(DATES, YEAR_C, np.full(365, 1000.0), house=replace(_house(), diary=entries))
    gone = (np.datetime64("2024-02-01") <= DATES) & (np.datetime64("2024-02-07") >= DATES)
    assert (away.base_factor[gone] < usual.base_factor[gone]).all()
    assert (away.heat_factor[gone] < usual.heat_factor[gone]).all()
    assert away.base_factor[~gone] == pytest.approx(usual.base_factor[~gone])
    assert away.heat_factor[~gone] == pytest.approx(usual.heat_factor[~gone])


def test_logged_fires_stand_for_the_stated_ones():
    """Within a wood log its days count as logged, an evening without wood as none; outside, the habit stands."""
    log = StoveLog(np.array(["2024-01-10", "2024-01-14"], "datetime64[D]"), np.array([20.0, 12.0]))
    house = replace(_house(stove=Stove(5.0, 4.0, 5.0)), stove_log=log)
    driven = house_drivers(DATES, YEAR_C, np.full(365, 500.0), house=house)
    assert driven.stove_kwh[9:14].tolist() == [20.0, 0.0, 0.0, 0.0, 12.0]
    assert np.isinf(driven.stove_rate[9:14]).all()
    assert np.isfinite(driven.stove_rate[14:]).all()
    assert (driven.stove_kwh[14:] > 0).all()


# ---- fit: what is learnt


@pytest.mark.parametrize("seed", range(3))
def test_a_known_home_is_recovered(seed):
    """After 150 winter days the burn of a week is the truth's within its own error, and the closer the colder it is."""
    temp = weather_c(150, seed=seed)
    posterior = fit(temp, daily(temp))
    assert posterior.moments()[0][0] == pytest.approx(
        true_litres(np.array([150.0]), temp, none_added())[0], abs=6.0
    )
    # days of 10 °C are few in that winter, and the corner of the degree-days is softer than the truth's
    for at_c, within in ((0.0, 0.06), (5.0, 0.06), (10.0, 0.12)):
        mean, sd = week_ahead(posterior, at_c)
        truth = 7 * float(burn_l(np.array(at_c)))
        assert mean == pytest.approx(truth, rel=within)
        assert abs(mean - truth) < 2 * sd


def test_the_truth_lies_in_the_spread_as_often_as_it_should():
    """Over 40 homes drawn as the prior says, the burn of a cold week lies within 2 sd in at least nine of ten."""
    rng = np.random.default_rng(3)
    inside = 0
    for seed in range(40):
        base, slope = 1.4 * rng.lognormal(0, 0.3), 0.5 * rng.lognormal(0, 0.25)
        temp = weather_c(50, seed=seed)
        day = np.arange(50) + 0.25
        burned = burn_l(temp, base=base, slope=slope) * rng.lognormal(-0.05, 0.3, 50)
        litres = 2000.0 - np.interp(day, np.arange(51), np.r_[0.0, np.cumsum(burned)])
        mean, sd = week_ahead(fit(temp, observed(day, litres)), 2.0)
        inside += abs(mean - 7 * float(burn_l(np.array(2.0), base=base, slope=slope))) < 2 * sd
    assert inside >= 36


def test_a_wrong_survey_is_overcome():
    """Of a survey that says twice the slope or little more than half of it, most is forgotten within a winter."""
    temp = weather_c(150)
    truth = 7 * float(burn_l(np.array(2.0)))
    for slope in (0.25, 0.9):
        wrong = prior(slope_l_per_kday=slope)
        before, _ = week_ahead(fit(temp[:1], daily(temp[:1]), survey=wrong), 2.0)
        after, sd = week_ahead(fit(temp, daily(temp), survey=wrong), 2.0)
        assert abs(after - truth) < 0.4 * abs(before - truth)
        assert abs(after - truth) < min(0.13 * truth, 2 * sd)


def test_more_days_make_the_burn_surer():
    """The spread of a cold week's burn shrinks from the survey alone over 20 days to 150."""
    temp = weather_c(150)
    sd = [week_ahead(fit(temp[:n], daily(temp[:n])), 2.0)[1] for n in (1, 20, 150)]
    assert sd[0] > sd[1] > sd[2]


def test_receipts_narrow_the_prior():
    """Litres known to have been burned over past years move the survey towards them and make it surer."""
    temp = weather_c(3)
    seen = daily(temp)
    years = drivers(np.tile(YEAR_C, 2))
    litres = float(burn_l(np.tile(YEAR_C, 2)).sum())
    wrong = prior(slope_l_per_kday=0.8, slope_rel_sd=0.4)
    plain = week_ahead(fit(temp, seen, survey=wrong), 2.0)
    told = week_ahead(fit(temp, seen, survey=wrong, past=PastLitres(years, litres, 100.0)), 2.0)
    truth = 7 * float(burn_l(np.array(2.0)))
    assert abs(told[0] - truth) < 0.5 * abs(plain[0] - truth)
    assert told[1] < plain[1]


def test_the_priors_slope_burns_the_same_in_a_year_at_every_base():
    """A survey knows the litres of a year: slope and degree-days of a normal year make the same at each base."""
    bases = np.array([12.0, 15.0, 18.0, 21.0])
    factor = reference_slope_factor(bases, YEAR_C, at_c=15.0, rounding_k=1.2)
    year = [f * 1.2 * np.logaddexp(0.0, (b - YEAR_C) / 1.2).sum() for f, b in zip(factor, bases, strict=True)]
    assert year == pytest.approx(np.full(4, year[1]))
    assert factor[1] == pytest.approx(1.0)


# ---- fit: readings as they come


@pytest.mark.parametrize("every", [7.0, 1.0, 0.25], ids=["weekly", "daily", "six-hourly"])
def test_readings_of_any_interval_teach_the_same_home(every):
    """Weekly dips, daily and six-hourly readings of one winter agree on a cold week's burn."""
    temp = weather_c(150)
    day = np.arange(0.25, 150.0, every)
    mean, sd = week_ahead(fit(temp, observed(day, true_litres(day, temp, none_added()))), 2.0)
    truth = 7 * float(burn_l(np.array(2.0)))
    assert mean == pytest.approx(truth, rel=0.08)
    assert abs(mean - truth) < 2 * sd


def test_a_gap_widens_the_level_and_a_reading_closes_it():
    """Three weeks without a reading leave the level unsure by more each week; the next reading makes it sure again."""
    temp = weather_c(120)
    seen = daily(temp)
    spreads = []
    for days in (80, 87, 94, 101):
        kept = seen.at < FIRST + 80 * DAY
        spreads.append(spread_l(fit(temp, _only(seen, kept), days=days)))
    assert spreads == sorted(spreads)
    assert spreads[-1] > 3 * spreads[0]
    back = (seen.at < FIRST + 80 * DAY) | ((seen.at > FIRST + 100 * DAY) & (seen.at < FIRST + 101 * DAY))
    assert spread_l(fit(temp, _only(seen, back), days=101)) < 2 * spreads[0]


def _only(seen: Observations, kept: np.ndarray) -> Observations:
    """Some of the readings."""
    cut = [
        getattr(seen, name)[kept] for name in ("at", "litres", "sd_l", "bulk_per_15c", "step_l", "at_least")
    ]
    return Observations(*cut, np.r_[False, np.diff(cut[1]) == 0.0] if kept.any() else np.zeros(0, bool))


def test_deliveries_inside_steps_are_no_burn():
    """A winter with three deliveries, between readings and between weekly dips, is learnt like one without."""
    temp = weather_c(150)
    extra = added([30.4, 71.6, 110.5], [600.0, 450.0, 700.0])
    truth = 7 * float(burn_l(np.array(2.0)))
    for every in (1.0, 7.0):
        day = np.arange(0.25, 150.0, every)
        litres = true_litres(day, temp, extra, start_l=1100.0)
        posterior = fit(temp, observed(day, litres), extra=extra)
        assert week_ahead(posterior, 2.0)[0] == pytest.approx(truth, rel=0.08)
        assert (posterior.verdicts != GATED).all()


def test_a_delivery_is_only_as_sure_as_its_ticket():
    """Until a reading shows it, a delivery adds its litres to the level and its error to the spread."""
    temp = weather_c(60)
    seen = _only(daily(temp), np.arange(60) < 59)
    at = np.array([59.5])
    ticket = Additions(_at(at), np.array([600.0]), np.array([50.0]))
    without, poured = fit(temp, seen), fit(temp, seen, extra=ticket)
    assert poured.moments()[0][0] - without.moments()[0][0] == pytest.approx(600.0, abs=1e-6)
    assert spread_l(poured) ** 2 - spread_l(without) ** 2 == pytest.approx(50.0**2, rel=1e-6)


def test_a_single_wrong_reading_is_not_believed():
    """One reading 300 litres off is gated and moves the level by less than the sensor's step."""
    temp = weather_c(60)
    seen = daily(temp)
    off = seen.litres.copy()
    off[40] -= 300.0
    right, wrong = fit(temp, seen), fit(temp, replace(seen, litres=off))
    assert wrong.verdicts[40] == GATED
    assert wrong.moments()[0][0] == pytest.approx(right.moments()[0][0], abs=STEP_L)


def test_a_level_that_stays_away_is_followed_after_four_readings():
    """Oil that is gone for good is refused four times; then the level is let go and followed, the burn kept."""
    temp = weather_c(60)
    seen = daily(temp)
    gone = replace(seen, litres=np.where(np.arange(60) >= 40, seen.litres - 300.0, seen.litres))
    posterior = fit(temp, gone)
    assert posterior.verdicts[40:44].tolist() == [GATED] * Settings().escape_after
    assert (posterior.verdicts[46:] != GATED).all()
    truth = true_litres(np.array([60.0]), temp, none_added())[0] - 300.0
    assert posterior.moments()[0][0] == pytest.approx(truth, abs=2 * STEP_L)
    mean, sd = week_ahead(posterior, 2.0)
    assert abs(mean - 7 * float(burn_l(np.array(2.0)))) < 2 * sd


# ---- fit: the dead band


def _dead_band(ends_at_l: float, *, days: int = 70) -> Posterior:
    """A winter's start in a tank whose sensor sees nothing above some litres."""
    temp = weather_c(days)
    day = np.arange(days) + 0.25
    litres = true_litres(day, temp, none_added())
    return fit(temp, observed(day, np.minimum(litres, ends_at_l), at_least=litres >= ends_at_l))


@pytest.mark.parametrize("above_sd", [1.0, 8.0, 29.0, 31.0, 60.0, 1000.0])
def test_a_lower_bound_never_takes_more_variance_than_there_is(above_sd: float) -> None:
    """However far above what was known a sure bound lies, the level comes to it and its variance stays positive."""
    from forecaster.burn_model import filtering

    point = np.zeros(filtering.ROWS)
    point[filtering.COV] = 1.0
    filtering._lift(point, 1, 0, above_sd, 1.0 + 1e-9, 1.0, 1.0)
    assert above_sd < point[0] < above_sd + 0.6
    assert 0.0 < point[filtering.COV] < 0.5


def test_at_least_is_silent_below_the_prediction_and_lifts_from_below():
    """A lower bound below what is known says nothing; above it the level is lifted to it, and not far beyond."""
    temp = weather_c(40)
    seen = daily(temp)
    truth = float(true_litres(np.array([39.25]), temp, none_added())[0])
    bound = np.arange(40) == 39
    known = fit(temp, _only(seen, ~bound))
    below = fit(temp, replace(seen, litres=np.where(bound, truth - 200.0, seen.litres), at_least=bound))
    above = fit(temp, replace(seen, litres=np.where(bound, truth + 25.0, seen.litres), at_least=bound))
    assert below.verdicts[-1] == SILENT
    assert below.moments()[0][0] == pytest.approx(known.moments()[0][0], abs=0.5)
    assert above.verdicts[-1] == LIFTED
    lifted = above.moments()[0][0] - known.moments()[0][0]
    assert 5.0 < lifted < 60.0
    # every point of the grid is surer than before; together they may disagree more
    assert (above.cov[:, 0, 0] < known.cov[:, 0, 0]).all()


def test_a_tank_that_starts_in_the_dead_band_is_known_once_it_leaves_it():
    """While only "at least" is known the level stays open upwards; a month of seen levels settles it."""
    inside, left = _dead_band(1000.0), _dead_band(1900.0)
    assert set(inside.verdicts.tolist()) <= {SILENT, LIFTED}
    assert spread_l(inside) > 100.0
    assert inside.moments()[0][0] > 950.0
    assert spread_l(left) < 10.0
    assert left.moments()[0][0] == pytest.approx(
        true_litres(np.array([70.0]), weather_c(70), none_added())[0], abs=8.0
    )


# ---- fit: whatever comes


@calm
@given(
    st.integers(0, 10_000),
    st.integers(0, 30),
    st.floats(-500.0, 5000.0),
    st.sampled_from(["fall", "constant", "noise", "alternating"]),
    st.booleans(),
    st.booleans(),
)
def test_whatever_is_read_the_posterior_is_finite_and_positive(seed, readings, level, kind, bounds, pours):
    """Any number of readings, constant, wild or above the top, with deliveries every day or none, give finite numbers.

    The covariance of every grid point stays positive semidefinite and the weights add up to one.
    """
    rng = np.random.default_rng(seed)
    temp = weather_c(32, seed=seed)
    day = np.sort(rng.choice(np.arange(1, 32 * 24), readings, replace=False)) / 24.0
    litres = {
        "fall": level - 5.0 * day, "constant": np.full(readings, level),
        "noise": level + 400.0 * rng.standard_normal(readings),
        "alternating": level + 900.0 * (np.arange(readings) % 2),
    }[kind]  # fmt: skip
    extra = added([d + 0.5 for d in range(31)], [200.0] * 31) if pours else none_added()
    posterior = fit(temp, observed(day, litres, at_least=rng.random(readings) < 0.4 * bounds), extra=extra)
    assert posterior.weight.sum() == pytest.approx(1.0)
    assert np.isfinite(posterior.mean).all()
    assert np.isfinite(posterior.cov).all()
    scale = np.sqrt(np.einsum("gii->gi", posterior.cov))
    assert (scale >= 0).all()
    correlation = posterior.cov / np.maximum(scale[:, :, None] * scale[:, None, :], 1e-12)
    assert np.linalg.eigvalsh(correlation).min() > -1e-6
    mean, sd = week_ahead(posterior, 3.0)
    assert np.isfinite(mean)
    assert sd > 0
    assert len(posterior.verdicts) == readings


def _is_sound(seed: int) -> bool:
    """Fit a tank with a constant level, few readings, months of gaps, oil every day or a level above the top."""
    rng = np.random.default_rng(seed)
    days = 200
    temp = weather_c(days, seed=seed % 50)
    day = np.sort(rng.choice(np.arange(1, days * 24), int(rng.integers(3, 200)), replace=False)) / 24.0
    if seed % 3 == 0:
        day = day[(day < 20) | (day > 150)]
    extra = added([d + 0.5 for d in range(days - 1)], [8.0] * (days - 1)) if seed % 4 == 1 else none_added()
    litres = true_litres(day, temp, extra, start_l=float(rng.uniform(0.0, 2.0 * CAPACITY_L)))
    if seed % 5 == 2:
        litres = np.full(len(day), 800.0)
    posterior = fit(
        temp, observed(day, litres, at_least=rng.random(len(day)) < 0.2 * (seed % 2)), extra=extra
    )
    scale = np.sqrt(np.einsum("gii->gi", posterior.cov))
    correlation = posterior.cov / np.maximum(scale[:, :, None] * scale[:, None, :], 1e-12)
    return bool(
        np.isfinite(posterior.mean).all()
        and np.isfinite(posterior.cov).all()
        and abs(posterior.weight.sum() - 1.0) < 1e-12
        and np.linalg.eigvalsh(correlation).min() > -1e-6
    )


def test_odd_tanks_keep_a_sound_posterior():
    """Of 100 odd tanks none has a nan, a negative variance or weights that do not add up."""
    assert [seed for seed in range(100) if not _is_sound(seed)] == []


@pytest.mark.long
def test_ten_thousand_odd_tanks_keep_a_sound_posterior():
    """Of 10,000 odd tanks none has a nan, a negative variance or weights that do not add up."""
    assert [seed for seed in range(100, 10_100) if not _is_sound(seed)] == []


def test_without_a_reading_the_level_is_anywhere_in_the_tank():
    """No reading leaves the level as wide as the tank, and says that nothing was observed."""
    posterior = fit(weather_c(10), observed(np.empty(0), np.empty(0)))
    assert posterior.observed_from is None
    assert spread_l(posterior) >= CAPACITY_L


ODD = {
    "constant_level": (Home(spoil=lambda u: np.full(len(u), 800.0)), {State.CHECK}),
    "three_readings": (
        Home(spoil=lambda u: np.where(np.isin(np.arange(60), (0, 30, 59)), u, np.nan)),
        {State.OK},
    ),
    "three_days": (Home(days=3), {State.WIDE}),
    "deliveries_every_day": (
        Home(start_l=500.0, poured=dict.fromkeys(range(20, 59), 6.0)),
        {State.OK},
    ),
    "above_the_top": (Home(spoil=last(10.0, 5)), {State.CHECK}),
    "all_above_the_top": (Home(spoil=lambda u: np.full(len(u), 10.0)), {State.BLIND}),
    "no_echo_at_all": (Home(spoil=lambda u: np.full(len(u), 65535.0)), {State.BLIND}),
}  # fmt: skip


@pytest.mark.parametrize("name", ODD)
def test_an_odd_tank_gets_finite_numbers_and_a_state(name):
    """Constant levels, three readings, oil every day, levels above the top: no error, no nan, a fitting state."""
    home, states = ODD[name]
    working = work(home.inputs())
    assert working.forecast.state in states
    assert np.isfinite(working.paths.litres).all()
    assert np.isfinite(working.p_dry).all()


# ---- stuck and expected


def test_a_run_that_goes_on_is_no_reading_once_too_much_should_have_burned():
    """Once more than four steps should have gone, no repeat counts: nothing is learnt, and the level falls on."""
    temp = weather_c(60)
    seen = daily(temp)
    held = np.where(np.arange(60) > 40, seen.litres[40], seen.litres)
    held_on = replace(seen, litres=held, repeats=np.r_[False, np.diff(held) == 0.0])
    posterior = fit(temp, held_on, settings=Settings(patience=4.0))
    assert (posterior.verdicts[-19:] == STUCK).all()
    truth = true_litres(np.array([60.0]), temp, none_added())[0]
    assert abs(posterior.moments()[0][0] - truth) < 2 * spread_l(posterior)
    assert posterior.moments()[0][0] < held[-1] - 6 * STEP_L
    assert spread_l(posterior) > 3 * spread_l(fit(temp, seen))


@calm
@given(st.integers(2, 12), st.floats(2.0, 30.0))
def test_a_run_is_stuck_or_idle_by_how_it_moves_on(run, burn):
    """A sensor that catches up at once was stuck; a level that goes on from where it stood was right."""
    caught_up = np.r_[np.full(run + 1, 900.0), 900.0 - burn * (run + 1)]
    idle = np.r_[np.full(run + 1, 900.0), 900.0 - burn]
    n = run + 2
    repeats = np.r_[False, np.full(run, True), False]
    due, none = np.full(n, burn), np.zeros(n)
    found = [
        stuck_readings(due, none, litres, np.full(n, STEP_L), repeats, patience=4.0)
        for litres in (caught_up, idle)
    ]
    assert found[0][1:-1].all() == (burn * run > 1.8 * STEP_L)
    assert not found[1].any()
    assert not found[0][[0, -1]].any()


@few
@given(st.floats(0.0, 6.9), st.floats(0.0, 6.9), st.floats(0.0, 6.9))
def test_expected_burn_adds_up(a, b, c):
    """What is expected from a to b and from b to c is what is expected from a to c."""
    first, middle, end = sorted((a, b, c))
    posterior = _learnt()
    marks, week = FIRST + np.arange(8) * DAY, drivers(np.array([4.0, 2.0, -1.0, 6.0, 12.0, 16.0, 3.0]))

    def burn(start: float, stop: float) -> float:
        low, high = _at(np.array([start, stop]))
        return expected_burn(posterior, week, marks, start=low, end=high)[0]

    assert burn(first, end) == pytest.approx(burn(first, middle) + burn(middle, end), abs=1e-3)


@cache
def _learnt() -> Posterior:
    """A home learnt over 100 days."""
    temp = weather_c(100)
    return fit(temp, daily(temp))


@few
@given(st.floats(-15.0, 25.0), st.floats(0.0, 10.0))
def test_a_colder_week_is_never_expected_to_burn_less(temp_c, colder):
    """Expected burn falls with temperature."""
    assert week_ahead(_learnt(), temp_c - colder)[0] >= week_ahead(_learnt(), temp_c)[0] - 1e-9
