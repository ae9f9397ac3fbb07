"""Files to the engine's inputs, for one forecast without a database.

Every file is read before anything is refused, so that a person hears of all that is wrong at once.

Flow     paths, options -> **inputs**, rows set aside, notes -> engine
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import datetime
from functools import partial
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

from api.cli.desk import Desk
from api.cli.given import Files, Layout, Ordering, weather_parser
from api.cli.ordering import read_ordering
from api.cli.trouble import SetAside
from api.cli.values import parse_as_of
from api.ports import Clock
from forecaster.civil import civil_date, zone_of
from forecaster.confidence import Reason, State
from forecaster.deliveries import parse_deliveries, parse_receipts
from forecaster.diary import DeclaredChange, DiaryEntry, parse_changes, parse_diary
from forecaster.dwelling import parse_survey
from forecaster.errors import Problem, shorten
from forecaster.phrases import change_text
from forecaster.pipeline import Inputs
from forecaster.readings import ParsedReadings, parse_readings
from forecaster.stove import parse_stove_log
from forecaster.tanks import parse_tank
from forecaster.weather import Weather, parse_outlook


@dataclass(frozen=True, slots=True)
class Gathered:
    """What the files hold: the engine's inputs, what was set aside, what a reader should know."""

    inputs: Inputs
    zone: ZoneInfo
    set_aside: tuple[SetAside, ...]
    notes: tuple[str, ...]


def gather_files(
    files: Files, layout: Layout, ordering: Ordering, *, as_of: str | None, clock: Clock
) -> Gathered:
    """Read everything that a forecast rests on.

    Parameters
    ----------
    files, layout, ordering
        What was given.
    as_of : str or None
        A date (its end) or a time with offset; None for now.
    clock : Clock
        Tells now.

    Raises
    ------
    ExceptionGroup of DipcastError
        When a file or an option cannot be used.
    """
    desk = Desk()
    tank = desk.read(files.tank, parse_tank)
    survey = desk.read(files.survey, parse_survey)
    name = (survey and survey.timezone) or (tank and tank.timezone) or layout.tz
    zone = desk.attempt(lambda: zone_of(name or "UTC"))
    at = desk.attempt(lambda: _as_of(as_of, zone, clock)) if zone is not None else None
    settings = read_ordering(
        desk, ordering, vulnerable=survey is not None and survey.vulnerable,
        today=civil_date(at, zone) if at is not None and zone is not None else None, decimal=layout.decimal,
    )  # fmt: skip
    readings = _readings(desk, files.readings, layout)
    parts: dict[str, Any] = {}
    if zone is not None and at is not None:
        parts = _other_files(desk, files, layout, zone=zone, as_of=at)
    desk.finish()
    assert tank is not None
    assert zone is not None
    assert at is not None
    assert settings is not None
    inputs = Inputs(
        tank=tank, as_of=at, timezone=zone.key, readings=readings.readings if readings else None,
        survey=survey, settings=settings, notes=() if name else (_NO_ZONE,), **parts,
    )  # fmt: skip
    if survey is not None and files.survey is not None:
        desk.keep(files.survey, (), survey.notes)
    return Gathered(inputs, zone, tuple(desk.set_aside), tuple(desk.notes))


_NO_ZONE = Reason(
    "no_zone",
    State.OK,
    "No time zone is given, so days are counted in UTC: add timezone to the tank file, or give --tz.",
)


def _as_of(text: str | None, zone: ZoneInfo, clock: Clock) -> datetime:
    return clock.now().replace(microsecond=0) if text is None else parse_as_of(text, zone)


def _readings(desk: Desk, path: Path | None, layout: Layout) -> ParsedReadings | None:
    parse = partial(
        parse_readings, decimal=layout.decimal, time_column=layout.time_column,
        level_column=layout.level_column, unit=layout.unit, tz=layout.tz,
    )  # fmt: skip
    parsed = desk.read(path, parse)
    if parsed is not None and path is not None:
        desk.keep(path, parsed.problems, _unused(parsed.ignored_columns))
    return parsed


def _unused(columns: Sequence[str]) -> tuple[str, ...]:
    names = ", ".join(shorten(c) or "(no name)" for c in columns)
    return (f"columns not used: {names}",) if columns else ()


def _other_files(
    desk: Desk, files: Files, layout: Layout, *, zone: ZoneInfo, as_of: datetime
) -> dict[str, Any]:
    """Read what is not the level: weather, tickets, and what the household says."""
    decimal = layout.decimal
    tables: dict[str, Callable[[bytes], tuple[Any, ...]]] = {
        "outlook": partial(parse_outlook, as_of=as_of, tz=zone, decimal=decimal),
        "deliveries": partial(parse_deliveries, tz=zone.key, decimal=decimal),
        "receipts": partial(parse_receipts, decimal=decimal),
        "diary": _diary,
        "stove_log": partial(parse_stove_log, decimal=decimal),
    }
    parts: dict[str, Any] = {
        "weather": _weather(desk, files.weather, layout, zone),
        "years": _weather(desk, files.years, layout, zone),
    }
    for name, parse in tables.items():
        path: Path | None = getattr(files, name)
        found = desk.read(path, parse)
        if found is not None and path is not None:
            parts[name], *kept = found
            desk.keep(path, *kept)
    if "diary" in parts:
        parts["diary"], parts["changes"] = parts["diary"]
    return parts


def _diary(
    data: bytes,
) -> tuple[tuple[tuple[DiaryEntry, ...], tuple[DeclaredChange, ...]], tuple[Problem, ...], tuple[str, ...]]:
    """Read a diary; what changed for good is named, since it makes the forecast wider for some weeks."""
    entries, problems = parse_diary(data)
    changes = parse_changes(data)
    return (entries, changes), problems, tuple(change_text(c.what, c.date) for c in changes)


def _weather(desk: Desk, path: Path | None, layout: Layout, zone: ZoneInfo) -> Weather | None:
    if path is None:
        return None
    parsed = desk.read(path, weather_parser(path, layout, zone))
    if parsed is None:
        return None
    desk.keep(path, parsed.problems, parsed.notes)
    return parsed.weather
