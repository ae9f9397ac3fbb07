"""The desk on which files are read one after the other, what is wrong with them kept for the end.

Flow     paths -> **desk** -> gathered inputs, rows set aside, notes
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import TypeVar

from api.cli.trouble import SetAside
from api.sources.files import parse_file, show_path
from forecaster.errors import DipcastError, Problem

Parsed = TypeVar("Parsed")


@dataclass(slots=True)
class Desk:
    """Reads one file after the other, and keeps what cannot be used for the end."""

    set_aside: list[SetAside] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)
    errors: list[DipcastError] = field(default_factory=list)

    def read(self, path: Path | None, parse: Callable[[bytes], Parsed]) -> Parsed | None:
        """Read a file; None where there is none, or where it cannot be used."""
        if path is None:
            return None
        return self.attempt(lambda: parse_file(path, parse))

    def attempt(self, work: Callable[[], Parsed]) -> Parsed | None:
        """Do something that may find an input not usable."""
        try:
            return work()
        except DipcastError as bad:
            self.errors.append(bad)
            return None

    def keep(self, path: Path, problems: Sequence[Problem], notes: Sequence[str] = ()) -> None:
        """Keep what was set aside of a file, and what it says about itself."""
        if problems:
            self.set_aside.append(SetAside(show_path(path), tuple(problems)))
        self.notes += [f"{show_path(path)}: {note}" for note in notes]

    def finish(self) -> None:
        """Refuse, when anything could not be used.

        Raises
        ------
        ExceptionGroup of DipcastError
            All of it at once.
        """
        if self.errors:
            raise ExceptionGroup("input not usable", self.errors)
