"""Tickets and bills as they are written down.

Flow     bytes -> rows -> **deliveries, receipts**
"""

import re
from collections.abc import Mapping
from dataclasses import dataclass, fields
from datetime import UTC, datetime, time
from types import MappingProxyType
from zoneinfo import ZoneInfo

import numpy as np
import numpy.typing as npt

from forecaster.civil import civil_date, to_datetime, zone_of
from forecaster.errors import DeliveriesError, Problem
from forecaster.fuel import FUELS
from forecaster.readings.times import YEARS, RefusedTimeError, read_time
from forecaster.rows import Row, parse_date, parse_number, parse_rows, require_columns
from forecaster.units import Floats

Bools = npt.NDArray[np.bool_]

LARGEST_DELIVERY_L = 50_000.0
"""No road tanker carries more. [l]"""
SAME_LITRES_L = 1.0
"""A bill and a ticket of one day that differ by no more are one delivery, rounded. [l]"""
DATE_ONLY_AT = time(12)
"""A ticket that gives only its day is taken at noon of its zone."""

FILLED = ("yes", "no", "unknown")
BASES = ("observed", "15c", "unknown")
_REMOVED: Mapping[str, bool] = MappingProxyType(
    {"": False, "no": False, "false": False, "0": False, "yes": True, "true": True, "1": True}
)
_DATE = re.compile(r"\d{4}-\d{2}-\d{2}", re.ASCII)
_DIPS = ("dip_before_mm", "dip_after_mm")


@dataclass(frozen=True, slots=True)
class Deliveries:
    """Oil put into a tank, or taken out, sorted by time; each array has shape (k,).

    Attributes
    ----------
    at
        Instants, UTC, datetime64[s].
    litres
        What the ticket says, above zero. [l]
    filled
        Whether the tank was filled up: "yes", "no" or "unknown".
    removed
        True where oil was taken out.
    basis
        Litres as "observed" (at the oil's temperature), at "15c", or "unknown".
    dip_before_mm, dip_after_mm
        Dips on the ticket; nan where not given. [mm]
    """

    at: npt.NDArray[np.datetime64]
    litres: Floats
    filled: npt.NDArray[np.str_]
    removed: Bools
    basis: npt.NDArray[np.str_]
    dip_before_mm: Floats
    dip_after_mm: Floats

    def __len__(self) -> int:
        return len(self.at)

    @classmethod
    def none(cls) -> "Deliveries":
        """No delivery at all."""
        text, number = np.empty(0, "<U8"), np.empty(0)
        return cls(np.empty(0, "datetime64[s]"), number, text, np.empty(0, bool), text, number, number)

    def where(self, mask: Bools | npt.NDArray[np.intp]) -> "Deliveries":
        """Keep only those under a mask, shape (k,), or at the positions given."""
        return Deliveries(**{f.name: getattr(self, f.name)[mask] for f in fields(self)})


@dataclass(frozen=True, slots=True)
class Receipts:
    """Bills, sorted by day; each array has shape (k,).

    ``date`` civil days, datetime64[D]; ``litres`` billed, above zero; ``filled`` "yes", "no" or
    "unknown".
    """

    date: npt.NDArray[np.datetime64]
    litres: Floats
    filled: npt.NDArray[np.str_]

    def __len__(self) -> int:
        return len(self.date)

    @classmethod
    def none(cls) -> "Receipts":
        """No bill at all."""
        return cls(np.empty(0, "datetime64[D]"), np.empty(0), np.empty(0, "<U8"))

    def where(self, mask: Bools | npt.NDArray[np.intp]) -> "Receipts":
        """Keep only those under a mask, shape (k,), or at the positions given."""
        return Receipts(self.date[mask], self.litres[mask], self.filled[mask])


@dataclass(frozen=True, slots=True)
class _Ticket:
    at: int
    litres: float
    filled: str
    removed: bool
    basis: str
    dip_before_mm: float
    dip_after_mm: float


