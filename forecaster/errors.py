"""What can go wrong with input, and nothing else.

::

    DipcastError
    ├── InputError               a file or value cannot be used; carries its problems
    │   ├── TankError            tank.toml, or a tank's dimensions
    │   ├── ReadingsError        readings
    │   ├── DeliveriesError      tickets and receipts
    │   ├── WeatherError         weather, long records, outlooks
    │   ├── SurveyError          survey.toml, diary, stove log
    │   └── OrderError           lead time, holidays, risk, orders placed
    ├── StoredStateError         what was kept of a burn model cannot be gone on from; carries its problem
    └── OutOfRangeError          a dip or a volume outside the tank; carries the limits

Expected trouble inside good input (a gap, a stuck sensor, a short history) is a flag on a
result, never an exception.
"""

from collections.abc import Sequence
from dataclasses import dataclass

SEEN_LENGTH = 40
"""At most so many characters of a value are shown back. [characters]"""


@dataclass(frozen=True, slots=True)
class Problem:
    """One thing wrong with the input, and its mend.

    Attributes
    ----------
    code
        Short and stable, for programs: ``not_a_number``, ``no_offset``.
    field
        The column, key or option concerned.
    mend
        What to do about it, in one sentence.
    seen
        The value as it was given, cut to 40 characters; empty where nothing was there.
    row
        Line of the file, the header being 1; None where no row is concerned.
    """

    code: str
    field: str
    mend: str
    seen: str = ""
    row: int | None = None

    def __post_init__(self) -> None:
        object.__setattr__(self, "seen", shorten(self.seen))

    def __str__(self) -> str:
        where = f"row {self.row}, " if self.row is not None else ""
        seen = f" (seen: {self.seen!r})" if self.seen else ""
        return f"{where}{self.field}: {self.mend}{seen}"


def shorten(text: str) -> str:
    """Cut a value for showing back, replacing control characters.

    Examples
    --------
    >>> shorten("12,5" + chr(0))
    '12,5�'
    """
    clean = "".join(c if c.isprintable() else "\N{REPLACEMENT CHARACTER}" for c in text)
    return clean if len(clean) <= SEEN_LENGTH else clean[: SEEN_LENGTH - 1] + "…"


class DipcastError(Exception):
    """Anything the engine refuses, with words for a person."""


class InputError(DipcastError):
    """A file or a value cannot be used; ``problems`` says why and what to do."""

    def __init__(self, problems: Problem | Sequence[Problem]) -> None:
        self.problems: tuple[Problem, ...] = (problems,) if isinstance(problems, Problem) else tuple(problems)
        super().__init__("; ".join(str(p) for p in self.problems))


class TankError(InputError):
    """The tank's description cannot be used."""


class ReadingsError(InputError):
    """No use can be made of the readings."""


class DeliveriesError(InputError):
    """Tickets or receipts cannot be used."""


class WeatherError(InputError):
    """The weather cannot be used."""


class SurveyError(InputError):
    """The survey, the diary or the stove log cannot be used."""


class OrderError(InputError):
    """Lead time, holidays, risk or an order placed cannot be used."""


class StoredStateError(DipcastError):
    """What was kept of a burn model cannot be gone on from: nothing is lost, it is fitted anew."""

    def __init__(self, problem: Problem) -> None:
        self.problem = problem
        super().__init__(str(problem))


class OutOfRangeError(DipcastError):
    """A dip or a volume lies outside the tank; geometry never clips."""

    def __init__(self, quantity: str, value: float, *, low: float, high: float) -> None:
        self.quantity, self.value, self.low, self.high = quantity, value, low, high
        super().__init__(f"{quantity} {value:g} lies outside {low:g} to {high:g}")
