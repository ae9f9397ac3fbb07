"""Bring in the weather of every tank's place from the weather service, politely.

Tanks of one place, rounded to a tenth of a degree, share one question. No transaction is open while
the service is asked. Where it does not answer, what came before is kept with its age, and the next
try waits longer; the forecast goes on with its days as normals and widens.

A tank whose weather came in a file keeps that: a file is what somebody chose.

Flow     store: places -> WeatherService -> **fetch** -> store: days past, outlook
"""

from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from typing import TYPE_CHECKING

from api.ports import Clock, Place, WeatherService
from api.sources.open_meteo.trouble import WeatherServiceError
from api.store import Session, Store
from api.store.tanks import (
    StoredTank,
    TextKind,
    list_tanks,
    load_tank_version,
    load_text,
    mark_changed,
    use_stations,
)
from api.store.weather import save_outlook, save_station, save_weather
from api.store.weather_sources import (
    WeatherSource,
    add_source,
    forget_outlooks,
    load_source,
    note_trouble,
    note_weather,
)
from api.usecases.record_readings import describe
from forecaster.civil import civil_date, zone_of
from forecaster.dwelling import Survey, parse_survey
from forecaster.errors import InputError
from forecaster.phrases import moment_text

if TYPE_CHECKING:
    import numpy as np

    from forecaster.weather import Weather

EVERY = timedelta(minutes=50)
"""A place is asked for at most so often; the worker comes by every hour."""
PAUSES_S = (1.0, 4.0)
"""Waits between the tries of one go, where the trouble may pass; up to half as long again. [s]"""
LONGEST_WAIT = timedelta(hours=6)
"""The wait after failures doubles up to this."""
FIRST_DAYS, OVERLAP_DAYS = 92, 5
"""Days past that are asked for at first, and again each time: the service corrects its own past. [d]"""
OUTLOOKS_KEPT = timedelta(days=3)
"""Older outlooks are dropped."""
STALE = timedelta(hours=26)
"""Weather that last came longer ago is said to be old: the days since are not known. Assumption."""
NAME = "weather service, {0.latitude:.1f} {0.longitude:.1f} {0.zone}"
"""The name of a place's station."""


@dataclass(frozen=True, slots=True)
class WeatherFetched:
    """What became of a round: places asked for and answered, not yet due, and in trouble with its code."""

    answered: int
    not_due: int
    trouble: tuple[str, ...]


def fetch_weather(
    store: Store,
    clock: Clock,
    service: WeatherService,
    *,
    rng: "np.random.Generator",
    pause: Callable[[float], None],
) -> WeatherFetched:
    """Ask for the weather of every place that is due, and store what comes.

    Parameters
    ----------
    service
        `api.sources.open_meteo.OpenMeteo`, or whatever else tells weather.
    rng
        For the jitter of the waits, so that a thousand homes do not come back at once.
    pause
        Waits so many seconds; ``time.sleep`` but in tests.

    Notes
    -----
    Safe to call from several processes: the worst is a question asked twice.
    """
    with store.write() as session:
        wanted = _assign_stations(session, clock.now())
    answered, not_due, trouble = 0, 0, []
    for source, tanks in wanted:
        if source.next_at is not None and clock.now() < source.next_at:
            not_due += 1
            continue
        try:
            weather = _ask(service, source, clock.now(), rng, pause)
        except WeatherServiceError as bad:
            trouble.append(bad.code)
            _keep_trouble(store, clock.now(), source, bad, rng)
        else:
            answered += 1
            _keep(store, clock.now(), source, weather, tanks)
    return WeatherFetched(answered, not_due, tuple(trouble))


def place_of(survey: Survey, *, zone: str) -> Place | None:
    """Round a house's place before it leaves; None where it is not known well enough.

    Examples
    --------
    >>> place_of(Survey(latitude=53.4321, longitude=-6.2488), zone="Europe/Dublin")
    Place(latitude=53.4, longitude=-6.2, zone='Europe/Dublin')
    """
    latitude, longitude = survey.latitude, survey.longitude
    if latitude is None or longitude is None:
        if survey.place is None:
            return None
        from forecaster.climate import normals_for

        try:
            normals = normals_for(place=survey.place)
        except InputError:
            return None
        latitude, longitude = normals.latitude, normals.longitude
        if longitude is None:
            return None
    return Place(round(latitude, 1) + 0.0, round(longitude, 1) + 0.0, zone)


def weather_age(session: Session, tank: StoredTank, *, now: datetime) -> timedelta | None:
    """Tell how long ago weather last came over the network; None where it never did."""
    source = load_source(session, tank.station_id) if tank.station_id is not None else None
    return None if source is None or source.fetched_at is None else now - source.fetched_at