def parse_deliveries(
    data: bytes | str, *, tz: str, decimal: str = "."
) -> tuple[Deliveries, tuple[Problem, ...]]:
    r"""Read delivery tickets.

    Parameters
    ----------
    data : bytes or str
        Text table: ``at,litres``, optional ``filled``, ``removed`` (yes where oil was taken out),
        ``dip_before_mm``, ``dip_after_mm``, ``product``, ``price``, ``basis``, ``ticket``; other
        columns are not looked at.
    tz : str
        Zone of times without an offset, and of bare dates.
    decimal : str
        Decimal sign.

    Returns
    -------
    deliveries : Deliveries
        The good rows; none at all is no error.
    problems : tuple of Problem
        One or more for each row set aside, and for each optional cell that was refused.

    Raises
    ------
    DeliveriesError
        If the file is no table or lacks ``at`` or ``litres``.

    Notes
    -----
    A row is set aside for its time, its litres, oil that is no heating oil, or a ticket number seen
    before with other content. A ticket seen before with the same content counts once. A price is
    only checked.

    Examples
    --------
    >>> text = "at,litres,filled\n2024-01-10T10:30:00Z,900,yes\n2024-03-02,0,no\n"
    >>> deliveries, problems = parse_deliveries(text, tz="Europe/London")
    >>> deliveries.litres, str(problems[0])
    (array([900.]), "row 3, litres: give litres above zero (seen: '0')")
    """
    zone = zone_of(tz, error=DeliveriesError)
    table = parse_rows(data, error=DeliveriesError)
    require_columns(table, ("at", "litres"), error=DeliveriesError)
    problems = list(table.problems)
    kept: list[_Ticket] = []
    by_number: dict[str, tuple[_Ticket, int]] = {}
    for row in table.rows:
        found: list[Problem] = []
        ticket = _read_ticket(row, zone, decimal, found)
        if ticket is not None:
            number = row.cells.get("ticket", "") or f"\n{ticket.at} {ticket.litres} {ticket.removed}"
            first, first_row = by_number.setdefault(number, (ticket, row.number))
            if first_row == row.number:
                kept.append(ticket)
            else:
                found.append(_seen_before(row, first_row, same=first == ticket))
        problems += found
    kept.sort(key=lambda t: t.at)
    if not kept:
        return Deliveries.none(), _in_order(problems)
    deliveries = Deliveries(
        at=np.array([t.at for t in kept], dtype="datetime64[s]"),
        litres=np.array([t.litres for t in kept]),
        filled=np.array([t.filled for t in kept]),
        removed=np.array([t.removed for t in kept]),
        basis=np.array([t.basis for t in kept]),
        dip_before_mm=np.array([t.dip_before_mm for t in kept]),
        dip_after_mm=np.array([t.dip_after_mm for t in kept]),
    )
    return deliveries, _in_order(problems)


def parse_receipts(data: bytes | str, *, decimal: str = ".") -> tuple[Receipts, tuple[Problem, ...]]:
    r"""Read bills: ``date,litres``, optional ``filled``.

    Parameters
    ----------
    data : bytes or str
        Text table; other columns are not looked at.
    decimal : str
        Decimal sign.

    Returns
    -------
    receipts : Receipts
        The good rows.
    problems : tuple of Problem
        One or more for each row set aside, and for each ``filled`` that was refused.

    Raises
    ------
    DeliveriesError
        If the file is no table or lacks ``date`` or ``litres``.

    Examples
    --------
    >>> receipts, problems = parse_receipts("date;litres\n2023-10-02;1.000,5\n2023-02-01;500\n", decimal=",")
    >>> receipts.litres, [p.row for p in problems]
    (array([500.]), [2])
    """
    table = parse_rows(data, error=DeliveriesError)
    require_columns(table, ("date", "litres"), error=DeliveriesError)
    problems = list(table.problems)
    kept: list[tuple[np.datetime64, float, str]] = []
    for row in table.rows:
        cell = row.cells["date"]
        try:
            day = parse_date(cell)
            if not YEARS[0] <= day.year < YEARS[1]:
                raise ValueError(f"give a date from {YEARS[0]} to {YEARS[1] - 1}")
        except ValueError as bad:
            problems.append(Problem("not_a_date", "date", str(bad), cell, row.number))
            continue
        litres = _read_litres(row, decimal, problems)
        if litres is not None:
            kept.append((np.datetime64(day, "D"), litres, _read_word(row, "filled", FILLED, problems)))
    kept.sort(key=lambda r: r[0])
    if not kept:
        return Receipts.none(), _in_order(problems)
    date, billed, filled = zip(*kept, strict=True)
    return Receipts(np.array(date), np.array(billed), np.array(filled)), _in_order(problems)


