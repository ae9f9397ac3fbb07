"""Changing what was told when a tank was set up, on the same pages; each page is kept by itself.

Flow     kept texts -> **pages filled in** -> form -> change_tank, change_survey
"""

import tomllib
from collections.abc import Mapping
from http import HTTPStatus
from typing import Any

from fastapi import APIRouter
from fastapi.responses import HTMLResponse, RedirectResponse
from starlette.responses import Response

from api.pages.forms import Fields
from api.pages.render import render
from api.pages.setup_form import Way, show_step, texts_from
from api.pages.setup_place import find_place
from api.pages.visit import Here, Visit
from api.schemas.relation import Relation, relation
from api.schemas.setup import SHAPES, STEPS, Answers, check_step, survey_values, tank_values, texts_of
from api.schemas.setup.questions import CHOSEN
from api.schemas.setup.steps import MEASURES, questions_of
from api.store import NotFoundError, Session
from api.store.drafts import load_draft_of_tank
from api.store.tanks import StoredTank, TextKind, load_tank, load_tank_version, load_text
from api.usecases.change_tank import change_survey, change_tank
from forecaster.errors import InputError

router = APIRouter()
CHANGED = tuple(step for step in STEPS if step != "now")
"""A level is told, not changed; the name stands on the page of the boiler's oil."""
PLACE_KEYS = ("latitude", "longitude", "place", "elevation_m", "timezone")


@router.get("/tanks/{tank}/set-up")
@relation(Relation.OWNER)
def list_changes(visit: Here, tank: str, kept: str = "") -> HTMLResponse:
    """List what can be changed."""
    base = f"/tanks/{tank}/set-up"
    steps = [{"href": f"{base}/{step}", "title": STEPS[step].title} for step in CHANGED]
    done = "Kept. The answer is made anew with it." if kept == "yes" else ""
    return render(
        "setup_changes.html", tank=visit.load_tank(tank), steps=steps, done=done, places=visit.places(tank)
    )


@router.get("/tanks/{tank}/set-up/{step}")
@relation(Relation.OWNER)
def ask_change(visit: Here, tank: str, step: str, shape: str = "") -> HTMLResponse:
    """Show a page with what is kept."""
    _require(step)
    with visit.services.store.read() as session:
        stored = load_tank(session, tank)
        answers, *_ = _kept(session, visit, stored, shape if shape in SHAPES else "")
    return show_step(visit, _way(stored), step, answers)


@router.post("/tanks/{tank}/set-up/{step}")
@relation(Relation.OWNER)
def take_change(visit: Here, tank: str, step: str, fields: Fields) -> Response:
    """Keep what was changed on a page."""
    _require(step)
    shape = fields.get("shape", "") if fields.get("shape", "") in SHAPES else ""
    if step == "shape":
        if not shape:
            return RedirectResponse(f"/tanks/{tank}/set-up/shape", HTTPStatus.SEE_OTHER)
        return RedirectResponse(f"/tanks/{tank}/set-up/measures?shape={shape}", HTTPStatus.SEE_OTHER)
    with visit.services.store.read() as session:
        stored = load_tank(session, tank)
        before, old_tank, _ = _kept(session, visit, stored, shape)
    texts = texts_from(fields, step, before.shape)
    answers = before.with_step(step, texts, done="given")
    try:
        if step == "place":
            found = find_place(before, {**texts, "town_id": fields.get("town_id", "")})
            if found.towns:
                return show_step(visit, _way(stored), step, before, texts=texts, towns=found.towns)
            answers = Answers(answers.typed, answers.skipped, answers.given, found.place)
        check_step(answers, step)
        with visit.services.store.write() as session:
            _change(
                session,
                visit,
                load_tank(session, tank),
                step,
                answers,
                old_tank,
                from_now=fields.get("since") == "now",
            )
    except InputError as bad:
        return show_step(visit, _way(stored), step, answers, texts=texts, faults=bad.problems)
    return RedirectResponse(f"/tanks/{tank}/set-up?kept=yes", HTTPStatus.SEE_OTHER)


def _change(
    session: Session,
    visit: Visit,
    tank: StoredTank,
    step: str,
    answers: Answers,
    old: Mapping[str, Any],
    *,
    from_now: bool,
) -> None:
    clock = visit.services.clock
    drop = {key for file, key in _keys(step, answers.shape) if file == "tank"}
    if step == "measures":
        of_shapes = {q.key.rpartition(".")[2] for asked in MEASURES.values() for q in asked if q.key}
        own = {"edges", "edge_radius_mm", "ends", "dish_radius_fraction", "knuckle_radius_fraction"}
        drop = of_shapes | {"shape", "table_sd_fraction", "table"}
        if answers.shape != old.get("shape"):
            drop |= {*own, "tilt_deg", "dip_at_mm"}
    if drop:
        if {"measures", "sensor"} & {step}:
            drop |= {"confirmed"}
        values = tank_values(answers)
        put = {key: value for key, value in values.items() if key in drop}
        change_tank(session, clock, tank, put=put, drop=drop, from_now=from_now)
    if step == "place":
        place = {key: value for key, value in answers.place.items() if key in PLACE_KEYS}
        change_survey(session, clock, tank, put=place, drop=PLACE_KEYS)
        return
    told = {key for file, key in _keys(step, answers.shape) if file == "survey"}
    if told:
        values = survey_values(answers)
        change_survey(
            session, clock, tank, put={key: value for key, value in values.items() if key in told}, drop=told
        )


def _keys(step: str, shape: str) -> set[tuple[str, str]]:
    """First parts of the keys that a page asks for: file and key."""
    found = set()
    for question in questions_of(step, shape):
        if question.key:
            file, key = question.key.split(".")[:2]
            found.add((file, key))
    return found


def _kept(
    session: Session, visit: Visit, tank: StoredTank, shape: str
) -> tuple[Answers, dict[str, Any], dict[str, Any]]:
    """What is kept of a tank, as it would have been typed."""
    now = visit.services.clock.now()
    values = tomllib.loads(load_tank_version(session, tank.id, as_of=now).toml)
    survey = tomllib.loads(load_text(session, tank.id, TextKind.SURVEY, as_of=now) or "")
    draft = load_draft_of_tank(session, tank.id)
    typed = Answers() if draft is None else Answers.from_json(draft.body)
    shape = shape or str(values.get("shape", ""))
    texts = {
        step: texts_of(step, shape, values, survey, _units(typed.of(step)))
        for step in STEPS
        if step != "place"
    }
    texts["shape"] = {"shape": shape}
    place = {key: survey[key] for key in PLACE_KEYS if key in survey}
    texts["place"] = texts_of("place", shape, values, survey, {})
    if place:
        place["words"] = _place_words(place, typed)
    return Answers(texts, (), tuple(STEPS), place), values, survey


def _units(texts: Mapping[str, str]) -> dict[str, str]:
    return {name: texts[name] for name in CHOSEN.values() if name in texts}


def _place_words(place: Mapping[str, Any], typed: Answers) -> str:
    if typed.place and all(
        typed.place.get(key) == place.get(key) for key in ("latitude", "longitude", "place")
    ):
        return str(typed.place.get("words", ""))
    if "latitude" in place:
        return f"{place['latitude']:g}° north, {place.get('longitude', 0):g}° east"
    return str(place.get("place", ""))


def _way(tank: StoredTank) -> Way:
    return Way(f"/tanks/{tank.public_id}/set-up", tank.public_id, tank.name)


def _require(step: str) -> None:
    if step not in CHANGED:
        raise NotFoundError
