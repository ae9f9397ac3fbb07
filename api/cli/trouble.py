"""The one place where trouble becomes words and an exit code.

Flow     engine's errors, files, database -> **sentences on the error output, exit code**
"""

import sys
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import typer
from typer.core import TyperGroup

from api.sources.files import name_of
from forecaster.errors import DipcastError, InputError, Problem

NOT_USABLE = 2
"""Exit code: input cannot be used, nothing was answered."""
SET_ASIDE = 3
"""Exit code: answered, and rows were set aside."""
MOST_ROWS = 20
"""So many rows of a file are named; the others are counted."""


@dataclass(frozen=True, slots=True)
class SetAside:
    """Rows of one file that no use was made of, each with its reason and mend."""

    name: str
    problems: tuple[Problem, ...]


class Commands(TyperGroup):
    """The commands, with one handler around them all."""

    def invoke(self, ctx: Any) -> Any:
        """Run a command; what it cannot use is said in words, without a traceback."""
        try:
            return super().invoke(ctx)
        except Exception as bad:
            lines = sentences(bad)
            if not lines:
                raise
            say(lines)
            raise typer.Exit(NOT_USABLE) from None


def sentences(error: BaseException) -> list[str]:
    """Say an error, a line for each problem; nothing for a fault of ours, which is no input's."""
    match error:
        case BaseExceptionGroup():
            return [line for each in error.exceptions for line in sentences(each)]
        case InputError(problems=problems):
            lines = [f"{_of_file(error)}{problem}" for problem in problems[:MOST_ROWS]]
            more = len(problems) - MOST_ROWS
            return [*lines, f"{_of_file(error)}and {more:,} more"] if more > 0 else lines
        case DipcastError():
            return [f"{_of_file(error)}{error}"]
        case _:
            return _sentences_of_store(error)


def say(lines: Sequence[str]) -> None:
    """Write lines to the error output."""
    for line in lines:
        typer.echo(line, err=True)


def say_set_aside(files: Sequence[SetAside]) -> int:
    """Name the rows that were set aside; the exit code that follows."""
    for file in files:
        rows = file.problems
        say([f"{file.name}: {len(rows)} set aside:" if len(rows) > 1 else f"{file.name}: set aside:"])
        say([f"  {problem}" for problem in rows[:MOST_ROWS]])
        if len(rows) > MOST_ROWS:
            say([f"  and {len(rows) - MOST_ROWS:,} more"])
    return SET_ASIDE if files else 0


def _of_file(error: DipcastError) -> str:
    name = name_of(error)
    return f"{name}: " if name else ""


def _sentences_of_store(error: BaseException) -> list[str]:
    if "api.store" not in sys.modules:
        return []
    from api.store import NotFoundError, StoreUnavailableError, UnsafeDatabaseError

    match error:
        case NotFoundError():
            return ["there is no such tank: give the id that `dipcast import` printed"]
        case StoreUnavailableError():
            return ["the database does not answer: see that it runs, and that its disk is not full"]
        case UnsafeDatabaseError():
            return [str(error)]
        case _:
            return []
