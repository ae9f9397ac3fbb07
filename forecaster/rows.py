"""Text tables to rows: delimiter, header, cells, and a problem for each bad cell.

Every file format of ours is read through here, so that all of them treat separators, decimal
commas, odd bytes and oversize files alike.

Flow     bytes -> **rows** -> readings, weather, deliveries, diary
"""

import csv
import math
import re
from dataclasses import dataclass
from datetime import UTC, date, datetime

from forecaster.errors import InputError, Problem

MAX_BYTES = 64 * 1024 * 1024
"""A larger file is refused: 2 years of readings a minute fit. [bytes]"""
MAX_COLUMNS = 256
"""More columns than that are no table of ours. [columns]"""
MAX_CELL = 1_000
"""A longer cell is no number, date or name. [characters]"""

_CONTENT = re.compile(r'[^\s,;"]')
_NUMBER = re.compile(r"[+-]?(\d+(\.\d*)?|\.\d+)([eE][+-]?\d{1,3})?", re.ASCII)
_TIME = re.compile(r"\d{4}-\d{2}-\d{2}[Tt ]\d{2}:\d{2}(:\d{2}(\.\d+)?)?([Zz]|[+-]\d{2}:\d{2})?", re.ASCII)
_DATE = re.compile(r"\d{4}-\d{2}-\d{2}", re.ASCII)


@dataclass(frozen=True, slots=True)
class Row:
    """One line of a table: its number in the file (the header is 1) and its cells by column."""

    number: int
    cells: dict[str, str]


@dataclass(frozen=True, slots=True)
class Table:
    """A parsed text table: column names in file order, rows, and rows that had no right shape."""

    columns: tuple[str, ...]
    rows: tuple[Row, ...]
    problems: tuple[Problem, ...]


def decode(data: bytes | str, *, error: type[InputError] = InputError) -> str:
    """Turn a file's bytes into text: UTF-8, with or without a byte-order mark.

    Raises
    ------
    InputError
        (or the given subclass) for an oversize file, other encodings and NUL bytes.
    """
    if isinstance(data, str):
        text = data
    else:
        if len(data) > MAX_BYTES:
            raise error(
                Problem("too_large", "file", f"split it: at most {MAX_BYTES // 2**20} MiB are read at once")
            )
        try:
            text = data.decode("utf-8-sig")
        except UnicodeDecodeError as bad:
            raise error(
                Problem("not_utf8", "file", f"save it as UTF-8 text; byte {bad.start} is not")
            ) from None
    if "\0" in text:
        raise error(Problem("nul", "file", "save it as plain UTF-8 text; it holds NUL bytes"))
    return text.removeprefix("\N{ZERO WIDTH NO-BREAK SPACE}").replace("\r\n", "\n").replace("\r", "\n")


def parse_rows(data: bytes | str, *, error: type[InputError] = InputError) -> Table:
    r"""Split a text table with a header into rows, by comma, semicolon or tab.

    The separator is the one of the three that stands most often in the header. Blank lines are
    passed over. A row with another number of cells than the header becomes a problem and is left
    out; the others are kept. A cell never runs over several lines.

    Raises
    ------
    InputError
        (or the given subclass) when there is no header, a column stands twice, or the file is no
        text table at all.

    Examples
    --------
    >>> table = parse_rows("at;dip_mm\n2024-01-10T06:00Z;812\n")
    >>> table.columns, table.rows[0].number, table.rows[0].cells["dip_mm"]
    (('at', 'dip_mm'), 2, '812')
    """
    text = decode(data, error=error)
    header = next((line for line in text.split("\n") if _CONTENT.search(line)), "")
    if not header:
        raise error(Problem("empty", "file", "give a file with a header line and rows below it"))
    delimiter = max(",;\t", key=header.count)
    if header.count(delimiter) >= MAX_COLUMNS:
        raise error(Problem("too_wide", "file", f"give at most {MAX_COLUMNS} columns"))
    columns: tuple[str, ...] = ()
    rows: list[Row] = []
    problems: list[Problem] = []
    for number, line in enumerate(text.split("\n"), start=1):
        if not line.strip():
            continue
        try:  # each line by itself, so that a stray quotation mark spoils its own row only
            cells = [c.strip() for c in _split(line, delimiter)]
        except csv.Error as bad:
            problem = Problem("not_a_row", "row", f"give plain cells in one line ({bad})", line, number)
            if not columns:
                raise error(problem) from None
            problems.append(problem)
            continue
        if not any(cells):
            continue
        if not columns:
            columns = tuple(c.lower() for c in cells)
            continue
        while len(cells) > len(columns) and not cells[-1]:
            cells.pop()
        if len(cells) != len(columns):
            mend = f"give {len(columns)} cells, one for each column of the header"
            problems.append(Problem("wrong_cells", "row", mend, delimiter.join(cells), number))
        elif len(line) > MAX_CELL and any(len(c) > MAX_CELL for c in cells):
            problems.append(
                Problem("long_cell", "row", f"give cells of at most {MAX_CELL} characters", row=number)
            )
        else:
            rows.append(Row(number, dict(zip(columns, cells, strict=True))))
    twice = sorted({c for c in columns if columns.count(c) > 1})
    if twice:
        raise error(Problem("column_twice", twice[0], "give each column once", row=1))
    return Table(columns, tuple(rows), tuple(problems))


