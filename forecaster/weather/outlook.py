"""A short-range forecast from a file: the latest issue that was known as of a moment.

Flow     rows of ``issued_at,date,temp_c[,ghi_wh_m2]`` -> **Outlook** -> spliced before weather years
"""

from datetime import UTC, date, datetime, timedelta, tzinfo
from zoneinfo import ZoneInfo

import numpy as np

from forecaster.errors import Problem, WeatherError
from forecaster.rows import Row, parse_date, parse_time, require_columns
from forecaster.weather import cells
from forecaster.weather.series import Outlook

COLUMNS = ("issued_at", "date", "temp_c", "ghi_wh_m2")
"""Columns of an outlook that are used."""
FRESH = timedelta(hours=24)
"""An issue older than this, as of the moment asked for, is no forecast any more."""
FURTHEST_DAYS = 16
"""Days further ahead are not used: the climate says as much (common practice, no source). [d]"""

Entry = tuple[float, float, Row]


def parse_outlook(
    data: bytes | str, *, as_of: datetime, tz: str | tzinfo, decimal: str = "."
) -> tuple[Outlook | None, tuple[Problem, ...], tuple[str, ...]]:
    r"""Read a short-range forecast: its latest issue, if it is fresh.

    Parameters
    ----------
    data
        The file. Several issues may stand in it; issues after ``as_of`` are not looked at.
    as_of
        The moment of knowledge, with its zone.
    tz
        Zone of the civil days.
    decimal
        The decimal sign, ``.`` or ``,``.

    Returns
    -------
    outlook : Outlook or None
        Consecutive days from the civil day of ``as_of`` (or the next) on; None where no issue is fresh.
    problems : tuple of Problem
        Bad rows; the good ones are kept.
    notes : tuple of str
        Why there is no outlook, or where it was cut.

    Raises
    ------
    WeatherError
        For a file that is no such table.

    Examples
    --------
    >>> text = "issued_at,date,temp_c\n2024-01-10T06:00Z,2024-01-10,3\n2024-01-10T06:00Z,2024-01-11,4.5\n"
    >>> outlook, _, _ = parse_outlook(text, as_of=datetime(2024, 1, 10, 9, tzinfo=UTC), tz="UTC")
    >>> outlook.temp_c
    array([3. , 4.5])
    >>> parse_outlook(text, as_of=datetime(2024, 1, 12, 9, tzinfo=UTC), tz="UTC")[2]
    ('the outlook of 2024-01-10 06:00 UTC is older than 24 hours: not used',)
    """
    zone = ZoneInfo(tz) if isinstance(tz, str) else tz
    table = cells.read_table(data)
    require_columns(table, COLUMNS[:3], error=WeatherError)
    count = cells.Count(problems=list(table.problems))
    issues: dict[datetime, dict[date, Entry]] = {}
    for row in table.rows:
        _keep(row, issues, count, decimal=decimal, sun="ghi_wh_m2" in table.columns)
    entries = [(day, value[0]) for held in issues.values() for day, value in held.items()]
    cells.refuse_other_units(
        np.array([d for d, _ in entries], dtype="datetime64[D]"),
        np.array([t for _, t in entries]),
        count.outside_c,
    )
    problems = tuple(count.problems)
    known = [at for at in issues if at <= as_of]
    if not known:
        later = f"; {len(issues)} issued later were not looked at" if issues else ""
        return None, problems, (f"no outlook issued by {as_of.astimezone(UTC):%Y-%m-%d %H:%M} UTC{later}",)
    issued = max(known)
    if as_of - issued > FRESH:
        return (
            None,
            problems,
            (f"the outlook of {issued:%Y-%m-%d %H:%M} UTC is older than 24 hours: not used",),
        )
    return (*_consecutive(issued, issues[issued], as_of.astimezone(zone).date(), problems),)


def _keep(
    row: Row, issues: dict[datetime, dict[date, Entry]], count: cells.Count, *, decimal: str, sun: bool
) -> None:
    try:
        issued = parse_time(row.cells["issued_at"])
    except ValueError as bad:
        count.problems.append(
            Problem("not_a_time", "issued_at", str(bad), row.cells["issued_at"], row.number)
        )
        return
    try:
        day = parse_date(row.cells["date"])
    except ValueError as bad:
        count.problems.append(Problem("not_a_date", "date", str(bad), row.cells["date"], row.number))
        return
    temp = cells.temperature(row, "temp_c", count, decimal=decimal)
    ghi = np.nan
    if sun:
        offset = 24.0 * cells.ZERO_OFFSET_W_M2
        ghi = cells.sunshine(
            row, "ghi_wh_m2", count, decimal=decimal, highest=cells.HIGHEST_WH_M2, offset=offset
        )
    held = issues.setdefault(issued, {})
    if day in held and not np.array_equal(held[day][:2], (temp, ghi), equal_nan=True):
        mend = (
            "give each day of an issue once: this day has another row with other values, and it is set aside"
        )
        count.problems.append(Problem("day_twice", "date", mend, row.cells["date"], row.number))
        temp = np.nan
    held[day] = (temp, ghi, row)


def _consecutive(
    issued: datetime, held: dict[date, Entry], today: date, problems: tuple[Problem, ...]
) -> tuple[Outlook | None, tuple[Problem, ...], tuple[str, ...]]:
    """Keep the days ahead, from today or tomorrow on, up to the first that is missing."""
    ahead = {d: v for d, v in held.items() if d >= today and np.isfinite(v[0])}
    first = next((today + timedelta(days=i) for i in (0, 1) if today + timedelta(days=i) in ahead), None)
    if first is None:
        return None, problems, (f"the outlook of {issued:%Y-%m-%d %H:%M} UTC does not begin today: not used",)
    days: list[date] = []
    while first + timedelta(days=len(days)) in ahead and len(days) < FURTHEST_DAYS:
        days.append(first + timedelta(days=len(days)))
    dropped = sum(d > days[-1] for d in ahead)
    notes = (f"{dropped} days of the outlook after {days[-1]} were not used",) if dropped else ()
    outlook = Outlook(
        issued,
        np.array(days, dtype="datetime64[D]"),
        np.array([ahead[d][0] for d in days]),
        np.array([ahead[d][1] for d in days]),
    )
    return outlook, problems, notes
