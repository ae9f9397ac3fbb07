"""Weather formats of other makers, read by pvlib and put on civil days.

Flow     EPW or TMY3 text -> pvlib's reader -> hours -> **Weather**
Source   EnergyPlus weather file: EnergyPlus documentation, Auxiliary Programs; TMY3: Wilcox and
         Marion, NREL/TP-581-43156 (2008); both as read by pvlib.
"""

import io
from collections.abc import Callable
from datetime import UTC, timedelta, timezone
from typing import Any

import numpy as np

from forecaster.errors import Problem, WeatherError
from forecaster.rows import decode
from forecaster.weather import cells
from forecaster.weather.hourly import Stamp, to_civil_days
from forecaster.weather.series import ParsedWeather

TYPICAL_YEAR = 2001
"""Year put on a typical year, whose months come from different years; it has no 29 February. [yr]"""

Reader = Callable[[io.StringIO, int | None], tuple[Any, dict[str, Any]]]
"""Text and the year to put on it -> table of hours with a zoned index, and the site."""


def parse_epw(data: bytes | str) -> ParsedWeather:
    """Read an EnergyPlus weather file (EPW).

    Returns
    -------
    ParsedWeather
        Civil days of the file's own standard time. A typical year, made of months of different
        years, is written as the year 2001 and a note says so.

    Raises
    ------
    WeatherError
        For a file that pvlib cannot read as EPW, and for what the hourly form refuses.
    """
    return _read(data, _epw_frame, "EPW", stamp="start")


def parse_tmy3(data: bytes | str) -> ParsedWeather:
    """Read a typical year in the TMY3 layout, stamped at the ends of hours; as :func:`parse_epw`."""
    return _read(data, _tmy3_frame, "TMY3", stamp="end")


def _epw_frame(text: io.StringIO, year: int | None) -> tuple[Any, dict[str, Any]]:
    from pvlib.iotools import read_epw

    frame, meta = read_epw(text, coerce_year=year)
    return frame, meta


def _tmy3_frame(text: io.StringIO, year: int | None) -> tuple[Any, dict[str, Any]]:
    from pvlib.iotools import read_tmy3

    frame, meta = read_tmy3(text, coerce_year=year, map_variables=True)
    return frame, meta


def _read(data: bytes | str, reader: Reader, name: str, *, stamp: Stamp) -> ParsedWeather:
    if len(data) > cells.MAX_BYTES:
        raise WeatherError(
            Problem("too_large", "file", f"give one year of hours; this is too large for {name}")
        )
    text = decode(data, error=WeatherError)
    try:
        frame, meta = reader(io.StringIO(text), None)
        notes = [f"read as {name}, {_site(meta)}"]
        if frame.index.year.nunique() > 1 and len(frame) <= 8784:
            frame, meta = reader(io.StringIO(text), TYPICAL_YEAR)
            notes.append(f"a typical year of months of different years, written as {TYPICAL_YEAR}")
        at_s = (frame.index.tz_convert(UTC).tz_localize(None).as_unit("s").to_numpy()).astype(np.int64)
        temp = frame["temp_air"].to_numpy(dtype=np.float64)
        ghi = frame["ghi"].to_numpy(dtype=np.float64)
        zone = timezone(timedelta(hours=float(meta["TZ"])))
    except Exception as bad:  # pvlib names no exceptions of its own: whatever it raises, the file is not one
        mend = f"give a complete {name} file: pvlib could not read this one ({type(bad).__name__})"
        raise WeatherError(Problem("not_" + name.lower(), "file", mend)) from None
    order = np.argsort(at_s, kind="stable")
    if np.any(np.diff(at_s[order]) == 0):
        raise WeatherError(Problem("hour_twice", "file", f"give each hour of the {name} file once"))
    # 99.9 and 9999 mark missing values
    temp = np.where((temp < cells.LOWEST_C) | (temp > cells.HIGHEST_C), np.nan, temp)
    ghi = np.where((ghi < 0.0) | (ghi > cells.HIGHEST_W_M2), np.nan, ghi)
    count = cells.Count()
    return to_civil_days(
        at_s[order], temp[order], ghi[order], zone=zone, stamp=stamp, count=count, notes=notes
    )


def _site(meta: dict[str, Any]) -> str:
    where = str(meta.get("city") or meta.get("Name") or "no name").strip().strip('"')
    north, east, height = (float(meta[k]) for k in ("latitude", "longitude", "altitude"))
    return f"{where} at {north:g} N, {east:g} E, {height:g} m"