def weather_words(session: Session, tank: StoredTank, *, now: datetime) -> str | None:
    """Say whose weather it is and how old; None for a tank whose weather does not come over the network.

    The data's licence asks for its source to be named.
    """
    source = load_source(session, tank.station_id) if tank.station_id is not None else None
    if source is None:
        return None
    zone = zone_of(source.place.zone)
    if source.fetched_at is None:
        return "The weather service could not be reached yet."
    words = (
        "Weather data by Open-Meteo.com (CC BY 4.0), asked for a place rounded to some 10 km; "
        f"last fetched {moment_text(source.fetched_at, zone)}"
    )
    if now - source.fetched_at > STALE:
        return f"{words}, and not since: from then on normal weather for the season is assumed."
    return f"{words}."


def _assign_stations(session: Session, now: datetime) -> list[tuple[WeatherSource, list[int]]]:
    """Give each tank with a place its place's station; the sources with their tanks."""
    by_station: dict[int, tuple[WeatherSource, list[int]]] = {}
    for tank in list_tanks(session):
        current = load_source(session, tank.station_id) if tank.station_id is not None else None
        if tank.station_id is not None and current is None:
            continue  # its weather comes from a file
        place = _place_of_tank(session, tank, now)
        if place is None:
            continue
        if current is None or current.place != place:
            station = save_station(session, name=NAME.format(place), kind="mean")
            add_source(session, station, place)
            use_stations(session, tank.id, station_id=station)
            current = load_source(session, station)
            assert current is not None
        by_station.setdefault(current.station_id, (current, []))[1].append(tank.id)
    return list(by_station.values())


def _place_of_tank(session: Session, tank: StoredTank, now: datetime) -> Place | None:
    text = load_text(session, tank.id, TextKind.SURVEY, as_of=now)
    if text is None:
        return None
    survey = parse_survey(text)
    described = describe(load_tank_version(session, tank.id, as_of=now).toml)
    return place_of(survey, zone=survey.timezone or described.timezone or tank.zone)


def _ask(
    service: WeatherService,
    source: WeatherSource,
    now: datetime,
    rng: "np.random.Generator",
    pause: Callable[[float], None],
) -> "Weather":
    past_days = FIRST_DAYS
    if source.fetched_at is not None:
        past_days = min(FIRST_DAYS, max(0, (now - source.fetched_at).days) + OVERLAP_DAYS)
    for wait_s in PAUSES_S:
        try:
            return service.weather_of(source.place, past_days=past_days)
        except WeatherServiceError as bad:
            if not bad.is_passing:
                raise
            pause(wait_s * (1.0 + 0.5 * float(rng.random())))
    return service.weather_of(source.place, past_days=past_days)


def _keep(store: Store, now: datetime, source: WeatherSource, weather: "Weather", tanks: list[int]) -> None:
    import numpy as np

    from forecaster.weather import Outlook

    today = np.datetime64(civil_date(now, zone_of(source.place.zone)))
    is_past = weather.date < today
    past = replace(weather, **{name: getattr(weather, name)[is_past] for name in _COLUMNS})
    ahead = ~is_past & np.isfinite(weather.temp_c)
    ahead &= np.cumprod(ahead | is_past).astype(bool)  # up to the first gap
    with store.write() as session:
        save_weather(session, source.station_id, past)
        if ahead.any():
            issued_at = now.replace(microsecond=0)
            outlook = Outlook(issued_at, weather.date[ahead], weather.temp_c[ahead], weather.ghi_wh_m2[ahead])
            save_outlook(session, source.station_id, outlook)
        forget_outlooks(session, source.station_id, before=now - OUTLOOKS_KEPT)
        note_weather(session, source.station_id, at=now, next_at=now + EVERY)
        for tank_id in tanks:
            mark_changed(session, tank_id)


_COLUMNS = ("date", "temp_c", "tmin_c", "tmax_c", "ghi_wh_m2")


def _keep_trouble(
    store: Store,
    now: datetime,
    source: WeatherSource,
    bad: WeatherServiceError,
    rng: "np.random.Generator",
) -> None:
    failures = source.failures + 1
    wait = min(LONGEST_WAIT, EVERY * 2 ** min(failures - 1, 10)) * (1.0 - 0.25 * float(rng.random()))
    if bad.again_in_s is not None:
        wait = max(wait, timedelta(seconds=bad.again_in_s))
    with store.write() as session:
        note_trouble(
            session,
            source.station_id,
            at=now,
            next_at=now + wait,
            failures=failures,
            trouble=bad.code,
        )
