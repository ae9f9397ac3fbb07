"""survey.toml to a survey: every answer checked, every problem found at once.

Flow     survey.toml, or a form -> **Survey** -> burn prior
Source   Ranges of plausible answers: assumptions, wide enough for any home and its appliances.
"""

import difflib
import math
import tomllib
import zoneinfo
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from types import MappingProxyType
from typing import Any

from forecaster.dwelling.survey import BOILERS, HEATING_MONTHS, HotWater, Solar, Stove, Survey, Window
from forecaster.errors import Problem, SurveyError
from forecaster.rows import decode

MAX_PLACE = 80
"""A longer name is no place. [characters]"""


@dataclass(frozen=True, slots=True)
class _Range:
    """Plausible values of a number, and what to say of another."""

    low: float
    high: float
    mend: str


_NUMBERS: Mapping[str, _Range] = MappingProxyType(
    {
        "latitude": _Range(-90, 90, "give degrees north, -90 to 90"),
        "longitude": _Range(-180, 180, "give degrees east, -180 to 180, west negative"),
        "elevation_m": _Range(-430, 5000, "give metres above sea level, -430 to 5000"),
        "floor_area_m2": _Range(10, 2000, "give square metres of all storeys, 10 to 2000"),
        "built": _Range(1000, 2100, "give the year it was built, such as 1970"),
        "heat_loss_w_per_k": _Range(20, 5000, "give watts a kelvin, 20 to 5000"),
        "occupants": _Range(0, 40, "give the number of people, 0 to 40"),
        "boiler_efficiency": _Range(0.3, 1.0, "give a gross fraction, such as 0.84 for 84 %"),
        "boiler_kw": _Range(2, 200, "give the rated output in kilowatts, 2 to 200"),
        "range_cooker_kw": _Range(0.2, 30, "give the burner's kilowatts at full fire, 0.2 to 30"),
        "stove.rated_kw": _Range(0.5, 40, "give kilowatts to the room, 0.5 to 40"),
        "stove.evenings_per_week": _Range(0, 7, "give evenings a week, 0 to 7"),
        "stove.hours": _Range(0, 24, "give hours of fire in an evening, 0 to 24"),
        "solar.window_m2": _Range(0, 300, "give square metres, 0 to 300"),
        "solar.window_azimuth": _Range(0, 360, "give degrees clockwise from north, south 180"),
        "solar.thermal_m2": _Range(0, 100, "give square metres, 0 to 100"),
        "solar.pv_kwp": _Range(0, 100, "give kilowatts peak, 0 to 100"),
        "solar.pv_tilt": _Range(0, 90, "give degrees from level, 0 to 90"),
        "solar.pv_azimuth": _Range(0, 360, "give degrees clockwise from north, south 180"),
    }
)
_WINDOW_NUMBERS: Mapping[str, _Range] = MappingProxyType(
    {
        "area_m2": _Range(0.05, 300, "give square metres, 0.05 to 300"),
        "azimuth": _Range(0, 360, "give degrees clockwise from north, south 180"),
        "tilt": _Range(0, 90, "give degrees from level, 90 for a wall"),
        "horizon_deg": _Range(0, 80, "give degrees above level of what stands in front, 0 to 80"),
        "height_m": _Range(0.2, 10, "give the window's height in metres, 0.2 to 10"),
        "overhang_m": _Range(0, 10, "give how far it stands out in metres, 0 to 10"),
        "overhang_gap_m": _Range(0, 10, "give metres from the window's top up to the overhang, 0 to 10"),
    }
)
MAX_WINDOWS = 12
"""More windows are given together with those that look alike. [windows]"""
_FLAGS = frozenset({"vulnerable", "solar.diverter"})
_TEXTS = frozenset({"place", "timezone", "boiler", "hot_water"})
_LISTS = frozenset({"hot_water_oil_months", "heating_months", "heating_off_months", "solar.windows"})
_KNOWN = frozenset(_NUMBERS) | _FLAGS | _TEXTS | _LISTS
_SECTIONS = ("stove", "solar")
_HOT_WATER_WORDS: Mapping[str, HotWater] = MappingProxyType(
    {"oil": "oil", "other": "other", "season": "season", "by season": "season"}
)


