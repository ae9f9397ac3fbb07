"""Setting a tank up by page: a few short pages, each of which can be passed over.

What is typed is kept at each step as a draft of whoever sets up, so that going back, a reload, a lost
connection or another device loses nothing; only the last page makes a tank, once.

Flow     form -> draft -> **set-up** -> register_tank, a first reading -> first answer
"""

from collections.abc import Mapping
from http import HTTPStatus

from fastapi import APIRouter
from fastapi.responses import HTMLResponse, RedirectResponse
from starlette.background import BackgroundTask
from starlette.responses import Response

from api.pages.forms import Fields
from api.pages.render import render
from api.pages.setup_form import ORDER, Way, show_step, texts_from
from api.pages.setup_place import find_place
from api.pages.visit import Here, Visit
from api.schemas.relation import Relation, relation
from api.schemas.setup import STEPS, Answers, check_step, survey_values, tank_values
from api.schemas.setup.mends import in_units
from api.schemas.told import KINDS, read_texts
from api.schemas.told.members import Asked
from api.sources.gazetteer import find_towns
from api.store import NotFoundError, Session
from api.store.drafts import StoredDraft, begin_draft, drop_draft, load_draft, save_draft
from api.store.tanks import StoredTank
from api.usecases.first_answer import make_ready
from api.usecases.register_tank import register_tank
from api.usecases.toml_text import to_toml
from forecaster.civil import zone_of
from forecaster.errors import InputError, Problem

router = APIRouter()
BASE = "/set-up"


class StepError(Exception):
    """Answers of a page cannot be used."""

    def __init__(self, step: str, problems: tuple[Problem, ...]) -> None:
        self.step, self.problems = step, problems
        super().__init__(step)


@router.get("/set-up")
@relation(Relation.FOUNDER)
def show_beginning(visit: Here) -> Response:
    """Say what will be asked, and go on where somebody stopped."""
    with visit.services.store.read() as session:
        draft = _open(load_draft(session, _whose(visit)))
    answers = Answers() if draft is None else Answers.from_json(draft.body)
    answer = render(
        "setup_beginning.html", steps=_listed(answers), is_begun=draft is not None, places=visit.places(),
        next=next((step for step in ORDER if step not in (*answers.given, *answers.skipped)), ORDER[-1]),
    )  # fmt: skip
    answer.background = BackgroundTask(_make_ready)
    return answer


def _make_ready() -> None:
    """While the first pages are read, load the towns and the engine: then both answer at once."""
    find_towns("ready")
    make_ready()


@router.post("/set-up/again")
@relation(Relation.FOUNDER)
def begin_again(visit: Here) -> Response:
    """Throw away what was typed so far."""
    with visit.services.store.write() as session:
        draft = _open(load_draft(session, _whose(visit)))
        if draft is not None:
            drop_draft(session, draft.id)
    return RedirectResponse(BASE, HTTPStatus.SEE_OTHER)


@router.get("/set-up/{step}")
@relation(Relation.FOUNDER)
def ask(visit: Here, step: str) -> HTMLResponse:
    """Ask what belongs on one page, with what was typed before."""
    _require(step)
    with visit.services.store.read() as session:
        draft = _open(load_draft(session, _whose(visit)))
    return show_step(visit, Way(BASE), step, Answers() if draft is None else Answers.from_json(draft.body))


