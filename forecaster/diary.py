"""The household's diary: days on which the home burns otherwise than usual.

Flow     diary.csv -> **factors by day**, declared changes -> burn model, forecast
Formula  burn = base factor · base load + heat factor · heating, with the factors in `FACTORS`;
         "panels heat water" spares its share of the hot water only
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
    """What an entry makes of the usual base load and heating, and of the hot water something else makes. [-]"""

    base: float
    heat: float
    water_spared: float = 0.0


FACTORS: Mapping[str, Factors] = MappingProxyType(
    {
        "away": Factors(base=0.1, heat=0.35),
        "frost setting": Factors(base=0.05, heat=0.2),
        "guests": Factors(base=1.4, heat=1.1),
        "let": Factors(base=1.1, heat=1.0),
        "boiler off": Factors(base=0.0, heat=0.0),
        "panels heat water": Factors(base=1.0, heat=1.0, water_spared=0.9),
    }
)
"""The words that a diary may hold, and what they stand for. Assumptions."""


@dataclass(frozen=True, slots=True)
class Moves:
    """How far a change for good may move each intensity: standard deviation, relative to the survey's. [-]"""

    base: float = 0.0
    slope: float = 0.0
    sun: float = 0.0
    stove: float = 0.0


MOVES: Mapping[str, Moves] = MappingProxyType(
    {
        "new boiler": Moves(base=0.2, slope=0.2, sun=0.2, stove=0.2),
        "insulation": Moves(slope=0.2, sun=0.2),
        "occupants": Moves(base=0.4),
        "stove": Moves(slope=0.1, stove=0.5),
    }
)
"""Words of a change for good: from its day on the home burns otherwise, and what was learnt counts less.
Assumptions."""
CHANGES = tuple(MOVES)


@dataclass(frozen=True, slots=True)
class DiaryEntry:
    """One stretch of days, first and last both counted, and one of the words of `FACTORS`."""

    start: date
    end: date
    what: str


@dataclass(frozen=True, slots=True)
class DeclaredChange:
    """A change of the house or household for good: its day, and one of the words of `CHANGES`."""

    date: date
    what: str


def parse_diary(data: bytes | str) -> tuple[tuple[DiaryEntry, ...], tuple[Problem, ...]]:
    r"""Read a diary: ``start,end,what``, days in the past or ahead.

    Rows of a change for good (`CHANGES`) are checked here and read by `parse_changes`.

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
    ('away', "row 3, what: give one of: away, frost setting, guests, let, boiler off, ...")
    """
    found, problems = _read(data)
    entries = tuple(sorted((e for e in found if isinstance(e, DiaryEntry)), key=lambda e: e.start))
    return entries, problems


def parse_changes(data: bytes | str) -> tuple[DeclaredChange, ...]:
    r"""Read from the same table what changed for good: a new boiler, insulation, occupants, a stove.

    Parameters
    ----------
    data : bytes or str
        As for `parse_diary`, which names the bad rows. A change has a start and no end.

    Returns
    -------
    tuple of DeclaredChange
        By date.

    Examples
    --------
    >>> parse_changes("start,end,what\n2024-02-01,2024-02-09,away\n2024-05-03,,New boiler\n")
    (DeclaredChange(date=datetime.date(2024, 5, 3), what='new boiler'),)
    """
    found, _ = _read(data)
    return tuple(sorted((c for c in found if isinstance(c, DeclaredChange)), key=lambda c: c.date))


def _read(data: bytes | str) -> tuple[list[DiaryEntry | DeclaredChange], tuple[Problem, ...]]:
    table = parse_rows(data, error=SurveyError)
    require_columns(table, ("start", "end", "what"), error=SurveyError)
    found: list[DiaryEntry | DeclaredChange] = []
    problems = list(table.problems)
    for row in table.rows:
        entry = _read_row(row, [e for e in found if isinstance(e, DiaryEntry)])
        if isinstance(entry, Problem):
            problems.append(entry)
        elif entry not in found or isinstance(entry, DiaryEntry):
            found.append(entry)
    return found, tuple(sorted(problems, key=lambda p: p.row or 0))


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


def water_spared(entries: Sequence[DiaryEntry], dates: Dates) -> Floats:
    r"""Find the share of the hot water that something else makes, day by day.

    Parameters
    ----------
    entries : sequence of DiaryEntry
    dates : datetime64[D] array, shape (day,)

    Returns
    -------
    float array, shape (day,)
        0 on days of which the diary tells nothing. [-]

    Examples
    --------
    >>> entries, _ = parse_diary("start,end,what\n2024-06-02,2024-06-03,panels heat water\n")
    >>> water_spared(entries, np.arange("2024-06-01", "2024-06-04", dtype="datetime64[D]"))
    array([0. , 0.9, 0.9])
    """
    days = np.asarray(dates, dtype="datetime64[D]")
    spared = np.zeros(days.shape)
    for entry in entries:
        within = (days >= np.datetime64(entry.start, "D")) & (days <= np.datetime64(entry.end, "D"))
        spared[within] = FACTORS[entry.what].water_spared
    return spared


def _read_row(row: Row, earlier: Sequence[DiaryEntry]) -> DiaryEntry | DeclaredChange | Problem:
    def problem(code: str, field: str, mend: str) -> Problem:
        return Problem(code, field, mend, row.cells[field], row.number)

    what = " ".join(row.cells["what"].lower().replace("_", " ").split())
    if what in CHANGES:
        if row.cells["end"] not in ("", row.cells["start"]):
            return problem("change_with_end", "end", f"leave it empty: {what} counts from its start on")
        try:
            return DeclaredChange(parse_date(row.cells["start"]), what)
        except ValueError as bad:
            return problem("not_a_date", "start", str(bad))
    days: dict[str, date] = {}
    for field in ("start", "end"):
        try:
            days[field] = parse_date(row.cells[field])
        except ValueError as bad:
            return problem("not_a_date", field, str(bad))
    start, end = days["start"], days["end"]
    if end < start:
        return problem("end_before_start", "end", f"give a day from {start} on; the last day counts too")
    if (end - start).days >= MAX_DAYS:
        return problem("too_long", "end", f"give at most {MAX_DAYS} days in one row")
    if what not in FACTORS:
        return problem("unknown_word", "what", f"give one of: {', '.join((*FACTORS, *CHANGES))}")
    for entry in earlier:
        if start <= entry.end and entry.start <= end:
            mend = f"{entry.start} to {entry.end} is {entry.what} already; let each day stand once"
            return problem("overlap", "start", mend)
    return DiaryEntry(start, end, what)
