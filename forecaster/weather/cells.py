"""Cells of a weather file: numbers, marks for a missing value, and values no thermometer shows.

Flow     text table -> **cells** -> daily or hourly series
Source   limits: lowest and highest air temperature where oil is burned, rounded outwards (common
         practice, no source); 1,500 W/m2 and its 13,200 Wh/m2 a day are above the sun's strength
         outside the atmosphere at any latitude, cloud-edge peaks included.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from forecaster.errors import Problem, WeatherError
from forecaster.rows import Row, Table, decode, parse_number, parse_rows
from forecaster.weather.series import Dates, Floats

LOWEST_C, HIGHEST_C = -60.0, 55.0
"""Air temperatures outside this are no air temperatures. [degC]"""
MONTH_HIGHEST_C = 36.0
"""No month anywhere that is heated has a higher mean. [degC]"""
WINTER_HIGHEST_C = 18.0
"""No December, January or February that is heated has a higher mean (northern half of the earth). [degC]"""
HIGHEST_WH_M2 = 13_200.0
"""More sun than this reaches no horizontal square metre in a day. [Wh/m2]"""
HIGHEST_W_M2 = 1_500.0
"""More sun than this is a fault of the sensor or of the unit. [W/m2]"""
ZERO_OFFSET_W_M2 = 20.0
"""A radiation sensor may show so much below zero at night; it is set to nothing and counted. [W/m2]"""
MAX_BYTES = 6 * 1024 * 1024
"""A larger weather file is refused: 20 years of hours, or three centuries of days, fit. [bytes]"""
SHOWN = 20
"""So many problems of one refused file are shown. [problems]"""

_MISSING_WORDS = frozenset({"", "m", "na", "n/a", "nan", "null", "none", "-", "--", "missing"})
_MISSING_NUMBERS = frozenset(
    {-99.0, -99.9, -99.99, -999.0, -999.9, -999.99, -9999.0, -9999.9, -99999.0}
    | {99.0, 99.9, 99.99, 999.0, 999.9, 999.99, 9999.0, 9999.9, 99999.0, -32768.0, -2147483648.0}
)
_MAGIC = (
    (b"PK\x03\x04", "a zip archive or spreadsheet"),
    (b"\x1f\x8b", "a gzip archive"),
    (b"\x93NUMPY", "a NumPy array"),
    (b"PAR1", "a Parquet file"),
    (b"SQLite format 3", "a database"),
    (b"%PDF", "a PDF"),
    (b"\x89HDF", "an HDF5 file"),
    (b"CDF", "a NetCDF file"),
    (b"\x80", "a Python pickle"),
)


@dataclass(slots=True)
class Count:
    """What was met while reading: problems by row, and how many values were passed over or mended.

    ``good`` remembers cells by column that read as a value without fault: weather to a tenth of a
    degree has a few hundred different cells in a century of rows.
    """

    problems: list[Problem] = field(default_factory=list)
    outside_c: list[float] = field(default_factory=list)
    clipped_sun: int = 0
    good: dict[str, dict[str, float]] = field(default_factory=dict)


def read_table(data: bytes | str) -> Table:
    """Read a weather file as a text table, or say what kind of file it is instead.

    Nothing but text is ever loaded: no pickle, array, archive or mark-up is opened.

    Raises
    ------
    WeatherError
        For an oversize file, a binary format, a web page or mark-up, and for what
        :func:`forecaster.rows.parse_rows` refuses.
    """
    if isinstance(data, bytes):
        if len(data) > MAX_BYTES:
            raise WeatherError(
                Problem(
                    "too_large",
                    "file",
                    f"split it: at most {MAX_BYTES // 2**20} MiB of weather are read at once",
                )
            )
        for magic, name in _MAGIC:
            if data.startswith(magic):
                raise WeatherError(
                    Problem(
                        "not_text", "file", f"give a plain text table (CSV); this is {name} and is not opened"
                    )
                )
    text = decode(data, error=WeatherError)
    first = text.lstrip()[:1]
    if first == "<":
        raise WeatherError(
            Problem(
                "web_page",
                "file",
                "fetch it again: this is a web page or mark-up, not a weather table",
                text.strip(),
            )
        )
    if first in ("{", "["):
        raise WeatherError(
            Problem("not_a_table", "file", "give a CSV table with a header line, not JSON", text.strip())
        )
    return parse_rows(text, error=WeatherError)


def temperature(row: Row, column: str, count: Count, *, decimal: str) -> float:
    """Read one temperature: nan for a mark of absence; nan and a problem for no temperature. [degC]"""
    good = count.good.setdefault(column, {})
    cell = row.cells[column]
    if cell in good:
        return good[cell]
    value = _number(row, column, count, decimal=decimal)
    if LOWEST_C <= value <= HIGHEST_C:
        good[cell] = value
        return value
    if np.isnan(value) or value in _MISSING_NUMBERS:
        return np.nan
    count.outside_c.append(value)
    mend = f"give a temperature from {LOWEST_C:g} to {HIGHEST_C:g} degC, or leave it empty"
    count.problems.append(Problem("temperature_range", column, mend, cell, row.number))
    return np.nan


def sunshine(row: Row, column: str, count: Count, *, decimal: str, highest: float, offset: float) -> float:
    """Read one irradiance or daily irradiation; slightly negative is set to nothing and counted."""
    good = count.good.setdefault(column, {})
    cell = row.cells[column]
    if cell in good:
        return good[cell]
    value = _number(row, column, count, decimal=decimal)
    if 0.0 <= value <= highest:
        good[cell] = value
        return value
    if np.isnan(value) or value in _MISSING_NUMBERS:
        return np.nan
    if -offset <= value < 0.0:
        count.clipped_sun += 1
        return 0.0
    mend = f"give 0 to {highest:,.0f} {'W/m2' if column == 'ghi_w_m2' else 'Wh/m2'}, or leave it empty"
    count.problems.append(Problem("sun_range", column, mend, cell, row.number))
    return np.nan


def _number(row: Row, column: str, count: Count, *, decimal: str) -> float:
    cell = row.cells[column]
    if cell.lower() in _MISSING_WORDS:
        return np.nan
    try:
        return parse_number(cell, decimal=decimal)
    except ValueError as bad:
        count.problems.append(Problem("not_a_number", column, str(bad), cell, row.number))
        return np.nan


def refuse_other_units(date: Dates, temp_c: Floats, outside_c: Sequence[float]) -> None:
    """Refuse temperatures that are in another unit: each value may pass, but not their months.

    Raises
    ------
    WeatherError
        When a tenth of the values are no air temperatures, a month's mean is above 36 degC, or a
        short file's winter month is above 18 degC.
    """
    known = np.isfinite(temp_c)
    values = np.concatenate([temp_c[known], np.asarray(outside_c, dtype=np.float64)])
    suspect = len(outside_c) >= 3 and len(outside_c) > 0.1 * values.size
    month = date[known].astype("datetime64[M]")
    if month.size:
        each, index = np.unique(month, return_inverse=True)
        days = np.bincount(index)
        mean = np.bincount(index, temp_c[known]) / days
        winter = np.isin(each.astype(np.int64) % 12, (11, 0, 1))
        hot = mean > np.where(winter & (month.size < 300), WINTER_HIGHEST_C, MONTH_HIGHEST_C)
        suspect = suspect or bool(np.any(hot & (days >= 5)))
    if suspect:
        raise WeatherError(
            Problem(
                "temperature_unit",
                "temp_c",
                f"give degrees Celsius: half of the values are above {np.median(values):.4g}, "
                f"which looks like {_likely_unit(values)}",
            )
        )


def _likely_unit(values: Floats) -> str:
    middle = float(np.median(values))
    if 230.0 <= middle <= 320.0 and np.ptp(values) < 120.0:
        return "kelvin"
    if np.ptp(values) > 150.0 or float(np.median(np.abs(values))) > 100.0:
        return "tenths of a degree"
    return "degrees Fahrenheit"


def refuse_other_sun_units(date: Dates, ghi_wh_m2: Floats, count: Count) -> Floats:
    """Set a column of sun aside whose summer is too dark to be Wh/m2 a day, with a problem."""
    summer = np.isin(date.astype("datetime64[M]").astype(np.int64) % 12, range(3, 9)) & np.isfinite(ghi_wh_m2)
    if summer.sum() < 10 or np.median(ghi_wh_m2[summer]) >= 500.0:
        return ghi_wh_m2
    mend = (
        "give the day's sum in Wh/m2 (kWh/m2 x 1000, MJ/m2 x 277.8, mean W/m2 x 24); the column is set aside"
    )
    seen = f"April to September median {np.median(ghi_wh_m2[summer]):.4g}"
    count.problems.append(Problem("sun_unit", "ghi_wh_m2", mend, seen))
    return np.full(ghi_wh_m2.size, np.nan)
