"""The hourly form: instants to civil days, which have 23, 24 or 25 hours.

Flow     rows of ``at,temp_c[,ghi_w_m2]`` -> a regular grid of steps -> **civil days** -> Weather
Formula  temp_c = mean of the day's steps;  ghi_wh_m2 = mean of the day's steps x hours of the day
"""

from datetime import UTC, datetime, timedelta, tzinfo
from functools import lru_cache
from typing import Literal

import numpy as np

from forecaster.errors import Problem, WeatherError
from forecaster.rows import Table, parse_date, parse_time, require_columns
from forecaster.weather import cells, gaps
from forecaster.weather.daily import finish
from forecaster.weather.series import Dates, Floats, Ints, ParsedWeather

COLUMNS = ("at", "temp_c", "ghi_w_m2")
"""Columns of the hourly form that are used."""
Stamp = Literal["start", "end"]
PRESENT_SHARE = 0.9
"""A day with a smaller share of its hours is a gap (common practice, no source)."""
FILLED_SECONDS = 3 * 3600
"""A hole up to so long is filled from its neighbours. [s]"""
STEP_SECONDS = (60, 3 * 3600)
"""Shortest and longest time step. [s]"""
MIXED_SHARE = 0.2
"""More steps than this of another length: the file mixes time steps."""
NIGHT_SUN_W_M2 = 50.0
"""More sun than this between 23:00 and 02:00 comes from a wrong zone or unit. [W/m2]"""
_DAY_ZERO = datetime(1970, 1, 1, tzinfo=UTC).toordinal()


def read_hourly(table: Table, *, zone: tzinfo, decimal: str, stamp: Stamp) -> ParsedWeather:
    """Read the hourly form; see :func:`forecaster.weather.parse_weather`.

    Raises
    ------
    WeatherError
        For missing columns, mixed or too coarse time steps, sun at night, and what
        :func:`forecaster.weather.daily.finish` refuses.
    """
    require_columns(table, ("at", "temp_c"), error=WeatherError)
    count = cells.Count(problems=list(table.problems))
    sun = "ghi_w_m2" in table.columns
    held: dict[int, tuple[float, float]] = {}
    row_of: dict[int, int] = {}
    conflicts: set[int] = set()
    equal = 0
    tails: dict[str, int] = {}
    for row in table.rows:
        try:
            at = _instant(row.cells["at"], tails)
        except ValueError as bad:
            count.problems.append(Problem("not_a_time", "at", str(bad), row.cells["at"], row.number))
            continue
        temp = cells.temperature(row, "temp_c", count, decimal=decimal)
        ghi = np.nan
        if sun:
            offset, highest = cells.ZERO_OFFSET_W_M2, cells.HIGHEST_W_M2
            ghi = cells.sunshine(row, "ghi_w_m2", count, decimal=decimal, highest=highest, offset=offset)
        if at not in held:
            held[at], row_of[at] = (temp, ghi), row.number
        elif _same(held[at], (temp, ghi)):
            equal += 1
        else:
            conflicts.add(at)
            mend = "give each hour once: this hour has another row with other values, and both are set aside"
            count.problems.append(Problem("hour_twice", "at", mend, row.cells["at"], row.number))
    for at in conflicts:
        del held[at]
    if not held:
        empty = Problem("no_rows", "file", "give at least one hour with a temperature")
        raise WeatherError([*count.problems[: cells.SHOWN], empty])
    order = sorted(held)
    at_s = np.array(order, dtype=np.int64)
    values = np.array([held[a] for a in order])
    notes = [f"{equal} repeated rows with equal values were dropped"] if equal else []
    ignored = [c for c in table.columns if c not in COLUMNS]
    if ignored:
        notes.append(f"columns not used: {', '.join(ignored)}")
    rows = np.array([row_of[a] for a in order], dtype=np.int64)
    return to_civil_days(
        at_s, values[:, 0], values[:, 1], zone=zone, stamp=stamp, count=count, notes=notes, rows=rows
    )