def _split(line: str, delimiter: str) -> list[str]:
    if '"' not in line:
        return line.split(delimiter)
    return next(csv.reader((line,), delimiter=delimiter, strict=True))


def require_columns(table: Table, needed: tuple[str, ...], *, error: type[InputError] = InputError) -> None:
    """Refuse a table that lacks a column, naming those it has."""
    missing = [c for c in needed if c not in table.columns]
    if missing:
        has = ", ".join(table.columns)
        raise error(
            [Problem("no_column", c, f"add this column; the file has: {has}", row=1) for c in missing]
        )


def parse_number(cell: str, *, decimal: str = ".") -> float:
    """Read one finite decimal number, strictly.

    No thousands separators, no underscores, no words such as ``nan``, no other digits than 0-9.

    Raises
    ------
    ValueError
        Naming what is wrong and the mend.

    Examples
    --------
    >>> parse_number("12,5", decimal=",")
    12.5
    >>> parse_number("12,5")
    Traceback (most recent call last):
    ValueError: give a number with a decimal point, or say that the decimal sign is a comma
    """
    text = cell.strip()
    if decimal == ",":
        if "." in text:
            raise ValueError("give a number with a decimal comma and no thousands separator")
        text = text.replace(",", ".")
    if not _NUMBER.fullmatch(text):
        if decimal == "." and "," in text:
            raise ValueError("give a number with a decimal point, or say that the decimal sign is a comma")
        raise ValueError("give a number" if text else "give a value")
    value = float(text)
    if not math.isfinite(value):
        raise ValueError("give a finite number")
    return value


def parse_time(cell: str) -> datetime:
    """Read one RFC 3339 time with its offset, as UTC.

    Raises
    ------
    ValueError
        Naming what is wrong and the mend.

    Examples
    --------
    >>> parse_time("2024-01-10T07:30:00+01:00")
    datetime.datetime(2024, 1, 10, 6, 30, tzinfo=datetime.timezone.utc)
    """
    text = cell.strip()
    match = _TIME.fullmatch(text)
    if not match:
        raise ValueError("give a time as 2024-01-10T06:30:00Z or with an offset such as +01:00")
    if not match[3]:
        raise ValueError("add the offset from UTC, such as Z or +01:00, or name the time zone with --tz")
    leap = re.sub(r":60(\.\d+)?", ":59.999", text, count=1)  # a leap second is the end of its minute
    try:
        return datetime.fromisoformat(leap.upper().replace(" ", "T")).astimezone(UTC)
    except (ValueError, OverflowError):
        raise ValueError("give a day and an hour that exist") from None


def parse_date(cell: str) -> date:
    """Read one calendar date, year-month-day.

    Raises
    ------
    ValueError
        Naming what is wrong and the mend.

    Examples
    --------
    >>> parse_date("2024-01-10")
    datetime.date(2024, 1, 10)
    """
    text = cell.strip()
    if not _DATE.fullmatch(text):
        raise ValueError("give a date as 2024-01-10")
    try:
        return date.fromisoformat(text)
    except ValueError:
        raise ValueError("give a date that exists") from None
