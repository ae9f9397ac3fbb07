r"""Weather from files: what is known of each civil day, and what is not.

Flow     weather, long record or outlook file -> **Weather, Outlook** -> degree-days, burn model, years
Source   forms of our own, in README; EPW and TMY3 through pvlib's readers
"""

from datetime import tzinfo
from zoneinfo import ZoneInfo

from forecaster.errors import Problem, WeatherError
from forecaster.weather.cells import read_table
from forecaster.weather.daily import read_daily
from forecaster.weather.formats import parse_epw, parse_tmy3
from forecaster.weather.hourly import Stamp, read_hourly
from forecaster.weather.outlook import parse_outlook
from forecaster.weather.series import Kind, Outlook, ParsedWeather, Weather

__all__ = [
    "Kind",
    "Outlook",
    "ParsedWeather",
    "Weather",
    "parse_epw",
    "parse_outlook",
    "parse_tmy3",
    "parse_weather",
]

_EPW_START = "LOCATION,"


def parse_weather(
    data: bytes | str,
    *,
    kind: Kind = "mean",
    tz: str | tzinfo = "UTC",
    decimal: str = ".",
    stamp: Stamp = "start",
) -> ParsedWeather:
    r"""Read past weather: the daily form, the hourly form, or EPW.

    Parameters
    ----------
    data
        The file: a table with ``date,temp_c[,tmin_c,tmax_c,ghi_wh_m2]``, or
        ``at,temp_c[,ghi_w_m2]``, separated by comma, semicolon or tab; or an EPW file.
    kind
        What ``temp_c`` of the daily form is: the day's mean, or half-way between its extremes. With
        ``midrange`` and no column ``temp_c`` it is worked out from ``tmin_c`` and ``tmax_c``.
    tz
        Zone whose civil days the hourly form is averaged over.
    decimal
        The decimal sign, ``.`` or ``,``.
    stamp
        Whether ``at`` stands at the start or at the end of the hour it speaks of.

    Returns
    -------
    ParsedWeather
        Consecutive civil days. A hole of one day, or of up to 3 hours, is filled from its
        neighbours and counted; a longer one is nan and named in ``notes``.

    Raises
    ------
    WeatherError
        For a file that is no such table, columns that are missing, temperatures in another unit, a
        month that lacks more than a fifth of its days, mixed time steps, and no usable row.

    Notes
    -----
    Rows may stand in any order. Equal repeats are dropped and counted; of unequal ones neither is
    used. Where only the sun of a row is bad, its temperature is kept.

    Examples
    --------
    >>> parsed = parse_weather("date;temp_c\n2024-01-01;4,5\n2024-01-02;M\n2024-01-03;6,5\n", decimal=",")
    >>> parsed.weather.temp_c
    array([4.5, 5.5, 6.5])
    >>> parsed.notes
    ('1 day has no temperature: 2024-01-02', '1 of them filled from the days before and after')
    """
    if data[: len(_EPW_START)] in (_EPW_START, _EPW_START.encode()):
        return parse_epw(data)
    table = read_table(data)
    if "date" in table.columns and "at" in table.columns:
        raise WeatherError(
            Problem("two_forms", "date", "give either a column date (daily) or a column at (hourly)")
        )
    if "hour" in table.columns and "at" not in table.columns:
        mend = "give one column at with date, hour 00 to 23 and offset, such as 2024-01-10T06:00+00:00"
        raise WeatherError(Problem("hour_column", "hour", mend, row=1))
    if "at" in table.columns:
        return read_hourly(
            table, zone=ZoneInfo(tz) if isinstance(tz, str) else tz, decimal=decimal, stamp=stamp
        )
    return read_daily(table, kind=kind, decimal=decimal)
