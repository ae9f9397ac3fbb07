"""Where a tank stands, from what was typed: a town, one of several of its name, a postcode, coordinates.

Flow     texts -> gazetteer, the engine's normals -> **place**, or towns to choose from
"""

import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from api.schemas.setup import Answers
from api.schemas.setup.answers import read_step
from api.schemas.setup.mends import at_questions
from api.schemas.setup.steps import STEPS
from api.sources.gazetteer import Town, find_town, find_towns, nearest_town
from forecaster.climate import normals_for
from forecaster.dwelling.parsing import read_survey
from forecaster.errors import InputError, Problem

_POSTCODE = re.compile(r"[A-Za-z]{1,2}\d[A-Za-z\d]?(\s*\d[A-Za-z]{2})?", re.ASCII)
UNITED_KINGDOM = "Europe/London"


@dataclass(frozen=True, slots=True)
class Found:
    """A place in the keys of survey.toml with its words, or the towns that it may be."""

    place: Mapping[str, Any] = field(default_factory=dict)
    towns: tuple[Town, ...] = ()


def find_place(answers: Answers, texts: Mapping[str, str]) -> Found:
    """Find the place of what was typed.

    Parameters
    ----------
    answers
        As they were kept before: a town that was found already is not looked up again.
    texts
        What was typed now.

    Raises
    ------
    InputError
        With the question and its mend.
    """
    elevation = _elevation(answers, texts)
    picked = texts.get("town_id", "")
    if picked:
        town = find_town(int(picked)) if picked.isascii() and picked.isdigit() and len(picked) < 12 else None
        if town is None:
            raise InputError(Problem("unknown_town", "town", "choose one of the list, or type another name"))
        return Found({**_of_town(town), **elevation})
    typed = texts.get("town", "").strip()
    if typed and (typed != answers.of("place").get("town", "") or not answers.place):
        found = _of_name(typed)
        return Found({**found.place, **elevation}) if found.place else found
    if texts.get("latitude", "").strip() or texts.get("longitude", "").strip():
        return Found({**_of_coordinates(answers, texts), **elevation})
    if answers.place and typed:
        return Found({**{k: v for k, v in answers.place.items() if k != "elevation_m"}, **elevation})
    raise InputError(Problem("missing", "town", "give a town or village, or pass this page over"))


def _of_name(typed: str) -> Found:
    if _POSTCODE.fullmatch(typed):
        try:
            normals = normals_for(place=typed)
        except InputError:
            raise InputError(
                Problem("unknown_postcode", "town", "give a UK postcode such as NE46 3PX, or a town")
            ) from None
        return Found(
            {"place": typed, "timezone": UNITED_KINGDOM, "words": f"{typed.upper()}, {normals.name}"}
        )
    towns = tuple(town for town in find_towns(typed) if _has_weather(town))
    if not towns:
        mend = "no place of that name is known here: try the next larger one, or give degrees below"
        raise InputError(Problem("unknown_town", "town", mend))
    return Found(_of_town(towns[0])) if len(towns) == 1 else Found(towns=towns)


def _of_town(town: Town) -> dict[str, Any]:
    place = {"latitude": town.latitude, "longitude": town.longitude, "timezone": town.timezone}
    return _known({**place, "words": town.words}, "town")


def _of_coordinates(answers: Answers, texts: Mapping[str, str]) -> dict[str, Any]:
    read = read_step(answers.with_step("place", texts), "place")
    place = {key.removeprefix("survey."): value for key, value in read.items()}
    for name in ("latitude", "longitude"):
        if name not in place:
            raise InputError(Problem("missing", name, "give both, north and east"))
    _judge({name: place[name] for name in ("latitude", "longitude")}, texts)
    town = nearest_town(place["latitude"], place["longitude"])
    words = f"{place['latitude']:g}° north, {place['longitude']:g}° east, next to {town.name}"
    at = {"latitude": place["latitude"], "longitude": place["longitude"], "timezone": town.timezone}
    return _known({**at, "words": words}, "latitude")


def _elevation(answers: Answers, texts: Mapping[str, str]) -> dict[str, Any]:
    if not texts.get("elevation", "").strip():
        return {}
    only = {"elevation": texts["elevation"]}
    value = read_step(answers.with_step("place", only), "place")["survey.elevation_m"]
    _judge({"elevation_m": value}, texts)
    return {"elevation_m": value}


def _judge(values: Mapping[str, Any], texts: Mapping[str, str]) -> None:
    try:
        read_survey(values)
    except InputError as bad:
        problems = [Problem(p.code, f"survey.{p.field}", p.mend) for p in bad.problems]
        raise InputError(at_questions(problems, STEPS["place"].questions, texts)) from None


def _has_weather(town: Town) -> bool:
    try:
        normals_for(latitude=town.latitude, longitude=town.longitude)
    except InputError:
        return False
    return True


def _known(place: dict[str, Any], question: str) -> dict[str, Any]:
    """Hold that the engine has weather for a place."""
    try:
        normals_for(latitude=place["latitude"], longitude=place["longitude"])
    except InputError:
        mend = (
            "we know the usual weather of Europe and the north of America only; no answer can be given there"
        )
        raise InputError(Problem("no_normals", question, mend)) from None
    return place
