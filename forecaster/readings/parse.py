"""A file of readings: columns, cells, duplicates; every row is used, dropped by a rule, or reported.

Flow     bytes -> rows -> **readings, problems**
"""

from zoneinfo import ZoneInfo

import numpy as np

from forecaster.civil import zone_of
from forecaster.errors import Problem, ReadingsError
from forecaster.readings.quantities import LEVEL_COLUMNS, ParsedReadings, Quantity, Readings
from forecaster.readings.times import RefusedTimeError, is_day_first, read_time
from forecaster.rows import Row, Table, parse_number, parse_rows, require_columns

TEMPERATURE_RANGE_C = (-60.0, 70.0)
"""An air or oil temperature outside is a fault of the thermometer. [C] (common practice, no source)"""
LARGEST_VALUE = 1e7
"""No level is larger in any unit; sentinels such as 65535 are let through, to be screened."""
LARGEST_FRACTION = 1.5
"""A larger fraction is a percentage, or litres in the wrong column."""

_HEX_SENTINELS = ("0xffff", "0x7fff")


def parse_readings(
    data: bytes | str,
    *,
    decimal: str = ".",
    time_column: str | None = None,
    level_column: str | None = None,
    unit: str | None = None,
    tz: str | None = None,
) -> ParsedReadings:
    r"""Read a file of level readings.

    Parameters
    ----------
    data : bytes or str
        Text table with a header; comma, semicolon or tab.
    decimal : str
        Decimal sign, a point or a comma.
    time_column, level_column : str, optional
        Columns of another layout; by default ``at`` and the one named as in `LEVEL_COLUMNS`.
    unit : str, optional
        What the level column holds: a name of `LEVEL_COLUMNS`, or only ``mm``, ``cm`` or ``in``
        where the column's name begins with ullage or dip.
    tz : str, optional
        Zone of times that carry no offset. With it and ``time_column``, 10/01/2024 06:30 is read
        too, if the order of day and month shows somewhere in the file.

    Raises
    ------
    ReadingsError
        If the columns cannot be made out, or no row at all is usable.

    Notes
    -----
    Of rows with the same time, the first in the file is kept: the same value again is dropped and
    counted, another value is a problem ``conflict``. A temperature outside -60 to 70 C is refused
    and reported, its reading kept.

    Examples
    --------
    >>> file = parse_readings("at;dip_cm\n2024-01-10T06:00Z;81\n2024-01-11 06:00;80\n")
    >>> file.readings.value, str(file.problems[0])
    (array([810.]), "row 3, at: add the offset from UTC, such as Z or +01:00, or name the time zone
    with --tz (seen: '2024-01-11 06:00')")
    >>> file.summary
    '1 of 2 rows read, 2024-01-10 to 2024-01-10 (UTC); 1 set aside.'
    """
    if decimal not in (".", ","):
        raise ReadingsError(Problem("bad_decimal", "decimal", "give a point or a comma", decimal))
    zone = None if tz is None else zone_of(tz, error=ReadingsError)
    table = parse_rows(data, error=ReadingsError)
    time_name = "at" if time_column is None else time_column.strip().lower()
    require_columns(table, (time_name,), error=ReadingsError)
    level_name, quantity, factor = _level_column(table, level_column, unit)
    if level_name == time_name:
        raise ReadingsError(
            Problem("same_column", level_name, "name two columns, one for time, one for level")
        )
    day_first = None
    if zone is not None and time_column is not None:
        day_first = is_day_first(time_name, (row.cells[time_name] for row in table.rows))

    problems = list(table.problems)
    kept: list[tuple[int, float, float, float]] = []
    numbers: list[int] = []
    for row in table.rows:
        found: list[Problem] = []
        at = _read_time(row, time_name, zone, day_first, found)
        value = _read_level(row, level_name, quantity, factor, decimal, found)
        if at is not None and value is not None:
            air_c = _read_temperature(row, "air_c", decimal, found)
            oil_c = _read_temperature(row, "oil_c", decimal, found)
            kept.append((at, value, air_c, oil_c))
            numbers.append(row.number)
        problems += found
    if not kept:
        raise ReadingsError(
            sorted(problems, key=_row_number)
            or Problem("no_rows", "file", "give at least one row below the header")
        )
    readings, conflicts, duplicates = _sort(kept, numbers, quantity, time_name, level_name)
    used = {time_name, level_name, "air_c", "oil_c"}
    return ParsedReadings(
        readings=readings,
        problems=tuple(sorted(problems + conflicts, key=_row_number)),
        rows_read=len(table.rows) + len(table.problems),
        ignored_columns=tuple(c for c in table.columns if c not in used),
        duplicates=duplicates,
    )


