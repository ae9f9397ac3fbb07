"""The weather service's answers are read as documented, and nothing else is taken for weather."""

import json
from collections.abc import Iterator
from contextlib import suppress
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from api.ports import Place
from api.sources.open_meteo import OpenMeteo, WeatherServiceError, read_answer
from api.sources.open_meteo import ask as asking
from tests.api.weather_service import NOON, StandIn, changed, hours_of, weather_service

PLACE = Place(52.2, 0.1, "Europe/London")


@pytest.fixture
def stand_in() -> Iterator[StandIn]:
    """A stand-in for the service."""
    with weather_service(NOON) as served:
        yield served


def _trouble(stand_in: StandIn, *, whole_s: float = 5.0) -> WeatherServiceError:
    with pytest.raises(WeatherServiceError) as caught:
        OpenMeteo(stand_in.url, whole_s=whole_s).weather_of(PLACE, past_days=3)
    return caught.value


def test_the_documented_answer_becomes_days(stand_in: StandIn) -> None:
    """Hours become civil days with mean, extremes and sun; the sun of an hour is told at its end."""
    weather = OpenMeteo(stand_in.url).weather_of(PLACE, past_days=3)
    assert weather.date[0] == np.datetime64("2026-01-07")
    assert weather.date[-1] == np.datetime64("2026-01-17")
    assert weather.kind == "mean"
    assert weather.temp_c[0] == pytest.approx(4.0, abs=0.05)
    assert (weather.tmin_c[0], weather.tmax_c[0]) == (1.0, 7.0)
    assert weather.ghi_wh_m2[0] == pytest.approx(480.0, rel=0.02)


def test_a_day_is_a_day_of_the_place(stand_in: StandIn) -> None:
    """In a zone an hour ahead the days begin an hour earlier, so the first one lacks an hour only."""
    ahead = OpenMeteo(stand_in.url).weather_of(Place(52.2, 0.1, "Europe/Berlin"), past_days=3)
    here = OpenMeteo(stand_in.url).weather_of(PLACE, past_days=3)
    assert ahead.temp_c[1] == pytest.approx(here.temp_c[1] - 0.3 / 24, abs=1e-6)


def test_only_a_rounded_place_leaves(stand_in: StandIn) -> None:
    """The question names the place to a tenth of a degree and two quantities, nothing else of the home."""
    OpenMeteo(stand_in.url).weather_of(Place(52.2, 0.1, "Europe/London"), past_days=3)
    assert stand_in.asked == [
        {
            "latitude": "52.2",
            "longitude": "0.1",
            "hourly": "temperature_2m,shortwave_radiation",
            "timeformat": "unixtime",
            "timezone": "GMT",
            "past_days": "3",
            "forecast_days": "8",
        }
    ]


@pytest.mark.parametrize(
    ("status", "headers", "code", "passing", "again"),
    [
        (429, {"Retry-After": "3600"}, "status_429", False, 3600.0),
        (429, {"Retry-After": "99999999"}, "status_429", False, 86_400.0),
        (429, {"Retry-After": "Wed, 21 Oct 2026 07:28:00 GMT"}, "status_429", False, None),
        (500, {}, "status_500", True, None),
        (503, {"Retry-After": "120"}, "status_503", False, 120.0),
        (400, {}, "status_400", False, None),
        (302, {"Location": "http://169.254.169.254/"}, "status_302", False, None),
        (204, {}, "status_204", False, None),
    ],
)
def test_a_refusal_says_whether_to_come_back(
    stand_in: StandIn, status: int, headers: dict[str, str], code: str, passing: bool, again: float | None
) -> None:
    """Statuses but 200 are trouble; a redirect (F14) is not followed, Retry-After is obeyed within a day."""
    stand_in.answers = [(status, headers, b'{"error": true, "reason": "x"}' if status != 204 else b"")]
    bad = _trouble(stand_in)
    assert (bad.code, bad.is_passing, bad.again_in_s) == (code, passing, again)
    assert len(stand_in.asked) == 1


BODIES = [
    ("F13-html", b"<!doctype html><title>Sorry</title>", "not_json"),
    ("F13-truncated", b'{"hourly": {"time": [17', "not_json"),
    ("empty", b"", "not_json"),
    ("utf-16", '{"hourly": {}}'.encode("utf-16"), "not_json"),
    ("list", b"[]", "not_as_documented"),
    ("error-with-200", b'{"error": true, "reason": "x"}', "refused"),
    ("no-hours", b"{}", "not_as_documented"),
    ("nested", b"[" * 100_000, "not_json"),
]


@pytest.mark.parametrize(("body", "code"), [pytest.param(b, c, id=i) for i, b, c in BODIES])
def test_what_is_no_answer_is_trouble(stand_in: StandIn, body: bytes, code: str) -> None:
    """An error page, half an answer or another form is taken for no weather."""
    stand_in.answers = [(200, {}, body)]
    assert _trouble(stand_in).code == code