def merge_receipts(deliveries: Deliveries, receipts: Receipts, *, tz: str) -> Deliveries:
    r"""Add the bills that no ticket is known of; a bill and a ticket of one day and litres count once.

    Parameters
    ----------
    deliveries : Deliveries
        Shape (k,).
    receipts : Receipts
        Each taken at noon of its day.
    tz : str
        Zone of the bills' days.

    Returns
    -------
    Deliveries

    Notes
    -----
    Two bills of one day stand for two deliveries; each ticket answers for one bill. Litres are the
    same when they differ by no more than 1 l, because bills are rounded.

    Examples
    --------
    >>> tickets, _ = parse_deliveries("at,litres\n2024-01-10T10:30:00Z,899.6\n", tz="Europe/London")
    >>> bills, _ = parse_receipts("date,litres\n2024-01-10,900\n2023-10-02,500\n")
    >>> merge_receipts(tickets, bills, tz="Europe/London").litres
    array([500. , 899.6])
    """
    zone = zone_of(tz, error=DeliveriesError)
    days = np.array([civil_date(to_datetime(at), zone) for at in deliveries.at], "datetime64[D]")
    free = ~deliveries.removed
    extra: list[int] = []
    for i, (date, litres) in enumerate(zip(receipts.date, receipts.litres, strict=True)):
        same = np.flatnonzero(free & (days == date) & (np.abs(deliveries.litres - litres) <= SAME_LITRES_L))
        if len(same):
            free[same[0]] = False
        else:
            extra.append(i)
    if not extra:
        return deliveries
    more = receipts.where(np.array(extra))
    n = len(more)
    nan = np.full(n, np.nan)
    noon = [_noon(d.astype(object).isoformat(), zone) for d in more.date]
    both = Deliveries(
        at=np.concatenate([deliveries.at, np.array([int(t.timestamp()) for t in noon], "datetime64[s]")]),
        litres=np.concatenate([deliveries.litres, more.litres]),
        filled=np.concatenate([deliveries.filled, more.filled]),
        removed=np.concatenate([deliveries.removed, np.zeros(n, bool)]),
        basis=np.concatenate([deliveries.basis, np.full(n, "unknown")]),
        dip_before_mm=np.concatenate([deliveries.dip_before_mm, nan]),
        dip_after_mm=np.concatenate([deliveries.dip_after_mm, nan]),
    )
    return both.where(np.argsort(both.at, kind="stable"))


def _read_ticket(row: Row, zone: ZoneInfo, decimal: str, found: list[Problem]) -> _Ticket | None:
    cell = row.cells["at"]
    at = None
    try:
        at = read_time(cell, zone=zone) if not _DATE.fullmatch(cell) else _noon(cell, zone)
    except RefusedTimeError as bad:
        found.append(Problem(bad.code, "at", str(bad), cell, row.number))
    litres = _read_litres(row, decimal, found)
    product = row.cells.get("product", "").lower()
    is_heating_oil = not product or product in FUELS
    if not is_heating_oil:
        mend = f"give one of {', '.join(FUELS)}; no other oil belongs into a heating tank"
        found.append(Problem("no_heating_oil", "product", mend, row.cells["product"], row.number))
    removed = _REMOVED.get(row.cells.get("removed", "").lower())
    if removed is None:
        mend = "give yes where oil was taken out, else no; in doubt the row is not counted"
        found.append(Problem("bad_word", "removed", mend, row.cells["removed"], row.number))
    _read_price(row, decimal, found)
    before, after = (_read_dip(row, field, decimal, found) for field in _DIPS)
    filled = _read_word(row, "filled", FILLED, found)
    basis = _read_word(row, "basis", BASES, found)
    if at is None or litres is None or removed is None or not is_heating_oil:
        return None
    return _Ticket(int(at.timestamp()), litres, filled, removed, basis, before, after)


