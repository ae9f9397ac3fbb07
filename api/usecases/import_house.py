"""Bring in what belongs to a tank besides its readings: weather, tickets, bills, what the household says.

Each takes one file's text and tells what became of it; nothing that is there already is stored twice.

Flow     file -> forecaster's parsers -> **import** -> store
"""

from dataclasses import dataclass
from typing import Literal

from api.ports import Clock
from api.store import Session
from api.store.deliveries import save_deliveries, save_receipts
from api.store.tanks import (
    BEGINNING,
    StoredTank,
    TextKind,
    list_tanks,
    load_tank_version,
    load_text,
    save_text,
    use_stations,
)
from api.store.weather import save_outlook, save_station, save_weather
from forecaster.deliveries import parse_deliveries, parse_receipts
from forecaster.diary import parse_changes, parse_diary
from forecaster.dwelling import parse_survey
from forecaster.errors import Problem, SurveyError, WeatherError
from forecaster.phrases import change_text
from forecaster.rows import decode
from forecaster.stove import parse_stove_log
from forecaster.weather import ParsedWeather, parse_outlook

SOURCE = "csv"
"""The door that tickets of a file came through."""


Role = Literal["weather", "years"]
"""What weather is to a tank: what happened to it, or the long record that the years ahead are drawn from."""


@dataclass(frozen=True, slots=True)
class Brought:
    """What became of a file: in words, with the rows set aside and what a reader should know.

    ``words`` is a part of a sentence, such as "12 new tickets".
    """

    words: str
    problems: tuple[Problem, ...] = ()
    notes: tuple[str, ...] = ()


def find_same_tank(session: Session, tank_toml: str) -> StoredTank | None:
    """Find a tank that is stored with the very same description; None where there is none."""
    for tank in list_tanks(session):
        if load_tank_version(session, tank.id, as_of=BEGINNING).toml == tank_toml:
            return tank
    return None


def import_weather(session: Session, tank: StoredTank, parsed: ParsedWeather, *, role: Role) -> Brought:
    """Store past weather, or a long record, and let the tank's forecasts rest on it.

    A day given again replaces the old one.

    Raises
    ------
    WeatherError
        When the tank's weather so far is of the other kind of daily temperature.
    """
    try:
        station = save_station(session, name=f"{role} of {tank.public_id}", kind=parsed.weather.kind)
    except ValueError as bad:
        mend = f"give the same kind as before: {bad}"
        raise WeatherError(Problem("other_kind", "--temp-kind", mend)) from None
    save_weather(session, station, parsed.weather)
    if role == "years":
        use_stations(session, tank.id, years_station_id=station)
    else:
        use_stations(session, tank.id, station_id=station)
    name = "weather" if role == "weather" else "the long record"
    return Brought(
        _count(len(parsed.weather.date), f"day of {name}", f"days of {name}"), parsed.problems, parsed.notes
    )


def import_outlook(
    session: Session, clock: Clock, tank: StoredTank, data: bytes | str, *, decimal: str = "."
) -> Brought:
    """Store the latest issue of a short-range weather forecast, if it is fresh.

    Raises
    ------
    WeatherError
        When the file cannot be used, or the tank has no weather to put it in front of.
    """
    if tank.station_id is None:
        raise WeatherError(Problem("no_weather", "--outlook", "bring in the tank's weather first"))
    outlook, problems, notes = parse_outlook(data, as_of=clock.now(), tz=tank.zone, decimal=decimal)
    if outlook is None:
        return Brought("no outlook", problems, notes)
    save_outlook(session, tank.station_id, outlook)
    return Brought(f"an outlook of {_count(len(outlook.date), 'day')}", problems, notes)


def import_deliveries(
    session: Session, clock: Clock, tank: StoredTank, data: bytes | str, *, decimal: str = "."
) -> Brought:
    """Store delivery tickets, each once.

    Raises
    ------
    DeliveriesError
        When the file cannot be used.
    """
    deliveries, problems = parse_deliveries(data, tz=tank.zone, decimal=decimal)
    new = save_deliveries(session, tank.id, deliveries, received_at=clock.now(), source=SOURCE)
    return Brought(_count(new, "new ticket"), problems)


def import_receipts(
    session: Session, clock: Clock, tank: StoredTank, data: bytes | str, *, decimal: str = "."
) -> Brought:
    """Store bills, each once.

    Raises
    ------
    DeliveriesError
        When the file cannot be used.
    """
    receipts, problems = parse_receipts(data, decimal=decimal)
    new = save_receipts(session, tank.id, receipts, received_at=clock.now())
    return Brought(_count(new, "new bill"), problems)


def import_survey(session: Session, clock: Clock, tank: StoredTank, data: bytes | str) -> Brought:
    """Store what is known of the house, as a new version where it was told before.

    Raises
    ------
    SurveyError
        When the file cannot be used.
    """
    survey = parse_survey(data)
    _save_text(session, clock, tank, TextKind.SURVEY, data)
    return Brought("the survey", (), survey.notes)


def import_diary(session: Session, clock: Clock, tank: StoredTank, data: bytes | str) -> Brought:
    """Store the household's diary, as a new version where it was told before.

    Raises
    ------
    SurveyError
        When the file cannot be used.
    """
    entries, problems = parse_diary(data)
    _save_text(session, clock, tank, TextKind.DIARY, data)
    notes = tuple(change_text(c.what, c.date) for c in parse_changes(data))
    return Brought(_count(len(entries), "entry of the diary", "entries of the diary"), problems, notes)


def import_stove_log(
    session: Session, clock: Clock, tank: StoredTank, data: bytes | str, *, decimal: str = "."
) -> Brought:
    """Store the heat of the wood that was burned, as a new version where it was told before.

    Raises
    ------
    SurveyError
        When the file cannot be used.
    """
    log, problems = parse_stove_log(data, decimal=decimal)
    rows = [f"{day},{kwh!r}" for day, kwh in zip(log.date.tolist(), log.kwh.tolist(), strict=True)]
    _save_text(session, clock, tank, TextKind.STOVE_LOG, "\n".join(["date,kwh", *rows, ""]))
    return Brought(_count(len(rows), "day with fire", "days with fire"), problems)


def _save_text(session: Session, clock: Clock, tank: StoredTank, kind: TextKind, data: bytes | str) -> None:
    """Store a text; the first holds from the beginning, a later one from now on."""
    now = clock.now()
    told_before = load_text(session, tank.id, kind, as_of=now) is not None
    save_text(
        session, tank.id, kind, body=decode(data, error=SurveyError),
        valid_from=now if told_before else BEGINNING, created_at=now,
    )  # fmt: skip


def _count(number: int, one: str, many: str | None = None) -> str:
    return f"{number:,} {one if number == 1 else many or one + 's'}"
