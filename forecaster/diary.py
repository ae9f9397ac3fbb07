"""The household's diary: days on which the home burns otherwise than usual.

Flow     diary.csv -> **factors by day** -> burn model, forecast
Formula  burn = base factor · base load + heat factor · heating, with the factors in `FACTORS`
Source   The factors are assumptions: no measurement stands behind them. Their effect is plain: a
         fortnight marked "away" in January counts as about five ordinary days.

Caution  "Away" and "frost setting" still burn oil, and a home that runs dry in frost loses its frost
         protection; "boiler off" says that none is wanted.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from types import MappingProxyType

import numpy as np
import numpy.typing as npt

from forecaster.errors import Problem, SurveyError
from forecaster.rows import Row, parse_date, parse_rows, require_columns

Floats = npt.NDArray[np.float64]
Dates = npt.NDArray[np.datetime64]

MAX_DAYS = 366
"""A longer entry is refused, so that a wrong year cannot promise years of oil. Assumption. [d]"""


@dataclass(frozen=True, slots=True)
class Factors:
    """What an entry makes of the usual base load and of the usual heating. [-]"""

    base: float
    heat: float


FACTORS: Mapping[str, Factors] = MappingProxyType(
    {
        "away": Factors(base=0.1, heat=0.35),
        "frost setting": Factors(base=0.05, heat=0.2),
        "guests": Factors(base=1.4, heat=1.1),
        "let": Factors(base=1.1, heat=1.0),
        "boiler off": Factors(base=0.0, heat=0.0),
    }
)
"""The words that a diary may hold, and what they stand for. Assumptions."""


@dataclass(frozen=True, slots=True)
class DiaryEntry:
    """One stretch of days, first and last both counted, and one of the words of `FACTORS`."""

    start: date
    end: date
    what: str


def parse_diary(data: bytes | str) -> tuple[tuple[DiaryEntry, ...], tuple[Problem, ...]]:
    r"""Read a diary: ``start,end,what``, days in the past or ahead.

    Parameters
    ----------
    data : bytes or str
        Comma, semicolon or tab between the cells.

    Returns
    -------
    tuple of DiaryEntry
        By start.
    tuple of Problem
        One for each bad row: a date that is none, an end before its start, a stretch of more than
        a year, a word that is not known, days that an earlier row has already. Good rows are kept.

    Raises
    ------
    SurveyError
        If there is no such table at all.

    Examples
    --------
    >>> rows = "start,end,what\n2024-02-01,2024-02-09,Away\n2024-03-01,2024-03-02,skiing\n"
    >>> entries, problems = parse_diary(rows)
    >>> entries[0].what, str(problems[0])
    ('away', "row 3, what: give one of: away, frost setting, guests, let, boiler off (seen: 'skiing')")
    """
    table = parse_rows(data, error=SurveyError)
    require_columns(table, ("start", "end", "what"), error=SurveyError)
    entries: list[DiaryEntry] = []
    problems = list(table.problems)
    for row in table.rows:
        found = _read_row(row, entries)
        if isinstance(found, Problem):
            problems.append(found)
        else:
            entries.append(found)
    in_order = tuple(sorted(entries, key=lambda e: e.start))
    return in_order, tuple(sorted(problems, key=lambda p: p.row or 0))


def diary_factors(entries: Sequence[DiaryEntry], dates: Dates) -> tuple[Floats, Floats]:
    r"""Find what the diary makes of each day.

    Parameters
    ----------
    entries : sequence of DiaryEntry
        Without overlap, as `parse_diary` gives them.
    dates : datetime64[D] array, shape (day,)
        Civil days, any order.

    Returns
    -------
    base_factor, heat_factor : float array, shape (day,)
        1 on days of which the diary tells nothing. [-]

    Examples
    --------
    >>> entries, _ = parse_diary("start,end,what\n2024-02-01,2024-02-02,away\n")
    >>> diary_factors(entries, np.arange("2024-01-31", "2024-02-04", dtype="datetime64[D]"))
    (array([1. , 0.1, 0.1, 1. ]), array([1.  , 0.35, 0.35, 1.  ]))
    """
    days = np.asarray(dates, dtype="datetime64[D]")
    base, heat = np.ones(days.shape), np.ones(days.shape)
    for entry in entries:
        within = (days >= np.datetime64(entry.start, "D")) & (days <= np.datetime64(entry.end, "D"))
        base[within] = FACTORS[entry.what].base
        heat[within] = FACTORS[entry.what].heat
    return base, heat


def _read_row(row: Row, earlier: Sequence[DiaryEntry]) -> DiaryEntry | Problem:
    def problem(code: str, field: str, mend: str) -> Problem:
        return Problem(code, field, mend, row.cells[field], row.number)

    days: dict[str, date] = {}
    for field in ("start", "end"):
        try:
            days[field] = parse_date(row.cells[field])
        except ValueError as bad:
            return problem("not_a_date", field, str(bad))
    start, end = days["start"], days["end"]
    what = " ".join(row.cells["what"].lower().replace("_", " ").split())
    if end < start:
        return problem("end_before_start", "end", f"give a day from {start} on; the last day counts too")
    if (end - start).days >= MAX_DAYS:
        return problem("too_long", "end", f"give at most {MAX_DAYS} days in one row")
    if what not in FACTORS:
        return problem("unknown_word", "what", f"give one of: {', '.join(FACTORS)}")
    for entry in earlier:
        if start <= entry.end and entry.start <= end:
            mend = f"{entry.start} to {entry.end} is {entry.what} already; let each day stand once"
            return problem("overlap", "start", mend)
    return DiaryEntry(start, end, what)
