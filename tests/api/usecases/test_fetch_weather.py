"""Weather over the network: fetched when due, kept with its age, never in the way of the service."""

from collections.abc import Iterator
from datetime import date, timedelta

import numpy as np
import pytest

from api.ports import Place
from api.sources.open_meteo import OpenMeteo
from api.store import Store
from api.store.tanks import StoredTank, load_tank
from api.store.weather import load_outlook, load_weather
from api.store.weather_sources import load_source
from api.usecases.fetch_weather import WeatherFetched, fetch_weather, place_of, weather_age, weather_words
from api.usecases.import_house import import_weather
from api.usecases.record_readings import Measurement, record_readings
from api.usecases.refresh_forecast import refresh_forecast
from api.usecases.register_tank import register_tank
from forecaster.dwelling import Survey
from forecaster.readings import Quantity
from forecaster.weather import parse_weather
from tests.api.conftest import NOW, StandingClock
from tests.api.weather_service import StandIn, weather_service

TANK = 'shape = "moulded"\nproduct = "kerosene"\ncapacity_l = 1300\nheight_mm = 1200\n'
SURVEY = 'latitude = 52.2053\nlongitude = 0.1218\ntimezone = "Europe/London"\n'
BUSY = (503, {}, b"")


@pytest.fixture
def stand_in() -> Iterator[StandIn]:
    """A stand-in for the service."""
    with weather_service(NOW) as served:
        yield served


def _tank(store: Store, clock: StandingClock, survey: str | None = SURVEY) -> str:
    with store.write() as session:
        return register_tank(session, clock, tank_toml=TANK, survey_toml=survey).public_id


def _look(store: Store, public_id: str) -> StoredTank:
    with store.read() as session:
        return load_tank(session, public_id)


def _fetch(
    store: Store, clock: StandingClock, stand_in: StandIn, waits: list[float] | None = None
) -> WeatherFetched:
    waits = [] if waits is None else waits
    service = OpenMeteo(stand_in.url)
    return fetch_weather(store, clock, service, rng=np.random.default_rng(1), pause=waits.append)


def test_a_new_tank_gets_its_past_and_its_week_ahead(
    store: Store, clock: StandingClock, stand_in: StandIn
) -> None:
    """Ninety-two days past and eight ahead are stored, today among those ahead; the tank is marked changed."""
    tank = _tank(store, clock)
    before = _look(store, tank).revision
    assert _fetch(store, clock, stand_in) == WeatherFetched(1, 0, ())
    stored = _look(store, tank)
    assert stored.revision > before
    assert stored.station_id is not None
    with store.read() as session:
        past = load_weather(session, stored.station_id, before=date(2100, 1, 1))
        ahead = load_outlook(session, stored.station_id, since=NOW - timedelta(hours=1), until=NOW)
        assert weather_age(session, stored, now=NOW + timedelta(hours=2)) == timedelta(hours=2)
    assert past is not None
    assert (past.date[0], past.date[-1]) == (np.datetime64("2025-10-10"), np.datetime64("2026-01-09"))
    assert ahead is not None
    assert (ahead.date[0], len(ahead.date)) == (np.datetime64("2026-01-10"), 8)
    assert np.isfinite(past.ghi_wh_m2).all()


def test_two_homes_of_one_place_ask_once(store: Store, clock: StandingClock, stand_in: StandIn) -> None:
    """Places are rounded before they are compared, and before they leave."""
    near = SURVEY.replace("52.2053", "52.2149")
    one, other = _tank(store, clock), _tank(store, clock, near)
    assert _fetch(store, clock, stand_in).answered == 1
    assert [(a["latitude"], a["longitude"]) for a in stand_in.asked] == [("52.2", "0.1")]
    assert _look(store, one).station_id == _look(store, other).station_id


def test_within_the_hour_nothing_is_asked(store: Store, clock: StandingClock, stand_in: StandIn) -> None:
    """A second call is answered from what is stored; an hour later only the last days are asked for."""
    _tank(store, clock)
    _fetch(store, clock, stand_in)
    clock.move(minutes=20)
    assert _fetch(store, clock, stand_in) == WeatherFetched(0, 1, ())
    clock.move(minutes=40)
    assert _fetch(store, clock, stand_in).answered == 1
    assert [a["past_days"] for a in stand_in.asked] == ["92", "5"]


def test_trouble_that_passes_is_tried_again_at_once(
    store: Store, clock: StandingClock, stand_in: StandIn
) -> None:
    """Two failures cost two short, jittered waits and no weather."""
    _tank(store, clock)
    stand_in.answers = [(500, {}, b""), (502, {}, b"")]
    waits: list[float] = []
    assert _fetch(store, clock, stand_in, waits).answered == 1
    assert 1.0 <= waits[0] <= 1.5
    assert 4.0 <= waits[1] <= 6.0


