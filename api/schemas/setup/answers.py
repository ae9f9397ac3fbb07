"""Answers to the keys of tank.toml and survey.toml, and keys back to answers.

Flow     texts typed, by page -> **keys** -> the engine's readers; kept files -> **texts**
"""

import json
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from typing import Any

from api.schemas.setup.mends import at_questions
from api.schemas.setup.questions import UNIT_WORDS, Question, read_value, write_value
from api.schemas.setup.steps import questions_of
from api.schemas.told.amounts import parse_length, parse_part
from api.usecases.toml_text import to_toml
from forecaster.dwelling.parsing import read_survey
from forecaster.errors import InputError, Problem
from forecaster.tanks import parse_tank

ASSUMED_TANK: Mapping[str, Any] = {
    "shape": "moulded",
    "capacity_l": 1200.0,
    "height_mm": 1300.0,
    "table_sd_fraction": 0.3,
}
"""Taken where the tank was not measured; its litres are as uncertain as a tank's may be. Assumption."""
ASSUMED_HEIGHT_MM, ASSUMED_HEIGHT_SD = 1300.0, 0.15
"""Taken of a tank by its label, where its height was not said, with its litres' doubt. Assumption. [mm], [-]"""
ASSUMED_PLACE: Mapping[str, Any] = {"place": "Midlands", "timezone": "Europe/London"}
ASSUMED_PRODUCT = "kerosene"
MAIN = {"stove": "evenings_per_week"}
"""A section that is there only with this answer, and only above nothing."""


@dataclass(frozen=True, slots=True)
class Answers:
    """What was typed, by page and field, and which pages were passed over.

    Attributes
    ----------
    typed
        Texts as they were typed, by page and field.
    skipped, given
        Pages passed over, whatever was typed on them; and pages that were answered.
    place
        What the gazetteer or the coordinates made of the place: keys of survey.toml, and ``words``.
    """

    typed: Mapping[str, Mapping[str, str]] = field(default_factory=dict)
    skipped: tuple[str, ...] = ()
    given: tuple[str, ...] = ()
    place: Mapping[str, Any] = field(default_factory=dict)

    @classmethod
    def from_json(cls, text: str) -> "Answers":
        """Read what `to_json` wrote."""
        kept = json.loads(text)
        return cls(kept["typed"], tuple(kept["skipped"]), tuple(kept["given"]), kept["place"])

    def to_json(self) -> str:
        """Write the answers as they are kept."""
        return json.dumps(
            {"typed": self.typed, "skipped": self.skipped, "given": self.given, "place": self.place},
            default=dict,
        )

    def of(self, step: str) -> Mapping[str, str]:
        """What was typed on a page."""
        return self.typed.get(step, {})

    def counted(self, step: str) -> Mapping[str, str]:
        """What counts of a page: nothing where it was passed over."""
        return {} if step in self.skipped else self.of(step)

    @property
    def shape(self) -> str:
        """The shape chosen; empty where none was."""
        return self.counted("shape").get("shape", "")

    def with_step(self, step: str, texts: Mapping[str, str], *, done: str = "") -> "Answers":
        """Put a page's texts in place of those before; ``done`` is given, skipped or nothing yet.

        Examples
        --------
        >>> Answers().with_step("now", {"level": "3/8"}, done="given").of("now")
        {'level': '3/8'}
        """
        rest = [tuple(s for s in pages if s != step) for pages in (self.skipped, self.given)]
        for i, name in enumerate(("skipped", "given")):
            if done == name:
                rest[i] = (*rest[i], step)
        return replace(self, typed={**self.typed, step: dict(texts)}, skipped=rest[0], given=rest[1])


def tank_values(answers: Answers) -> dict[str, Any]:
    """Say the tank in the keys of tank.toml; what was not measured is assumed.

    Raises
    ------
    InputError
        Where an answer is not written as it can be read; fields are the questions' names.

    Examples
    --------
    >>> tank_values(Answers())["capacity_l"]
    1200.0
    """
    read = {step: read_step(answers, step) for step in ("shape", "measures", "sensor", "boiler", "now")}
    values: dict[str, Any] = {"product": ASSUMED_PRODUCT, **_of_file(read, "tank")}
    if not answers.shape or "measures" in answers.skipped:
        for name in (*_keys_of("measures", answers.shape), "shape"):
            values.pop(name, None)
        values |= ASSUMED_TANK
    elif answers.shape == "moulded" and "height_mm" not in values:
        values |= {"height_mm": ASSUMED_HEIGHT_MM, "table_sd_fraction": ASSUMED_HEIGHT_SD}
    confirmed = [
        key
        for step, name, key in (
            ("measures", "confirmed_capacity", "capacity_l"),
            ("sensor", "confirmed_sensor", "gauge_l" if "gauge_l" in values else "sensor_height_mm"),
        )
        if answers.counted(step).get(name)
    ]
    return {**values, "confirmed": confirmed} if confirmed else values


