"""Wood burned, days away or with guests, changes for good: rows added to the tables that are kept.

Flow     row -> the kept table with it, read as a whole -> **a new version** -> words
"""

from collections.abc import Callable, Mapping
from datetime import date
from typing import Any

from api.ports import Clock
from api.store import Session
from api.store.tanks import StoredTank, TextKind, load_text, lock_tank, save_text
from api.usecases.told.stored import Stored, refuse
from forecaster.diary import parse_diary
from forecaster.errors import Problem
from forecaster.phrases import day_text, span_text
from forecaster.rows import parse_rows
from forecaster.stove import parse_stove_log

Parse = Callable[[str], tuple[Any, tuple[Problem, ...]]]


def record_fire_told(
    session: Session,
    clock: Clock,
    tank: StoredTank,
    *,
    day: date,
    kg: float | None = None,
    kwh: float | None = None,
) -> Stored:
    """Store the wood of a day, or the heat that it gave.

    Raises
    ------
    InputError
        For more than a day's fires can be.
    """
    row = {"date": day.isoformat(), "kg": _cell(kg), "kwh": _cell(kwh)}
    new = _add_row(session, clock, tank, TextKind.STOVE_LOG, row, parse_stove_log)
    how_much = f"{kg:,.6g} kg of wood" if kg is not None else f"{kwh:,.6g} kWh of heat from wood"
    return _stored(new, f"{how_much}, {day_text(day, year=True)}")


def record_days_told(
    session: Session, clock: Clock, tank: StoredTank, *, start: date, end: date, what: str
) -> Stored:
    """Store days on which the home burns otherwise than usual.

    Raises
    ------
    InputError
        For days that the diary has already with another word, or an end before the start.
    """
    row = {"start": start.isoformat(), "end": end.isoformat(), "what": what}
    new = _add_row(session, clock, tank, TextKind.DIARY, row, parse_diary)
    return _stored(new, f"“{what}”, {span_text(start, end)} {end.year}")


def record_change_told(session: Session, clock: Clock, tank: StoredTank, *, day: date, what: str) -> Stored:
    """Store a change of the house or household for good."""
    row = {"start": day.isoformat(), "end": "", "what": what}
    new = _add_row(session, clock, tank, TextKind.DIARY, row, parse_diary)
    return _stored(new, f"“{what}” from {day_text(day, year=True)} on")


def _add_row(
    session: Session, clock: Clock, tank: StoredTank, kind: TextKind, row: Mapping[str, str], parse: Parse
) -> bool:
    """Add a row to a kept table; whether it was new."""
    lock_tank(session, tank.id)  # two people at once: the second sees the first one's row
    now = clock.now()
    kept = load_text(session, tank.id, kind, as_of=now)
    columns, rows = tuple(row), []
    if kept is not None:
        table = parse_rows(kept)
        columns = (*table.columns, *(name for name in row if name not in table.columns))
        rows = [dict(r.cells) for r in table.rows]
    if any(all(old.get(name, "").strip().lower() == row[name].lower() for name in row) for old in rows):
        return False
    lines = [",".join(columns)]
    lines += [",".join(_plain(r.get(name, "")) for name in columns) for r in [*rows, row]]
    body = "\n".join(lines) + "\n"
    _, problems = parse(body)
    own = [p for p in problems if p.row == len(lines)]
    if own:
        refuse(own[0].code, own[0].field, own[0].mend)
    save_text(session, tank.id, kind, body=body, valid_from=now, created_at=now)
    return True


def _stored(new: bool, words: str) -> Stored:
    return Stored("new" if new else "known", f"{'Stored' if new else 'Known before'}: {words}.")


def _cell(value: float | None) -> str:
    return "" if value is None else f"{value:.10g}"


def _plain(cell: str) -> str:
    """Write a cell; one with a separator or a quotation mark in quotes."""
    return '"' + cell.replace('"', '""') + '"' if set(cell) & set(',;"\t') else cell