def test_a_service_in_trouble_is_asked_ever_more_rarely_and_the_last_good_is_kept(
    store: Store, clock: StandingClock, stand_in: StandIn
) -> None:
    """The waits double up to six hours; weather that came before stays, with its age."""
    tank = _tank(store, clock)
    _fetch(store, clock, stand_in)
    waits = []
    for _ in range(6):
        clock.move(hours=7)
        stand_in.answers = [BUSY] * 3
        assert _fetch(store, clock, stand_in).trouble == ("status_503",)
        with store.read() as session:
            source = load_source(session, _look(store, tank).station_id or 0)
        assert source is not None
        assert source.next_at is not None
        waits.append((source.next_at - clock.at) / timedelta(minutes=1))
    assert source.failures == 6
    assert source.fetched_at == NOW
    assert [37 <= waits[0] <= 50, 75 <= waits[1] <= 100, 270 <= waits[-1] <= 360] == [True] * 3
    with store.read() as session:
        assert load_weather(session, source.station_id, before=date(2100, 1, 1)) is not None
    clock.move(hours=7)
    stand_in.today = clock.at
    assert _fetch(store, clock, stand_in).answered == 1


def test_the_service_says_when_to_come_back(store: Store, clock: StandingClock, stand_in: StandIn) -> None:
    """429 with Retry-After is obeyed, and not tried again in the same breath."""
    tank = _tank(store, clock)
    stand_in.answers = [(429, {"Retry-After": "10800"}, b"")]
    assert _fetch(store, clock, stand_in).trouble == ("status_429",)
    assert len(stand_in.asked) == 1
    with store.read() as session:
        source = load_source(session, _look(store, tank).station_id or 0)
    assert source is not None
    assert source.next_at == NOW + timedelta(hours=3)


def test_weather_of_a_file_is_left_alone(store: Store, clock: StandingClock, stand_in: StandIn) -> None:
    """A tank that was given its weather in a file keeps it, and its place is not told to anyone."""
    public_id = _tank(store, clock)
    parsed = parse_weather("date,temp_c\n2026-01-01,3\n2026-01-02,4\n")
    with store.write() as session:
        import_weather(session, load_tank(session, public_id), parsed, role="weather")
    station = _look(store, public_id).station_id
    assert _fetch(store, clock, stand_in) == WeatherFetched(0, 0, ())
    assert (_look(store, public_id).station_id, stand_in.asked) == (station, [])


def test_a_tank_without_a_place_is_not_asked_for(
    store: Store, clock: StandingClock, stand_in: StandIn
) -> None:
    """Without a survey, or with one that names no place, nothing is asked."""
    _tank(store, clock, None)
    _tank(store, clock, "occupants = 2\n")
    assert _fetch(store, clock, stand_in) == WeatherFetched(0, 0, ())


def test_without_a_network_the_forecast_stands_on_normals_and_says_so(
    store: Store, clock: StandingClock, stand_in: StandIn
) -> None:
    """A service that cannot be reached costs certainty, not the answer."""
    tank = _tank(store, clock)
    half = Measurement(NOW - timedelta(hours=2), Quantity.FRACTION, 0.5)
    with store.write() as session:
        record_readings(session, clock, load_tank(session, tank), [half], source="http")
    service = OpenMeteo("http://127.0.0.1:9/v1/forecast")
    fetched = fetch_weather(store, clock, service, rng=np.random.default_rng(1), pause=[].append)
    assert fetched.trouble == ("unreachable",)
    forecast = refresh_forecast(store, clock, tank)
    assert forecast.state.is_told
    assert any("normal weather" in reason.text for reason in forecast.reasons)


def test_old_outlooks_are_dropped(store: Store, clock: StandingClock, stand_in: StandIn) -> None:
    """A week of hourly questions leaves three days of outlooks."""
    tank = _tank(store, clock)
    for _ in range(5):
        stand_in.today = clock.at
        _fetch(store, clock, stand_in)
        clock.move(days=1)
    station = _look(store, tank).station_id or 0
    with store.read() as session:
        assert load_outlook(session, station, since=NOW, until=NOW + timedelta(hours=1)) is None
        assert load_outlook(session, station, since=NOW, until=clock.at) is not None


def test_a_named_place_will_do() -> None:
    """A region's or town's name in the survey stands for its coordinates; an unknown name for none."""
    zone = "Europe/London"
    assert place_of(Survey(place="Dublin"), zone=zone) == Place(53.4, -6.2, zone)
    assert place_of(Survey(place="Nowhere at all"), zone=zone) is None
    assert place_of(Survey(latitude=-0.04, longitude=0.02), zone=zone) == Place(0.0, 0.0, zone)


def test_the_page_says_whose_weather_it_is_and_how_old(
    store: Store, clock: StandingClock, stand_in: StandIn
) -> None:
    """The source is named as its licence asks; weather that did not come since is said to be old."""
    tank = _tank(store, clock)

    def words() -> str | None:
        with store.read() as session:
            return weather_words(session, load_tank(session, tank), now=clock.at)

    assert words() is None
    stand_in.answers = [BUSY] * 3
    _fetch(store, clock, stand_in)
    assert words() == "The weather service could not be reached yet."
    clock.move(hours=2)
    _fetch(store, clock, stand_in)
    said = words() or ""
    assert said.startswith("Weather data by Open-Meteo.com (CC BY 4.0)")
    assert said.endswith("last fetched Sat 10 January 14:00.")
    clock.move(hours=27)
    assert (words() or "").endswith("from then on normal weather for the season is assumed.")