def parse_survey(data: bytes | str) -> Survey:
    r"""Read survey.toml.

    Parameters
    ----------
    data : bytes or str
        TOML; an answer that is left out counts as "I don't know".

    Returns
    -------
    Survey

    Raises
    ------
    SurveyError
        With every problem found: text that is no TOML, keys that are not known (the nearest is
        named), values of the wrong kind or out of range, latitude and longitude swapped.

    Examples
    --------
    >>> survey = parse_survey("occupants = 3\n[stove]\nrated_kw = 6\n")
    >>> survey.occupants, survey.stove.rated_kw, survey.floor_area_m2 is None
    (3.0, 6.0, True)
    >>> parse_survey("ocupants = 3")
    Traceback (most recent call last):
    forecaster.errors.SurveyError: ocupants: leave it out, or did you mean occupants? (seen: '3')
    """
    text = decode(data, error=SurveyError)
    try:
        values = tomllib.loads(text)
    except (tomllib.TOMLDecodeError, RecursionError, ValueError) as bad:
        mend = f"write it as TOML, such as occupants = 3; {bad}"
        raise SurveyError(Problem("not_toml", "survey", mend)) from None
    return read_survey(values)


def read_survey(values: Mapping[str, Any]) -> Survey:
    """Read the same answers from a mapping, such as a parsed form.

    Parameters
    ----------
    values : mapping
        Keys as in survey.toml; "stove" and "solar" hold mappings.

    Returns
    -------
    Survey

    Raises
    ------
    SurveyError
        As `parse_survey`.

    Examples
    --------
    >>> read_survey({"hot_water": "other"}).hot_water
    'other'
    """
    flat, problems = _flatten(values)
    numbers = _read_numbers(flat, problems)
    flags = {key: _read_flag(key, flat[key], problems) for key in _FLAGS & flat.keys()}
    texts = {key: _read_text(key, flat[key], problems) for key in _TEXTS & flat.keys()}
    months = _read_months("hot_water_oil_months", flat, problems)
    heating_off = _read_heating_off(flat, problems)
    windows = _read_windows(flat, problems)
    problems += _check_position(flat, numbers)
    if problems:
        raise SurveyError(sorted(problems, key=lambda p: p.field))
    survey = Survey(
        latitude=numbers.get("latitude"),
        longitude=numbers.get("longitude"),
        place=texts.get("place"),
        timezone=texts.get("timezone"),
        elevation_m=numbers.get("elevation_m"),
        floor_area_m2=numbers.get("floor_area_m2"),
        built=round(numbers["built"]) if "built" in numbers else None,
        heat_loss_w_per_k=numbers.get("heat_loss_w_per_k"),
        occupants=numbers.get("occupants"),
        boiler_efficiency=numbers.get("boiler_efficiency"),
        boiler=texts.get("boiler"),
        boiler_kw=numbers.get("boiler_kw"),
        heating_off_months=heating_off,
        range_cooker_kw=numbers.get("range_cooker_kw"),
        stove=Stove(**_part(numbers, "stove")) if "stove" in values else None,
        solar=_solar(numbers, flags, windows) if "solar" in values else None,
        vulnerable=flags.get("vulnerable", False),
    )
    return _with_notes(_with_hot_water(survey, texts.get("hot_water"), months), values)


def _flatten(values: Mapping[str, Any]) -> tuple[dict[str, Any], list[Problem]]:
    """Give dotted keys to the sections' answers, and refuse keys that are not known."""
    flat: dict[str, Any] = {}
    problems: list[Problem] = []
    for key, value in values.items():
        if key in _SECTIONS and isinstance(value, Mapping):
            flat |= {f"{key}.{inner}": answer for inner, answer in value.items()}
        elif key in _SECTIONS:
            problems.append(Problem("not_a_section", key, f"write it as a section, [{key}]", str(value)))
        else:
            flat[key] = value
    problems += [_unknown(key, flat.pop(key)) for key in sorted(flat.keys() - _KNOWN)]
    return flat, problems


def _unknown(key: str, value: Any) -> Problem:
    # a key in the wrong section is commoner than a misspelt one: look at its last part first
    last = key.rsplit(".", 1)[-1]
    same = [known for known in sorted(_KNOWN) if known.rsplit(".", 1)[-1] == last]
    near = same or difflib.get_close_matches(key, sorted(_KNOWN), n=1, cutoff=0.5)
    mend = (
        f"leave it out, or did you mean {_words(near[0])}?" if near else "leave it out; it is not known here"
    )
    return Problem("unknown_key", _words(key), mend, str(value))


