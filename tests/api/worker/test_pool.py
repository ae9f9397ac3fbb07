"""Many tanks in several processes: each is renewed once, and a bad one is named."""

from collections.abc import Iterator

import pytest

from api.store import Store, make_engine
from api.store.forecasts import load_forecast
from api.store.refits import load_refit
from api.store.tanks import StoredTank, list_tanks
from api.usecases.register_tank import register_tank
from api.worker.pool import refit_in_processes
from tests.api.conftest import NOW, StandingClock
from tests.api.worker.test_worker import TANK


@pytest.fixture
def home(sqlite_url: str) -> Iterator[Store]:
    """A home's database."""
    engine = make_engine(sqlite_url)
    yield Store(engine)
    engine.dispose()


def _add_tanks(store: Store, clock: StandingClock) -> tuple[StoredTank, ...]:
    with store.write() as session:
        for survey in ('place = "East Anglia"\n', None, 'place = "East Anglia"\n'):
            register_tank(session, clock, tank_toml=TANK, survey_toml=survey)
        return list_tanks(session)


def test_processes_renew_each_tank_and_name_the_bad_one(home: Store, clock: StandingClock) -> None:
    """Two processes forecast two tanks; the third, whose place nobody knows, is named with its error."""
    tanks = _add_tanks(home, clock)
    renewed = refit_in_processes(home, clock, tanks, processes=2, worth=1)
    assert (renewed.done, renewed.failed) == (2, ((tanks[1].public_id, "WeatherError"),))
    with home.read() as session:
        made = [load_forecast(session, tank.id, as_of=NOW) for tank in tanks]
        failures = [refit.failures for tank in tanks if (refit := load_refit(session, tank.id))]
    assert [forecast is not None for forecast in made] == [True, False, True]
    assert failures == [0, 1, 0]


def test_few_tanks_are_done_here(home: Store, clock: StandingClock) -> None:
    """With few tanks nothing is started: the same comes about in this process."""
    tanks = _add_tanks(home, clock)
    assert refit_in_processes(home, clock, tanks[:1], processes=8).done == 1
