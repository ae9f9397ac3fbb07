"""What became of something that was told."""

from dataclasses import dataclass
from typing import Literal, NoReturn

from forecaster.errors import InputError, Problem


@dataclass(frozen=True, slots=True)
class Stored:
    """What became of it: new, known before, or in conflict with what is kept; and the same as a sentence."""

    status: Literal["new", "known", "conflict"]
    words: str


def refuse(code: str, field: str, mend: str) -> NoReturn:
    """Refuse what was told, naming the member and what to do.

    Raises
    ------
    InputError
    """
    raise InputError(Problem(code, field, mend))
