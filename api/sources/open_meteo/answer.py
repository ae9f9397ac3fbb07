"""The service's answer to daily weather, or why it cannot be used.

Flow     JSON -> hours -> forecaster.weather, which judges them as a file's -> **Weather**
"""

import json
import math
from datetime import UTC, datetime
from itertools import pairwise
from typing import TYPE_CHECKING, Any

from api.sources.open_meteo.trouble import WeatherServiceError
from forecaster.errors import WeatherError

if TYPE_CHECKING:
    from forecaster.weather import Weather

UNITS = {"time": "unixtime", "temperature_2m": "°C", "shortwave_radiation": "W/m²"}
"""What the quantities must come in."""
HOUR_S = 3600
MOST_HOURS = 24 * 120
"""More than was ever asked for. [h]"""
STILL_HOURS = 48
"""So many equal temperatures in a row are no weather. Assumption. [h]"""


def read_answer(data: bytes, *, zone: str) -> "Weather":
    """Read an answer as daily weather over the civil days of a zone.

    Parameters
    ----------
    data
        The body.
    zone
        Where the tank stands, such as Europe/London.

    Returns
    -------
    Weather
        Days past and ahead; a day with too few hours is a gap.

    Raises
    ------
    WeatherServiceError
        For anything that is not the documented answer with believable values.
    """
    from forecaster.weather import parse_weather

    hours = _hours(data)
    lines = ["at,temp_c,ghi_w_m2"]
    lines += [
        f"{datetime.fromtimestamp(at, UTC):%Y-%m-%dT%H:%M:%SZ},{_cell(temp_c)},{_cell(ghi)}"
        for at, temp_c, ghi in hours
    ]
    try:
        weather = parse_weather("\n".join(lines), tz=zone).weather
    except WeatherError as bad:
        raise WeatherServiceError(f"not_believed_{bad.problems[-1].code}") from None
    _require_motion([temp_c for _, temp_c, _ in hours])
    return weather


def _hours(data: bytes) -> list[tuple[int, float | None, float | None]]:
    """Take the hours out: start of the hour, temperature then, mean sun in it."""
    try:
        value = json.loads(data.decode("utf-8"))
    except (ValueError, RecursionError):  # a page of HTML, half an answer, another encoding
        raise WeatherServiceError("not_json") from None
    if not isinstance(value, dict) or value.get("error"):
        raise WeatherServiceError("refused" if isinstance(value, dict) else "not_as_documented")
    hourly, units = value.get("hourly"), value.get("hourly_units")
    if not isinstance(hourly, dict) or not isinstance(units, dict):
        raise WeatherServiceError("not_as_documented")
    if any(units.get(name) != unit for name, unit in UNITS.items()):
        raise WeatherServiceError("units")
    at, temp_c, ghi = (_column(hourly.get(name)) for name in UNITS)
    if not len(at) == len(temp_c) == len(ghi) or not 0 < len(at) <= MOST_HOURS:
        raise WeatherServiceError("not_as_documented")
    starts = [_instant(t) for t in at]
    if any(b - a != HOUR_S for a, b in pairwise(starts)):
        raise WeatherServiceError("not_as_documented")
    # the sun of an hour is told at its end: it belongs to the hour before
    return list(zip(starts, temp_c, [*ghi[1:], None], strict=True))


def _column(values: Any) -> list[float | None]:
    if not isinstance(values, list):
        raise WeatherServiceError("not_as_documented")
    for value in values:
        is_number = isinstance(value, int | float) and not isinstance(value, bool)
        if value is not None and not (is_number and abs(value) < 1e12 and math.isfinite(value)):
            raise WeatherServiceError("not_as_documented")
    return values


def _instant(value: float | None) -> int:
    if value is None or value != int(value) or not 0 <= value < 4_102_444_800:  # 2100
        raise WeatherServiceError("not_as_documented")
    return int(value)


def _cell(value: float | None) -> str:
    return "" if value is None else repr(float(value))


def _require_motion(temp_c: list[float | None]) -> None:
    run, last = 0, None
    for value in temp_c:
        run = run + 1 if value is not None and value == last else 1
        last = value
        if run >= STILL_HOURS:
            raise WeatherServiceError("stands_still")
