"""Why this date: every reading accounted for, every day's weather named, nothing of the survey shown as measured."""

from collections.abc import Iterator
from datetime import timedelta
from pathlib import Path

import numpy as np
import pytest

from api.cli.demo import StandingClock, bring_house
from api.settings import Settings
from api.sources.valley import make_valley
from api.usecases.why import Explanation, explain
from api.usecases.why.rates import compare_rates
from api.wiring import Services, make_services
from forecaster.burn_model import Posterior
from forecaster.confidence import ToldForecast, WithheldForecast
from forecaster.dwelling import BurnPrior, Survey, burn_prior
from forecaster.fuel import KEROSENE


@pytest.fixture(scope="module")
def valley(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[Services, dict[str, str]]]:
    """Two houses of the invented valley: one whose date is told, one whose tank cannot be trusted."""
    made = make_valley()
    file: Path = tmp_path_factory.mktemp("why") / "valley.db"
    services = make_services(Settings(database=f"sqlite:///{file}"), clock=StandingClock(made.as_of))
    houses = [house for house in made.houses if house.key in ("weir-cottage", "upper-byre")]
    yield services, {house.key: bring_house(services, made, house) for house in houses}
    services.store.engine.dispose()


@pytest.fixture(scope="module")
def told(valley: tuple[Services, dict[str, str]]) -> Explanation:
    """The explanation of a date that is told."""
    services, tanks = valley
    return explain(services.store, services.clock, tanks["weir-cottage"])


@pytest.fixture(scope="module")
def withheld(valley: tuple[Services, dict[str, str]]) -> Explanation:
    """The explanation of a date that is withheld."""
    services, tanks = valley
    return explain(services.store, services.clock, tanks["upper-byre"])


def test_every_reading_is_used_or_set_aside_with_a_reason(told: Explanation, withheld: Explanation) -> None:
    """Used and set aside add up to what is known, and no reading is set aside without a word why."""
    for seen in (told, withheld):
        read = seen.readings
        assert read.used + len(read.aside) == read.known
        assert sum(count for _, count in read.by_reason) == len(read.aside) > 0
        assert all(one.reason for one in read.aside)
        assert [one.at for one in read.aside] == sorted((one.at for one in read.aside), reverse=True)


def test_the_months_add_up_to_the_burn(told: Explanation) -> None:
    """Parts add up to what was burned, and the levels follow from it, month by month and in all."""
    account = told.account
    assert account is not None
    assert account.total is not None
    for entry in (*account.months, account.total):
        assert entry.hot_water.mean + entry.heating.mean == pytest.approx(entry.burned.mean, abs=0.01)
        after = entry.opening.mean + entry.delivered + entry.unexplained.mean - entry.burned.mean
        assert after == pytest.approx(entry.closing.mean, abs=0.01)
    assert sum(m.burned.mean for m in account.months) == pytest.approx(account.total.burned.mean, abs=0.01)


def test_every_day_behind_and_ahead_has_its_weather(told: Explanation) -> None:
    """Observed and assumed days end with yesterday; the days drawn begin today and reach the horizon."""
    used, today = told.weather, told.forecast.as_of.date()
    assert used.observed is not None
    assert used.observed.last == today - timedelta(days=1)
    assert used.years is not None
    assert (used.years.first, used.years.days) == (today, told.forecast.horizon_days)
    assert used.years_from


def test_a_doubted_tank_has_no_account_and_no_rates(withheld: Explanation) -> None:
    """Where no date may be told, nothing that follows from the doubted levels is told either."""
    assert isinstance(withheld.forecast, WithheldForecast)
    assert (withheld.account, withheld.rates) == (None, ())


def test_it_explains_the_forecast_that_is_kept(
    valley: tuple[Services, dict[str, str]], told: Explanation
) -> None:
    """Asked again while the forecast holds, it is the same explanation, of the answer's own instant."""
    services, tanks = valley
    assert isinstance(told.forecast, ToldForecast)
    assert told.inputs.as_of == told.forecast.as_of
    assert explain(services.store, services.clock, tanks["weir-cottage"]) is told


def test_a_rate_that_no_reading_told_stays_the_survey_s(told: Explanation) -> None:
    """Without a reading a rate is the survey's and is never called measured."""
    measured = [rate.name for rate in told.rates if rate.measured]
    assert "cold_l_per_kday" in measured
    prior = burn_prior(Survey(), KEROSENE)
    assert [rate.measured for rate in compare_rates(prior, _learnt_nothing(prior))] == [False, False]


def _learnt_nothing(prior: BurnPrior) -> Posterior:
    """A fit without a reading: the prior's own spread."""
    mean = np.array([500.0, prior.base_l_per_day, prior.slope_l_per_kday, 0.0, 0.0, 0.0])
    sd = np.array([10.0, prior.base_rel_sd * mean[1], prior.slope_rel_sd * mean[2], 0.1, 0.1, 0.1])
    one = np.ones(1)
    return Posterior(
        at=np.datetime64("2025-01-01T00:00:00"), base_c=one, inertia=one, season_c=one, slow_sd=one, noise=one,
        mean=mean[None], cov=np.diag(sd**2)[None], weight=one, smooth_c=one, mild_c=0.0, kappa=1.0, omega=1.0,
        innovations=np.empty(0), verdicts=np.empty(0, np.int8), observed_from=None,
    )  # fmt: skip