@router.post("/set-up/{step}")
@relation(Relation.FOUNDER)
def take(visit: Here, step: str, fields: Fields) -> Response:
    """Keep a page's answers and go on; the last page makes the tank."""
    _require(step)
    with visit.services.store.read() as session:
        newest = load_draft(session, _whose(visit))
    draft = _open(newest)
    before = Answers() if draft is None else Answers.from_json(draft.body)
    texts = texts_from(fields, step, before.shape)
    if draft is None and newest is not None and _is_same(newest, step, texts):
        return _first_answer(newest.tank)  # pressed twice: the tank is there already
    answers = before.with_step(step, texts, done="skipped" if fields.get("skip") else "given")
    try:
        if step == "place" and not fields.get("skip"):
            found = find_place(before, {**texts, "town_id": fields.get("town_id", "")})
            if found.towns:
                _keep(visit, before.with_step(step, texts))
                return show_step(visit, Way(BASE), step, before, texts=texts, towns=found.towns)
            answers = Answers(answers.typed, answers.skipped, answers.given, found.place)
        check_step(answers, step)
    except InputError as bad:
        _keep(visit, before.with_step(step, texts))
        return show_step(visit, Way(BASE), step, answers, texts=texts, faults=bad.problems)
    if step != ORDER[-1] and not fields.get("finish"):
        _keep(visit, answers)
        return RedirectResponse(f"{BASE}/{ORDER[ORDER.index(step) + 1]}", HTTPStatus.SEE_OTHER)
    try:
        with visit.services.store.write() as session:
            made = _make_tank(session, visit, answers)
    except StepError as bad:
        _keep(visit, answers)
        return show_step(visit, Way(BASE), bad.step, answers, faults=bad.problems)
    return _first_answer(made.public_id)


def _make_tank(session: Session, visit: Visit, answers: Answers) -> StoredTank:
    """Make the tank of a draft, with its first reading, all at once or not at all."""
    for step in ORDER:
        try:
            if step in answers.given:
                check_step(answers, step)
        except InputError as bad:
            raise StepError(step, bad.problems) from None
    clock = visit.services.clock
    tank = register_tank(
        session, clock, tank_toml=to_toml(tank_values(answers)), survey_toml=to_toml(survey_values(answers))
    )
    visit.access.own(session, tank.id, now=clock.now())
    _take_level(session, visit, tank, answers.counted("now"))
    draft = _open(load_draft(session, _whose(visit)))
    if draft is None:
        draft = begin_draft(session, _whose(visit), body=answers.to_json(), now=clock.now())
    save_draft(session, draft.id, body=answers.to_json(), now=clock.now(), tank_id=tank.id)
    return tank


def _take_level(session: Session, visit: Visit, tank: StoredTank, texts: Mapping[str, str]) -> None:
    level, kind = texts.get("level", ""), texts.get("level_kind", "") or "part"
    if not level:
        return
    told, given = (
        ("gauges", {"fraction": level}) if kind == "part" else ("dips", {"dip": level, "unit": kind})
    )
    asked = Asked(zone_of(tank.zone), visit.services.clock.now())
    try:
        KINDS[told].store(session, visit.services.clock, tank, read_texts(KINDS[told].members, given, asked))
    except InputError as bad:
        unit = {"length_unit": kind}
        mends = tuple(Problem(p.code, "level", in_units(p.mend, unit)) for p in bad.problems)
        raise StepError("now", mends) from None


def _keep(visit: Visit, answers: Answers) -> None:
    now = visit.services.clock.now()
    with visit.services.store.write() as session:
        draft = _open(load_draft(session, _whose(visit)))
        if draft is None:
            begin_draft(session, _whose(visit), body=answers.to_json(), now=now)
        else:
            save_draft(session, draft.id, body=answers.to_json(), now=now)


def _open(draft: StoredDraft | None) -> StoredDraft | None:
    return None if draft is None or draft.tank is not None else draft


def _whose(visit: Visit) -> int | None:
    return visit.access.caller.account_id


def _require(step: str) -> None:
    if step not in STEPS:
        raise NotFoundError


def _is_same(draft: StoredDraft, step: str, texts: Mapping[str, str]) -> bool:
    return step == ORDER[-1] and Answers.from_json(draft.body).of(step) == texts


def _first_answer(tank: str | None) -> Response:
    return RedirectResponse(f"/tanks/{tank}/first-answer", HTTPStatus.SEE_OTHER)


def _listed(answers: Answers) -> list[dict[str, str]]:
    def state(step: str) -> str:
        return "passed over" if step in answers.skipped else "answered" if step in answers.given else ""

    return [
        {"href": f"{BASE}/{key}", "title": step.title, "state": state(key)} for key, step in STEPS.items()
    ]