def survey_values(answers: Answers) -> dict[str, Any]:
    """Say the house in the keys of survey.toml; a place that was not told is assumed.

    Raises
    ------
    InputError
        As `tank_values`.
    """
    values = _of_file({step: read_step(answers, step) for step in ("house", "boiler", "sun")}, "survey")
    for section, main in MAIN.items():
        if not values.get(section, {}).get(main):
            values.pop(section, None)
    solar = values.get("solar", {})
    if not solar.keys() - {"window_azimuth"}:
        values.pop("solar", None)
    elif "window_m2" not in solar:
        solar.pop("window_azimuth", None)
    place = {key: value for key, value in answers.place.items() if key != "words"}
    if "place" in answers.skipped or not place:
        place = dict(ASSUMED_PLACE)
    return {**place, **values}


def read_step(answers: Answers, step: str) -> dict[str, Any]:
    """Read what was typed on a page: values by the engine's keys.

    Raises
    ------
    InputError
    """
    texts = answers.counted(step)
    values, faults = {}, []
    for question in questions_of(step, answers.shape):
        text = texts.get(question.name, "").strip()
        if not text or not question.key:
            continue
        try:
            value = read_value(question, text, texts)
        except ValueError as bad:
            faults.append(Problem("not_usable", question.name, str(bad)))
            continue
        values[question.key] = float(value) if question.key.endswith("azimuth") else value
    if faults:
        raise InputError(faults)
    return values


def check_step(answers: Answers, step: str) -> None:
    """Let the engine judge a page's answers, together with those before it.

    Raises
    ------
    InputError
        With what concerns this page; fields are the names of its questions.
    """
    read_step(answers, step)
    check: Callable[[Answers], None] | None = {
        "shape": _check_shape, "measures": _check_tank, "sensor": _check_tank, "house": _check_survey,
        "boiler": _check_survey, "sun": _check_survey, "now": _check_level,
    }.get(step)  # fmt: skip
    if check is None or step in answers.skipped:
        return
    try:
        check(answers)
    except InputError as bad:
        faults = at_questions(bad.problems, questions_of(step, answers.shape), answers.of(step))
        if faults:
            raise InputError(faults) from None


def _check_shape(answers: Answers) -> None:
    if not answers.shape:
        raise InputError(Problem("missing", "tank.shape", "choose one, or pass this page over"))


def _check_tank(answers: Answers) -> None:
    try:
        parse_tank(to_toml(tank_values(answers)))
    except InputError as bad:
        raise InputError([replace(p, field=f"tank.{p.field}") for p in bad.problems]) from None


def _check_survey(answers: Answers) -> None:
    try:
        read_survey(survey_values(answers))
    except InputError as bad:
        raise InputError([replace(p, field=f"survey.{_dotted(p.field)}") for p in bad.problems]) from None


def _check_level(answers: Answers) -> None:
    texts = answers.counted("now")
    text, kind = texts.get("level", "").strip(), texts.get("level_kind", "") or "part"
    try:
        if text and kind == "part":
            parse_part(text)
        elif text and kind in UNIT_WORDS:
            parse_length(text, unit=kind)
    except ValueError as bad:
        raise InputError(Problem("not_usable", "level", str(bad))) from None
    _check_tank(answers)


def _dotted(field_words: str) -> str:
    inner, _, section = field_words.partition(" in [")
    return f"{section.rstrip(']')}.{inner}" if section else inner


def _of_file(read: Mapping[str, Mapping[str, Any]], file: str) -> dict[str, Any]:
    """Put values by their dotted keys into the sections of one file."""
    values: dict[str, Any] = {}
    for step in read.values():
        for key, value in step.items():
            of, *sections, name = key.split(".")
            if of != file:
                continue
            inner = values
            for section in sections:
                inner = inner.setdefault(section, {})
            inner[name] = value
    return values


def _keys_of(step: str, shape: str) -> tuple[str, ...]:
    return tuple(q.key.rpartition(".")[2] for q in questions_of(step, shape) if q.key)


def texts_of(
    step: str, shape: str, tank: Mapping[str, Any], survey: Mapping[str, Any], units: Mapping[str, str]
) -> dict[str, str]:
    """Write what is kept of a tank and its house as it would be typed on a page, in the units chosen.

    Examples
    --------
    >>> texts_of("sensor", "", {"sensor_height_mm": 1250}, {}, {"length_unit": "cm"})["sensor_height"]
    '125'
    """
    texts = dict(units)
    for question in questions_of(step, shape):
        value = find_key({"tank": tank, "survey": survey}, question.key)
        if value is not None:
            texts[question.name] = _shown(question, value, texts)
    confirmed = tank.get("confirmed", [])
    if "capacity_l" in confirmed:
        texts["confirmed_capacity"] = "yes"
    if {"gauge_l", "sensor_height_mm"} & set(confirmed):
        texts["confirmed_sensor"] = "yes"
    return texts


def _shown(question: Question, value: Any, texts: Mapping[str, str]) -> str:
    return f"{value:g}" if question.key.endswith("azimuth") else write_value(question, value, texts)


def find_key(files: Mapping[str, Any], key: str) -> Any:
    """Find the value of a dotted key; None where it is not there."""
    inner: Any = files
    for name in key.split("."):
        if not isinstance(inner, Mapping) or name not in inner:
            return None
        inner = inner[name]
    return inner
