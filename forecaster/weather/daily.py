"""The daily form: one row a civil day.

Flow     rows of ``date,temp_c[,tmin_c,tmax_c,ghi_wh_m2]`` -> **Weather**
"""

from datetime import date as civil_date

import numpy as np

from forecaster.errors import Problem, WeatherError
from forecaster.rows import Row, Table, parse_date, require_columns
from forecaster.weather import cells, gaps
from forecaster.weather.series import Dates, Floats, Kind, ParsedWeather, Weather

COLUMNS = ("date", "temp_c", "tmin_c", "tmax_c", "ghi_wh_m2")
"""Columns of the daily form that are used."""
YEARS = (1700, 2200)
"""A date outside these years is a slip of the pen. [yr]"""
STILL_DAYS = 7
"""A temperature that is exactly the same for so many days is pointed out. [d]"""
_DAY_ZERO = civil_date(1970, 1, 1).toordinal()


def read_daily(table: Table, *, kind: Kind, decimal: str) -> ParsedWeather:
    """Read the daily form; see :func:`forecaster.weather.parse_weather`.

    Raises
    ------
    WeatherError
        For missing columns, another unit, months of gaps, or no row that can be used.
    """
    midrange_of_extremes = "temp_c" not in table.columns and kind == "midrange"
    require_columns(
        table,
        ("date", "tmin_c", "tmax_c") if midrange_of_extremes else ("date", "temp_c"),
        error=WeatherError,
    )
    count = cells.Count(problems=list(table.problems))
    held: dict[int, tuple[float, ...]] = {}
    conflicts: set[int] = set()
    equal = 0
    numbers = [c for c in COLUMNS[1:] if c in table.columns]
    for row in table.rows:
        try:
            day = parse_date(row.cells["date"])
        except ValueError as bad:
            count.problems.append(Problem("not_a_date", "date", str(bad), row.cells["date"], row.number))
            continue
        if not YEARS[0] <= day.year < YEARS[1]:
            mend = f"give a year from {YEARS[0]} to {YEARS[1] - 1}"
            count.problems.append(Problem("year", "date", mend, row.cells["date"], row.number))
            continue
        values = _values(row, numbers, count, decimal=decimal)
        ordinal = day.toordinal() - _DAY_ZERO
        if ordinal not in held:
            held[ordinal] = values
        elif np.array_equal(held[ordinal], values, equal_nan=True):
            equal += 1
        else:
            conflicts.add(ordinal)
            mend = "give each day once: this day has another row with other values, and both are set aside"
            count.problems.append(Problem("day_twice", "date", mend, row.cells["date"], row.number))
    for ordinal in conflicts:
        del held[ordinal]
    used = np.array(list(held.values()), dtype=np.float64).reshape(-1, len(numbers))
    date = np.array(list(held), dtype=np.int64).astype("datetime64[D]")
    by_name: dict[str, Floats] = {c: used[:, i] for i, c in enumerate(numbers)}
    notes = []
    if equal:
        notes.append(f"{equal} repeated rows with equal values were dropped")
    ignored = [c for c in table.columns if c not in COLUMNS]
    if ignored:
        notes.append(f"columns not used: {', '.join(ignored)}")
    return finish(date, by_name, count, notes, kind=kind)


def finish(
    date: Dates, columns: dict[str, Floats], count: cells.Count, notes: list[str], *, kind: Kind
) -> ParsedWeather:
    """Make consecutive days of scattered ones: check units, fill short holes, report the rest.

    Raises
    ------
    WeatherError
        For another unit, months of gaps, or no day with a temperature.
    """
    nothing = np.full(date.size, np.nan)
    tmin, tmax = columns.get("tmin_c", nothing), columns.get("tmax_c", nothing)
    temp = columns["temp_c"] if "temp_c" in columns else (tmin + tmax) / 2.0
    cells.refuse_other_units(date, temp, count.outside_c)
    known = np.isfinite(temp)
    if not known.any():
        empty = Problem("no_rows", "file", "give at least one day with a temperature")
        raise WeatherError([*count.problems[: cells.SHOWN], empty])
    inside = (date >= date[known].min()) & (date <= date[known].max())
    ghi = cells.refuse_other_sun_units(date, columns.get("ghi_wh_m2", nothing), count)
    days, (temp, tmin, tmax, ghi) = gaps.spread_over_days(
        date[inside], [c[inside] for c in (temp, tmin, tmax, ghi)]
    )
    missing = np.isnan(temp)
    temp, set_aside = gaps.refuse_months_of_gaps(days, temp)
    count.problems += set_aside
    temp, filled = gaps.fill_short(temp, longest=gaps.FILLED_DAYS)
    if missing.any():
        notes.append(gaps.say_gaps(days, missing, "temperature"))
    if filled:
        notes.append(f"{filled} of them filled from the days before and after")
    if count.clipped_sun:
        notes.append(f"{count.clipped_sun} values of sun slightly below zero were set to 0")
    lost = np.isnan(ghi)
    if lost.any() and not lost.all():
        notes.append(gaps.say_gaps(days, lost, "sun"))
    notes += _oddities(days, temp, tmin, tmax, kind)
    count.problems.sort(key=lambda p: p.row or 0)
    return ParsedWeather(Weather(days, temp, tmin, tmax, ghi, kind), tuple(count.problems), tuple(notes))


def _values(row: Row, columns: list[str], count: cells.Count, *, decimal: str) -> tuple[float, ...]:
    values = []
    for column in columns:
        if column == "ghi_wh_m2":
            highest, offset = cells.HIGHEST_WH_M2, 24.0 * cells.ZERO_OFFSET_W_M2
            values.append(cells.sunshine(row, column, count, decimal=decimal, highest=highest, offset=offset))
        else:
            values.append(cells.temperature(row, column, count, decimal=decimal))
    if "tmin_c" in columns and "tmax_c" in columns:
        low, high = columns.index("tmin_c"), columns.index("tmax_c")
        if values[low] > values[high]:
            mend = "give a lowest temperature that is not above the highest; both are set aside"
            seen = f"{row.cells['tmin_c']} > {row.cells['tmax_c']}"
            count.problems.append(Problem("min_above_max", "tmin_c", mend, seen, row.number))
            values[low] = values[high] = np.nan
    return tuple(values)


def _oddities(date: Dates, temp: Floats, tmin: Floats, tmax: Floats, kind: Kind) -> list[str]:
    """Point out what is no error but may be a slip."""
    notes = []
    both = np.isfinite(tmin) & np.isfinite(tmax) & np.isfinite(temp)
    if kind == "mean" and both.sum() >= 30:
        apart = np.abs(temp - (tmin + tmax) / 2.0)[both]
        if apart.max() < 0.11:
            notes.append(
                "temp_c is half-way between tmin_c and tmax_c on every day: say so with --temp-kind midrange"
            )
    outside = both & ((temp < tmin - 2.0) | (temp > tmax + 2.0))
    if outside.any():
        notes.append(f"on {int(outside.sum())} days temp_c lies more than 2 degC outside tmin_c to tmax_c")
    for first, stop in gaps.holes(np.concatenate([[False], np.diff(temp) == 0.0])):
        if stop - first + 1 >= STILL_DAYS:
            span = f"{date[first - 1]} to {date[stop - 1]}"
            notes.append(
                f"the temperature is exactly the same on every day from {span}: is the station stuck?"
            )
            break
    return notes