def to_civil_days(
    at_s: Ints,
    temp_c: Floats,
    ghi_w_m2: Floats,
    *,
    zone: tzinfo,
    stamp: Stamp,
    count: cells.Count,
    notes: list[str],
    rows: Ints | None = None,
) -> ParsedWeather:
    """Average a regular series over the civil days of a zone.

    Parameters
    ----------
    at_s : int array, shape (row,)
        Instants, rising and distinct. [s since 1970-01-01 UTC]
    temp_c, ghi_w_m2 : float array, shape (row,)
        Temperature and sun on the horizontal; nan where missing. [degC, W/m2]
    zone
        Whose midnights part the days.
    stamp
        Whether an instant stands at the start or at the end of the time it speaks of.
    count, notes
        What was met so far; added to.
    rows
        Row number of each value, for naming it.

    Returns
    -------
    ParsedWeather
        Days with less than 90 % of their steps are gaps; incomplete days at either end are left out.

    Raises
    ------
    WeatherError
        As :func:`read_hourly`.
    """
    step = _step(at_s)
    start_s = at_s - step if stamp == "end" else at_s
    index = np.round((start_s - start_s[0]) / step).astype(np.int64)
    if index[-1] > 10_000_000:
        raise WeatherError(
            Problem("too_long", "at", "split the file: its first and last time lie too far apart")
        )
    grid_temp, grid_ghi = np.full(index[-1] + 1, np.nan), np.full(index[-1] + 1, np.nan)
    grid_temp[index], grid_ghi[index] = temp_c, ghi_w_m2
    grid_s = start_s[0] + step * np.arange(grid_temp.size)

    days, midnight_s = _midnights(int(grid_s[0]), int(grid_s[-1] + step), zone)
    day = np.searchsorted(midnight_s, grid_s, side="right") - 1
    _refuse_sun_at_night(grid_s - midnight_s[day], grid_ghi, count, index, rows)

    longest = int(FILLED_SECONDS // step)
    grid_temp, filled = gaps.fill_short(grid_temp, longest=longest)
    grid_ghi, _ = gaps.fill_short(grid_ghi, longest=longest)
    if filled:
        notes.append(
            f"{filled} missing time steps, in holes of up to 3 hours, were filled from their neighbours"
        )
    hours = np.diff(midnight_s) / 3600.0
    expected = hours * 3600.0 / step
    temp, present = _daily_mean(grid_temp, day, days.size)
    ghi, sunny = _daily_mean(grid_ghi, day, days.size)
    temp[present < PRESENT_SHARE * expected - 1e-9] = np.nan
    ghi[sunny < PRESENT_SHARE * expected - 1e-9] = np.nan
    whole = np.flatnonzero(np.isfinite(temp))
    if whole.size and (whole[0] > 0 or whole[-1] < days.size - 1):
        notes.append("incomplete days at either end of the file were left out")
    low, high = _daily_extremes(grid_temp, day, days.size)
    low[np.isnan(temp)] = high[np.isnan(temp)] = np.nan
    columns = {"temp_c": temp, "tmin_c": low, "tmax_c": high, "ghi_wh_m2": ghi * hours}
    return finish(days, columns, count, notes, kind="mean")


def _same(one: tuple[float, ...], other: tuple[float, ...]) -> bool:
    return bool(np.array_equal(one, other, equal_nan=True))


def _instant(cell: str, tails: dict[str, int]) -> int:
    """Read a time; the part after the day, which repeats every day, is remembered. [s since 1970]"""
    midnight = _midnight(cell[:10])
    if midnight is not None and cell[10:] in tails:
        return midnight + tails[cell[10:]]
    if cell[10:13].upper() in ("T24", " 24"):
        raise ValueError("give midnight as 00:00 of the next day, not as 24:00")
    try:
        at = int(parse_time(cell).timestamp())
        if midnight is not None:
            tails[cell[10:]] = at - midnight
        return at
    except ValueError as bad:
        if "offset" in str(bad) and "time zone" in str(bad):
            raise ValueError(
                "add the offset from UTC, such as Z or +01:00: local times are ambiguous"
            ) from None
        raise


@lru_cache(maxsize=4)
def _midnight(day: str) -> int | None:
    try:
        return (parse_date(day).toordinal() - _DAY_ZERO) * 86_400
    except ValueError:
        return None


def _step(at_s: Ints) -> int:
    if at_s.size < 2:
        raise WeatherError(Problem("no_rows", "file", "give at least one whole day of hours"))
    lengths, times = np.unique(np.diff(at_s), return_counts=True)
    step = int(lengths[times.argmax()])
    if not STEP_SECONDS[0] <= step <= STEP_SECONDS[1]:
        raise WeatherError(
            Problem(
                "time_step", "at", "give a row at least every 3 hours, or the daily form with a column date"
            )
        )
    if times.max() < (1.0 - MIXED_SHARE) * times.sum():
        raise WeatherError(
            Problem(
                "mixed_steps", "at", "give one time step throughout the file", f"mostly {step / 60:g} minutes"
            )
        )
    return step


def _midnights(first_s: int, stop_s: int, zone: tzinfo) -> tuple[Dates, Ints]:
    """Civil days touched by a stretch of time, and their limits. [s since 1970-01-01 UTC]"""
    epoch = datetime(1970, 1, 1, tzinfo=zone).date()
    first = datetime.fromtimestamp(first_s, zone).date()
    last = datetime.fromtimestamp(stop_s - 1, zone).date()
    civil = [first + timedelta(days=i) for i in range((last - first).days + 2)]
    limits = [datetime(d.year, d.month, d.day, tzinfo=zone).timestamp() for d in civil]
    days = np.array([(d - epoch).days for d in civil[:-1]], dtype=np.int64).astype("datetime64[D]")
    return days, np.array(limits, dtype=np.int64)


def _refuse_sun_at_night(
    into_day_s: Floats,
    ghi: Floats,
    count: cells.Count,
    index: Ints,
    rows: Ints | None,
) -> None:
    night = ((into_day_s < 2 * 3600) | (into_day_s >= 23 * 3600)) & np.isfinite(ghi)
    bright = night & (ghi > NIGHT_SUN_W_M2)
    if not bright.any():
        return
    if bright.sum() >= 3 and bright.sum() > 0.05 * night.sum():
        mend = "check the offset of the times: there is sun between 23:00 and 02:00 of the stated time zone"
        raise WeatherError(Problem("sun_at_night", "ghi_w_m2", mend, f"{int(bright.sum())} rows"))
    row_at = dict(zip(index.tolist(), rows.tolist(), strict=True)) if rows is not None else {}
    for i in np.flatnonzero(bright).tolist():
        mend = "give no sun at night; the value is set aside"
        count.problems.append(Problem("sun_at_night", "ghi_w_m2", mend, f"{ghi[i]:g}", row_at.get(i)))
    ghi[bright] = np.nan


def _daily_mean(values: Floats, day: Ints, days: int) -> tuple[Floats, Floats]:
    known = np.isfinite(values)
    number = np.bincount(day[known], minlength=days).astype(np.float64)
    total = np.bincount(day[known], values[known], minlength=days)
    return np.divide(total, number, out=np.full(days, np.nan), where=number > 0), number


def _daily_extremes(values: Floats, day: Ints, days: int) -> tuple[Floats, Floats]:
    known = np.isfinite(values)
    low, high = np.full(days, np.inf), np.full(days, -np.inf)
    np.minimum.at(low, day[known], values[known])
    np.maximum.at(high, day[known], values[known])
    return low, high