def _words(key: str) -> str:
    section, _, inner = key.rpartition(".")
    return f"{inner} in [{section}]" if section else inner


def _read_numbers(flat: Mapping[str, Any], problems: list[Problem]) -> dict[str, float]:
    numbers: dict[str, float] = {}
    for key, limits in _NUMBERS.items():
        if key not in flat:
            continue
        value = _read_number(_words(key), flat[key], limits, problems)
        if value is not None and key == "built" and value != int(value):
            problems.append(Problem("not_a_year", key, limits.mend, str(value)))
        elif value is not None:
            numbers[key] = value
    return numbers


def _read_number(field: str, value: Any, limits: _Range, problems: list[Problem]) -> float | None:
    # TOML knows inf and nan, and true is an int in Python
    is_number = isinstance(value, int | float) and not isinstance(value, bool)
    if not is_number or (isinstance(value, float) and not math.isfinite(value)):
        problems.append(Problem("not_a_number", field, limits.mend, str(value)))
        return None
    if not limits.low <= value <= limits.high:
        problems.append(Problem("out_of_range", field, limits.mend, _short(value)))
        return None
    return float(value)


def _solar(numbers: Mapping[str, float], flags: Mapping[str, bool], windows: tuple[Window, ...]) -> Solar:
    return Solar(**_part(numbers, "solar"), **_part(flags, "solar"), windows=windows)


def _read_windows(flat: Mapping[str, Any], problems: list[Problem]) -> tuple[Window, ...]:
    """Read windows one by one, sections [[solar.windows]]; their problems name them."""
    tables = flat.get("solar.windows")
    if tables is None:
        return ()
    if "solar.window_m2" in flat or "solar.window_azimuth" in flat:
        mend = "leave window_m2 and window_azimuth out where windows are given one by one"
        problems.append(Problem("twice", _words("solar.windows"), mend))
    is_list = isinstance(tables, Sequence) and not isinstance(tables, str)
    if not is_list or not tables or not all(isinstance(t, Mapping) for t in tables):
        mend = "write each window as a section of its own, [[solar.windows]]"
        problems.append(Problem("not_a_section", _words("solar.windows"), mend, str(tables)))
        return ()
    if len(tables) > MAX_WINDOWS:
        mend = f"give at most {MAX_WINDOWS}: those that look alike are one, with their area together"
        problems.append(Problem("too_many", _words("solar.windows"), mend, f"{len(tables)} windows"))
        return ()
    found = [_read_window(number, table, problems) for number, table in enumerate(tables, start=1)]
    return tuple(window for window in found if window is not None)


def _read_window(number: int, table: Mapping[str, Any], problems: list[Problem]) -> Window | None:
    own: list[Problem] = []
    place = f"of window {number}"
    for key in sorted(table.keys() - _WINDOW_NUMBERS.keys()):
        near = difflib.get_close_matches(key, list(_WINDOW_NUMBERS), n=1, cutoff=0.5)
        mend = f"leave it out, or did you mean {near[0]}?" if near else "leave it out; it is not known here"
        own.append(Problem("unknown_key", f"{key} {place}", mend, str(table[key])))
    given = {
        key: _read_number(f"{key} {place}", table[key], limits, own)
        for key, limits in _WINDOW_NUMBERS.items()
        if key in table
    }
    if "area_m2" not in table:
        own.append(Problem("missing", f"area_m2 {place}", "add this key: its square metres"))
    if given.get("overhang_m") and (given.get("tilt") or 90.0) < 90.0:
        mend = "leave it out: an overhang is counted above a window in a wall only"
        own.append(Problem("overhang", f"overhang_m {place}", mend, str(table["overhang_m"])))
    problems += own
    return None if own else Window(**{key: value for key, value in given.items() if value is not None})


def _short(value: float) -> str:
    # an int of a thousand digits cannot be written out, nor need it be
    return str(value) if abs(value) < 10**15 else "a huge number"


def _read_flag(key: str, value: Any, problems: list[Problem]) -> bool:
    if not isinstance(value, bool):
        problems.append(Problem("not_yes_or_no", _words(key), "give true or false", str(value)))
    return value is True


