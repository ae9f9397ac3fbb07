"""Files on this machine: their bytes, and trouble that names the file.

The engine parses; this reads. Whatever the engine finds wrong with a file comes out with the file's
name as a note (`name_of`), so that a person with ten files knows which one is meant.

Flow     path -> **bytes** -> the engine's parsers
"""

from collections.abc import Callable
from pathlib import Path
from typing import TypeVar

from forecaster.errors import DipcastError, InputError, Problem
from forecaster.rows import MAX_BYTES

Parsed = TypeVar("Parsed")


def parse_file(path: Path, parse: Callable[[bytes], Parsed]) -> Parsed:
    """Read a file and hand its bytes to a parser.

    Raises
    ------
    InputError
        From reading or from the parser, with the file's name as a note.
    """
    try:
        return parse(read_file(path))
    except DipcastError as bad:
        bad.add_note(show_path(path))
        raise


def read_file(path: Path, *, most: int = MAX_BYTES) -> bytes:
    """Read a whole file that is not larger than ``most``. [bytes]

    Raises
    ------
    InputError
        For a file that is not there, is a folder, may not be read, or is too large.
    """
    try:
        with path.open("rb") as file:
            data = file.read(most + 1)  # no more than that is ever held, however large the file is
    except (FileNotFoundError, NotADirectoryError):
        raise _refuse("no_file", "there is no such file; give the path of one") from None
    except IsADirectoryError:
        raise _refuse("is_folder", "this is a folder; give the path of a file in it") from None
    except PermissionError:
        raise _refuse("no_permission", "it may not be read; allow it, or copy the file elsewhere") from None
    except (OSError, ValueError) as bad:
        raise _refuse("not_readable", f"it cannot be read ({_why(bad)}); copy it elsewhere") from None
    if len(data) > most:
        raise _refuse("too_large", f"split it: at most {most // 2**20} MiB are read at once")
    return data


def name_of(error: DipcastError) -> str | None:
    """Find the name of the file that an error speaks of; None where no file is concerned."""
    notes: list[str] = getattr(error, "__notes__", [])
    return notes[0] if notes else None


def show_path(path: Path) -> str:
    r"""Show a path in one line, without characters that a terminal would obey.

    Examples
    --------
    >>> show_path(Path("tank\n.toml"))
    'tank�.toml'
    """
    return "".join(c if c.isprintable() else "\N{REPLACEMENT CHARACTER}" for c in str(path))


def _refuse(code: str, mend: str) -> InputError:
    return InputError(Problem(code, "file", mend))


def _why(bad: OSError | ValueError) -> str:
    return (bad.strerror if isinstance(bad, OSError) else None) or "not a path"
