"""Files into the database, with progress; all of them or none.

Flow     paths -> api.usecases -> store; **what became of each file, in words**
"""

import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from functools import partial
from pathlib import Path

from api.cli.given import Files, Layout, weather_parser
from api.cli.trouble import SetAside
from api.ports import Clock
from api.sources.files import parse_file, show_path
from api.store import Session, Store
from api.store.tanks import StoredTank, load_tank
from api.usecases.import_house import (
    Brought,
    Role,
    find_same_tank,
    import_deliveries,
    import_diary,
    import_outlook,
    import_receipts,
    import_stove_log,
    import_survey,
    import_weather,
)
from api.usecases.import_readings import import_readings, readings_words
from api.usecases.register_tank import register_tank
from forecaster.dwelling import parse_survey
from forecaster.errors import InputError, Problem, SurveyError, TankError
from forecaster.rows import decode
from forecaster.wording import list_text

Tell = Callable[[str], None]
"""Told the name of each file as its turn comes."""


@dataclass(frozen=True, slots=True)
class BroughtIn:
    """What became of an import: the tank, what was stored in words, rows set aside, notes."""

    tank: StoredTank
    words: tuple[str, ...]
    set_aside: tuple[SetAside, ...]
    notes: tuple[str, ...]

    @property
    def sentence(self) -> str:
        """What was stored, and how the tank is called from now on."""
        stored = list_text(self.words) if self.words else "nothing but the tank"
        return f"{self.tank.name}: stored {stored}. Its id is {self.tank.public_id}"


def bring_in(
    store: Store,
    clock: Clock,
    files: Files,
    layout: Layout,
    *,
    tank_id: str | None = None,
    progress: Tell,
) -> BroughtIn:
    """Store a house's files: all of them, or none where one cannot be used.

    Parameters
    ----------
    files : Files
        With a tank file a new tank is made, else they go to the one that is named.
    tank_id : str or None
        Public id of a tank that is there.
    progress : callable

    Raises
    ------
    InputError
        When a file cannot be used, or a tank with the very same description is there.
    NotFoundError
        When no tank has that id.
    """
    words: list[str] = []
    set_aside: list[SetAside] = []
    notes: list[str] = []
    with store.write() as session:
        tank = _find_tank(session, clock, files, tank_id, progress)
        for path, take in _steps(session, clock, tank.public_id, files, layout):
            progress(show_path(path))
            brought = parse_file(path, take)
            words.append(brought.words)
            notes += [f"{show_path(path)}: {note}" for note in brought.notes]
            if brought.problems:
                set_aside.append(SetAside(show_path(path), brought.problems))
    return BroughtIn(tank, tuple(words), tuple(set_aside), tuple(notes))


@contextmanager
def progress_bar(steps: int) -> Iterator[Tell]:
    """Show how far the work is, on a terminal; elsewhere nothing."""
    from rich.console import Console
    from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeElapsedColumn

    columns = (
        TextColumn("{task.description}", markup=False),
        BarColumn(),
        MofNCompleteColumn(),
        TimeElapsedColumn(),
    )
    console = Console(stderr=True, highlight=False)
    with Progress(*columns, console=console, transient=True, disable=not sys.stderr.isatty()) as bar:
        task = bar.add_task("", total=steps)
        began = False

        def tell(name: str) -> None:
            nonlocal began
            bar.update(task, description=name, advance=1 if began else 0)
            began = True

        yield tell


def _find_tank(
    session: Session, clock: Clock, files: Files, tank_id: str | None, progress: Tell
) -> StoredTank:
    if tank_id is not None:
        return load_tank(session, tank_id)
    if files.tank is None:
        raise InputError(
            Problem("no_tank", "--tank", "give a tank file, or --tank-id of a tank that is there")
        )
    progress(show_path(files.tank))
    text = parse_file(files.tank, partial(decode, error=TankError))
    same = find_same_tank(session, text)
    if same is not None:
        mend = f"this tank is there already: add to it with --tank-id {same.public_id}"
        raise TankError(Problem("same_tank", "--tank", mend))
    survey = parse_file(files.survey, _survey_text) if files.survey is not None else None
    return parse_file(files.tank, lambda _: register_tank(session, clock, tank_toml=text, survey_toml=survey))


def _survey_text(data: bytes) -> str:
    parse_survey(data)  # refused under its own name
    return decode(data, error=SurveyError)


def _steps(
    session: Session, clock: Clock, public_id: str, files: Files, layout: Layout
) -> Iterator[tuple[Path, Callable[[bytes], Brought]]]:
    """Give each file with what takes it in; the tank is looked up anew, because a step may change it."""

    def tank() -> StoredTank:
        return load_tank(session, public_id)

    def take_weather(path: Path, role: Role) -> Callable[[bytes], Brought]:
        parse = weather_parser(path, layout, tank().zone)
        return lambda data: import_weather(session, tank(), parse(data), role=role)

    def take_readings(data: bytes) -> Brought:
        found = import_readings(
            session, clock, tank(), data, decimal=layout.decimal, time_column=layout.time_column,
            level_column=layout.level_column, unit=layout.unit, tz=layout.tz,
        )  # fmt: skip
        return Brought(readings_words(found), found.problems)

    decimal = layout.decimal
    for path, take in (
        (files.survey, partial(import_survey, session, clock, tank())),
        (files.readings, take_readings),
        (files.deliveries, partial(import_deliveries, session, clock, tank(), decimal=decimal)),
        (files.receipts, partial(import_receipts, session, clock, tank(), decimal=decimal)),
        (files.diary, partial(import_diary, session, clock, tank())),
        (files.stove_log, partial(import_stove_log, session, clock, tank(), decimal=decimal)),
    ):
        if path is not None:
            yield path, take
    if files.weather is not None:
        yield files.weather, take_weather(files.weather, "weather")
    if files.years is not None:
        yield files.years, take_weather(files.years, "years")
    if files.outlook is not None:  # after the weather, in front of which it is put
        yield files.outlook, partial(import_outlook, session, clock, tank(), decimal=decimal)