def _read_text(key: str, value: Any, problems: list[Problem]) -> str:
    if not isinstance(value, str) or not value.strip() or len(value) > MAX_PLACE:
        mend = f"give a text in quotation marks, at most {MAX_PLACE} characters"
        problems.append(Problem("not_a_text", key, mend, str(value)))
        return ""
    text = value.strip()
    if key == "timezone" and not _is_timezone(text):
        problems.append(Problem("no_timezone", key, "give a zone such as Europe/London or UTC", text))
    if key == "boiler" and text not in BOILERS:
        problems.append(Problem("no_boiler", key, f"give one of {', '.join(BOILERS)}", text))
    if key == "hot_water" and text not in _HOT_WATER_WORDS:
        problems.append(Problem("no_hot_water", key, 'give "oil", "other" or "season"', text))
    return text


def _is_timezone(name: str) -> bool:
    try:
        zoneinfo.ZoneInfo(name)
    except (zoneinfo.ZoneInfoNotFoundError, ValueError, OSError):
        return False
    return True


def _read_months(key: str, flat: Mapping[str, Any], problems: list[Problem]) -> tuple[int, ...] | None:
    value = flat.get(key)
    if value is None:
        return None
    is_list = isinstance(value, Sequence) and not isinstance(value, str)
    if not is_list or not all(type(m) is int and 1 <= m <= 12 for m in value):
        mend = "give a list of months as numbers, such as [10, 11, 12, 1, 2, 3, 4]"
        problems.append(Problem("not_months", key, mend, str(value)))
        return None
    return tuple(sorted(set(value)))


def _read_heating_off(flat: Mapping[str, Any], problems: list[Problem]) -> tuple[int, ...]:
    """Months without heating, given as such or as all but the months with it."""
    on, off = (_read_months(key, flat, problems) for key in ("heating_months", "heating_off_months"))
    if on is not None and off is not None:
        mend = "leave it out, or leave out heating_off_months: the one follows from the other"
        problems.append(Problem("twice", "heating_months", mend, str(flat["heating_months"])))
        return ()
    key = "heating_months" if on is not None else "heating_off_months"
    off = tuple(sorted(set(range(1, 13)) - set(on))) if on is not None else off or ()
    if len(off) == 12:
        problems.append(Problem("never_heated", key, "leave at least one month with heating", str(flat[key])))
        return ()
    return off


def _check_position(flat: Mapping[str, Any], numbers: Mapping[str, float]) -> list[Problem]:
    if "longitude" in flat and "latitude" not in flat:
        return [Problem("no_latitude", "latitude", "give it too, or leave the longitude out")]
    latitude, longitude = numbers.get("latitude"), numbers.get("longitude")
    if latitude is None or longitude is None:
        return []
    # Europe with its coordinates the wrong way round falls here: the Indian Ocean, Arabia, East Africa
    if -25 <= latitude <= 25 and 35 <= longitude <= 72:
        mend = "latitude and longitude look swapped: latitude is degrees north, longitude degrees east"
        return [Problem("swapped", "latitude", mend, f"{latitude:g}, {longitude:g}")]
    return []


def _part(answers: Mapping[str, Any], section: str) -> dict[str, Any]:
    start = f"{section}."
    return {key.removeprefix(start): value for key, value in answers.items() if key.startswith(start)}


def _with_hot_water(survey: Survey, word: str | None, months: tuple[int, ...] | None) -> Survey:
    kind = _HOT_WATER_WORDS[word] if word else ("season" if months is not None else None)
    if kind == "season":
        return replace(survey, hot_water=kind, hot_water_oil_months=months or HEATING_MONTHS)
    oil_months = () if kind == "other" else tuple(range(1, 13))
    return replace(survey, hot_water=kind, hot_water_oil_months=oil_months)


def _with_notes(survey: Survey, values: Mapping[str, Any]) -> Survey:
    notes: list[str] = []
    if survey.latitude == 0 and survey.longitude == 0:
        notes.append("Latitude and longitude are both 0, a point in the sea: taken as not known.")
        survey = replace(survey, latitude=None, longitude=None)
    if survey.hot_water == "season" and not values.get("hot_water_oil_months"):
        notes.append("The months with hot water from oil are not given: October to April assumed.")
    if survey.hot_water in ("oil", "other") and "hot_water_oil_months" in values:
        notes.append('The months with hot water from oil count only with hot_water = "season".')
    notes += [
        f"The stove's {key} is not given: {getattr(Stove(), key):g} assumed."
        for key in ("rated_kw", "evenings_per_week", "hours")
        if survey.stove is not None and key not in values["stove"]
    ]
    return replace(survey, notes=tuple(notes))