CHANGES: list[tuple[str, Any, str]] = [
    ("units-fahrenheit", lambda b: b["hourly_units"].update(temperature_2m="°F"), "units"),
    ("units-missing", lambda b: b["hourly_units"].clear(), "units"),
    ("units-iso-time", lambda b: b["hourly_units"].update(time="iso8601"), "units"),
    ("lengths", lambda b: b["hourly"]["temperature_2m"].pop(), "not_as_documented"),
    ("column-missing", lambda b: b["hourly"].pop("shortwave_radiation"), "not_as_documented"),
    ("text-value", lambda b: b["hourly"]["temperature_2m"].__setitem__(3, "4.1"), "not_as_documented"),
    ("nan", lambda b: b["hourly"]["temperature_2m"].__setitem__(3, float("nan")), "not_as_documented"),
    ("true", lambda b: b["hourly"]["temperature_2m"].__setitem__(3, True), "not_as_documented"),
    ("huge", lambda b: b["hourly"]["temperature_2m"].__setitem__(3, 10**400), "not_as_documented"),
    ("hour-missing", lambda b: [b["hourly"][n].pop(5) for n in b["hourly"]], "not_as_documented"),
    ("F13-stands-still", lambda b: b["hourly"].update(temperature_2m=[4.0] * 264), "stands_still"),
    (
        "F3-kelvin",
        lambda b: b["hourly"].update(temperature_2m=[t + 273.15 for t in b["hourly"]["temperature_2m"]]),
        "not_believed",
    ),
    ("all-null", lambda b: b["hourly"].update(temperature_2m=[None] * 264), "not_believed"),
]


@pytest.mark.parametrize(("change", "code"), [pytest.param(c, x, id=i) for i, c, x in CHANGES])
def test_what_cannot_be_weather_is_trouble(stand_in: StandIn, change: Any, code: str) -> None:
    """Other units, holes in the form and values that no thermometer shows are refused whole."""
    stand_in.answers = [changed(stand_in, change)]
    assert _trouble(stand_in).code.startswith(code)


def test_nulls_are_gaps(stand_in: StandIn) -> None:
    """Two missing hours are filled from their neighbours, a missing day is a gap among good days."""

    def lose(body: dict[str, Any]) -> None:
        for hour in (30, 31, *range(72, 120)):
            body["hourly"]["temperature_2m"][hour] = None

    stand_in.answers = [changed(stand_in, lose)]
    weather = OpenMeteo(stand_in.url).weather_of(PLACE, past_days=5)
    assert np.isfinite(weather.temp_c[1])
    assert np.isnan(weather.temp_c[3:5]).all()


def test_a_slow_answer_is_given_up(stand_in: StandIn) -> None:
    """A service that drips is left after the whole time allowed, not after each of its drops."""
    stand_in.drip_s = 0.1
    bad = _trouble(stand_in, whole_s=0.5)
    assert (bad.code, bad.is_passing) == ("timeout", True)


def test_a_huge_answer_is_not_read_to_its_end(stand_in: StandIn, monkeypatch: pytest.MonkeyPatch) -> None:
    """Reading stops at the limit."""
    monkeypatch.setattr(asking, "MOST_BYTES", 10_000)
    stand_in.answers = [(200, {}, b"x" * 200_000)]
    assert _trouble(stand_in).code == "too_large"


def test_nobody_there_is_trouble_that_may_pass() -> None:
    """Without a network there is no weather, and that is said plainly."""
    with pytest.raises(WeatherServiceError, match="unreachable") as caught:
        OpenMeteo("http://127.0.0.1:9/v1/forecast").weather_of(PLACE, past_days=3)
    assert caught.value.is_passing


@given(
    st.recursive(
        st.none() | st.booleans() | st.floats() | st.integers() | st.text(max_size=5),
        lambda inner: (
            st.lists(inner, max_size=4)
            | st.dictionaries(
                st.sampled_from(["hourly", "hourly_units", "time", "temperature_2m", "error", "x"]),
                inner,
                max_size=4,
            )
        ),
        max_leaves=12,
    )
)
def test_any_json_is_weather_or_trouble(value: Any) -> None:
    """No answer of whatever form makes anything but weather or trouble."""
    with pytest.raises(WeatherServiceError):
        read_answer(json.dumps(value).encode(), zone="UTC")


@given(st.data())
def test_any_slip_in_the_hours_is_weather_or_trouble(data: st.DataObject) -> None:
    """One wrong value anywhere in a good answer never makes another error."""
    body = hours_of({"latitude": "1", "longitude": "2", "past_days": "2", "forecast_days": "1"}, today=NOON)
    column = body["hourly"][data.draw(st.sampled_from(sorted(body["hourly"])))]
    place = data.draw(st.integers(0, len(column) - 1))
    column[place] = data.draw(st.none() | st.floats() | st.integers() | st.text(max_size=3))
    with suppress(WeatherServiceError):
        assert read_answer(json.dumps(body).encode(), zone="UTC").date.size >= 2