def _noon(cell: str, zone: ZoneInfo) -> datetime:
    try:
        day = parse_date(cell)
    except ValueError as bad:
        raise RefusedTimeError("not_a_time", str(bad)) from None
    if not YEARS[0] <= day.year < YEARS[1]:
        raise RefusedTimeError("out_of_years", f"give a date from {YEARS[0]} to {YEARS[1] - 1}")
    return datetime.combine(day, DATE_ONLY_AT, zone).astimezone(UTC)


def _read_litres(row: Row, decimal: str, found: list[Problem]) -> float | None:
    cell = row.cells["litres"]
    try:
        litres = parse_number(cell, decimal=decimal)
    except ValueError as bad:
        found.append(Problem("not_a_number" if cell else "no_value", "litres", str(bad), cell, row.number))
        return None
    if litres < 0.0:
        mend = "give litres above zero; oil taken out is a row of its own with removed = yes"
        found.append(Problem("negative", "litres", mend, cell, row.number))
        return None
    if litres == 0.0:
        found.append(Problem("zero", "litres", "give litres above zero", cell, row.number))
        return None
    if litres > LARGEST_DELIVERY_L:
        mend = f"give at most {LARGEST_DELIVERY_L:,.0f} litres: no road tanker carries more"
        found.append(Problem("too_large", "litres", mend, cell, row.number))
        return None
    return litres


def _read_word(row: Row, field: str, words: tuple[str, ...], found: list[Problem]) -> str:
    cell = row.cells.get(field, "").lower()
    if cell in words:
        return cell
    if cell:
        mend = f"give one of {', '.join(words)}; taken as unknown"
        found.append(Problem("bad_word", field, mend, row.cells[field], row.number))
    return "unknown"


def _read_dip(row: Row, field: str, decimal: str, found: list[Problem]) -> float:
    cell = row.cells.get(field, "")
    if not cell:
        return np.nan
    try:
        dip_mm = parse_number(cell, decimal=decimal)
        if dip_mm < 0.0:
            raise ValueError("give a dip of zero or more")
    except ValueError as bad:
        mend = f"{bad}; the ticket was kept without it"
        found.append(Problem("bad_dip", field, mend, cell, row.number))
        return np.nan
    return dip_mm


def _read_price(row: Row, decimal: str, found: list[Problem]) -> None:
    cell = row.cells.get("price", "")
    if not cell:
        return
    try:
        if not 0.0 <= parse_number(cell, decimal=decimal) < 1e6:
            raise ValueError("give a price from 0 to below a million")
    except ValueError as bad:
        found.append(
            Problem("bad_price", "price", f"{bad}; the ticket was kept without it", cell, row.number)
        )


def _seen_before(row: Row, first_row: int, *, same: bool) -> Problem:
    seen = row.cells.get("ticket", "") or row.cells["at"]
    if same:
        return Problem(
            "ticket_twice", "ticket", f"nothing to do: counted once, in row {first_row}", seen, row.number
        )
    mend = f"keep one of the two: row {first_row} has this ticket with other content, and was kept"
    return Problem("conflict", "ticket", mend, seen, row.number)


def _in_order(problems: list[Problem]) -> tuple[Problem, ...]:
    return tuple(sorted(problems, key=lambda p: p.row or 0))
