"""Ask the weather service: one question, bounded in time and size, no redirect followed.

Flow     place, span of days -> HTTP -> **bytes** -> answer
Source   RFC 9110 sections 10.2.3 (Retry-After), 15.4 (redirects); RFC 6585 section 4 (429)
"""

import time
from typing import TYPE_CHECKING

from api.ports import Place
from api.sources.open_meteo.answer import read_answer
from api.sources.open_meteo.trouble import WeatherServiceError

if TYPE_CHECKING:
    import httpx2

    from forecaster.weather import Weather

MOST_BYTES = 2 * 1024 * 1024
"""A longer answer is refused; a hundred days of hours are some 100 KB. [bytes]"""
CONNECT_S, READ_S, WHOLE_S = 5.0, 10.0, 20.0
"""Longest wait for a connection, for the next bytes, and for all of it. [s]"""
FORECAST_DAYS = 8
"""Today and the week after it. [d]"""
LONGEST_PAUSE_S = 24 * 3600.0
"""A service that says to come back later than that is asked tomorrow. [s]"""
_TOO_MANY, _SERVER = 429, 500


class OpenMeteo:
    """The weather service behind one address.

    Parameters
    ----------
    url
        Of the operation, without the question; another service of the same form will do.
    transport
        How messages travel; only tests give one.
    whole_s
        Longest time for one question and its answer. [s]
    """

    def __init__(
        self, url: str, *, transport: "httpx2.BaseTransport | None" = None, whole_s: float = WHOLE_S
    ) -> None:
        self._url, self._transport, self._whole_s = url, transport, whole_s

    def weather_of(self, place: Place, *, past_days: int) -> "Weather":
        """Give the daily weather of a place: so many days past, today, and a week ahead.

        Raises
        ------
        WeatherServiceError
            When none came, or none that can be used.
        """
        return read_answer(self._ask(place, past_days), zone=place.zone)

    def _ask(self, place: Place, past_days: int) -> bytes:
        import httpx2  # a quarter of a second: only where weather is asked for

        question: dict[str, str | int] = {
            "latitude": f"{place.latitude:.1f}",
            "longitude": f"{place.longitude:.1f}",
            "hourly": "temperature_2m,shortwave_radiation",
            "timeformat": "unixtime",
            "timezone": "GMT",
            "past_days": past_days,
            "forecast_days": FORECAST_DAYS,
        }
        deadline = time.monotonic() + self._whole_s
        limits = httpx2.Timeout(min(READ_S, self._whole_s), connect=min(CONNECT_S, self._whole_s))
        try:
            with (
                httpx2.Client(timeout=limits, follow_redirects=False, transport=self._transport) as client,
                client.stream("GET", self._url, params=question) as answer,
            ):
                _require_success(answer)
                return _read(answer, deadline)
        except httpx2.TimeoutException:
            raise WeatherServiceError("timeout", is_passing=True) from None
        except httpx2.TransportError:
            raise WeatherServiceError("unreachable", is_passing=True) from None
        except (httpx2.HTTPError, httpx2.InvalidURL):
            raise WeatherServiceError("no_answer") from None


def _require_success(answer: "httpx2.Response") -> None:
    status = answer.status_code
    if status == 200:
        return
    again = _pause_s(answer.headers.get("retry-after", ""))
    passing = status >= _SERVER and again is None
    raise WeatherServiceError(f"status_{status}", is_passing=passing, again_in_s=again)


def _read(answer: "httpx2.Response", deadline: float) -> bytes:
    chunks, size = [], 0
    for chunk in answer.iter_bytes():
        size += len(chunk)
        if size > MOST_BYTES:
            raise WeatherServiceError("too_large")
        if time.monotonic() > deadline:
            raise WeatherServiceError("timeout", is_passing=True)
        chunks.append(chunk)
    return b"".join(chunks)


def _pause_s(text: str) -> float | None:
    """Read how long to wait; a date, which the header may hold too, is taken as none."""
    if not (text.isascii() and text.isdigit() and len(text) <= 9):
        return None
    return min(float(text), LONGEST_PAUSE_S)