def _level_column(table: Table, level_column: str | None, unit: str | None) -> tuple[str, Quantity, float]:
    has = ", ".join(table.columns)
    names = ", ".join(LEVEL_COLUMNS)
    if level_column is None:
        found = [c for c in table.columns if c in LEVEL_COLUMNS]
        if not found:
            mend = f"add one of {names}, or name the column and its unit; the file has: {has}"
            raise ReadingsError(Problem("no_column", "level", mend, row=1))
        if len(found) > 1:
            mend = "name the one level column to use; the others are then ignored"
            raise ReadingsError(Problem("several_levels", "level", mend, ", ".join(found), 1))
        level = found[0]
    else:
        level = level_column.strip().lower()
        require_columns(table, (level,), error=ReadingsError)
    if unit is None:
        if level not in LEVEL_COLUMNS:
            raise ReadingsError(Problem("no_unit", level, f"say what it holds: one of {names}", row=1))
        return level, *LEVEL_COLUMNS[level]
    holds = unit.strip().lower()
    kind = next((k for k in ("ullage", "dip") if level.startswith(k)), None)
    if holds in ("mm", "cm", "in") and kind is not None:
        holds = f"{kind}_{holds}"
    if holds not in LEVEL_COLUMNS:
        raise ReadingsError(Problem("bad_unit", "unit", f"give one of {names}", unit))
    if level in LEVEL_COLUMNS and level != holds:
        mend = f"the column's own name says {level}: give that, or rename the column"
        raise ReadingsError(Problem("unit_conflict", "unit", mend, unit, 1))
    return level, *LEVEL_COLUMNS[holds]


def _read_time(
    row: Row, field: str, zone: ZoneInfo | None, day_first: bool | None, found: list[Problem]
) -> int | None:
    cell = row.cells[field]
    try:
        return int(read_time(cell, zone=zone, day_first=day_first).timestamp())
    except RefusedTimeError as bad:
        found.append(Problem(bad.code, field, str(bad), cell, row.number))
        return None


def _read_level(
    row: Row, field: str, quantity: Quantity, factor: float, decimal: str, found: list[Problem]
) -> float | None:
    cell = row.cells[field]
    if cell.lower() in _HEX_SENTINELS:
        return factor * int(cell, 16)
    try:
        value = parse_number(cell, decimal=decimal)
    except ValueError as bad:
        found.append(Problem("not_a_number" if cell else "no_value", field, str(bad), cell, row.number))
        return None
    if value < 0.0:
        found.append(Problem("negative", field, "give a level of zero or more", cell, row.number))
        return None
    if value > LARGEST_VALUE:
        found.append(Problem("too_large", field, "give the level that was read", cell, row.number))
        return None
    if quantity is Quantity.FRACTION and value > LARGEST_FRACTION:
        mend = "give a fraction of the capacity, such as 0.45 for 45 %"
        found.append(Problem("not_a_fraction", field, mend, cell, row.number))
        return None
    return abs(value) * factor  # abs: -0.0 is 0.0


def _read_temperature(row: Row, field: str, decimal: str, found: list[Problem]) -> float:
    cell = row.cells.get(field)
    if not cell:
        return np.nan
    try:
        value = parse_number(cell, decimal=decimal)
    except ValueError as bad:
        found.append(Problem("not_a_number", field, str(bad), cell, row.number))
        return np.nan
    low, high = TEMPERATURE_RANGE_C
    if not low <= value <= high:
        mend = f"give degrees Celsius between {low:g} and {high:g}; the reading was kept without it"
        found.append(Problem("impossible_temperature", field, mend, cell, row.number))
        return np.nan
    return value


def _sort(
    kept: list[tuple[int, float, float, float]],
    numbers: list[int],
    quantity: Quantity,
    time_name: str,
    level_name: str,
) -> tuple[Readings, list[Problem], int]:
    """Sort by time; of each instant keep the row that stood first in the file."""
    columns = np.array(kept, dtype=np.float64)
    at, value = columns[:, 0].astype(np.int64), columns[:, 1]
    order = np.argsort(at, kind="stable")
    at, value, row_number = at[order], value[order], np.array(numbers)[order]
    is_first = np.r_[True, at[1:] != at[:-1]]
    first = np.maximum.accumulate(np.where(is_first, np.arange(len(at)), 0))
    differs = value != value[first]
    conflicts = [
        Problem(
            "conflict",
            level_name,
            f"keep one of the two: row {row_number[first[i]]} has the same {time_name}, another value,"
            " and was kept",
            f"{value[i]:g}",
            int(row_number[i]),
        )
        for i in np.flatnonzero(differs)
    ]
    readings = Readings(
        at=at[is_first].astype("datetime64[s]"),
        quantity=np.full(int(is_first.sum()), quantity.value),
        value=value[is_first],
        air_c=columns[order, 2][is_first],
        oil_c=columns[order, 3][is_first],
    )
    return readings, conflicts, int((~is_first & ~differs).sum())


def _row_number(problem: Problem) -> int:
    return problem.row or 0
