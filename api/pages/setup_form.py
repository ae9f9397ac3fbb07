"""A page of the set-up as it is shown: its questions with what was typed, what is wrong, what is assumed.

Flow     answers, problems -> **page** -> template
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from http import HTTPStatus
from typing import Any

from fastapi.responses import HTMLResponse
from markupsafe import Markup

from api.pages.charts.sketches import SKETCHES, draw_sketch
from api.pages.render import render
from api.pages.visit import Visit
from api.schemas.setup import SHAPES, STEPS, Answers
from api.schemas.setup.questions import LONGEST_LINES, Question
from api.schemas.setup.steps import questions_of
from api.sources.gazetteer import Town
from forecaster.errors import Problem

ORDER = tuple(STEPS)


@dataclass(frozen=True, slots=True)
class Asked:
    """A question with its picture, what was typed, and the mend."""

    question: Question
    typed: str
    mend: str
    picture: Markup | None


@dataclass(frozen=True, slots=True)
class Way:
    """Where a page of the set-up leads: its own address, the one before, and whether it is a change.

    Attributes
    ----------
    base
        Address that the pages stand below.
    tank
        Public id of the tank that is changed; None for one that is being set up.
    name
        What the tank is called.
    """

    base: str
    tank: str | None = None
    name: str = ""


def show_step(
    visit: Visit,
    way: Way,
    step: str,
    answers: Answers,
    *,
    texts: Mapping[str, str] | None = None,
    faults: Sequence[Problem] = (),
    towns: Sequence[Town] = (),
    status: HTTPStatus = HTTPStatus.OK,
) -> HTMLResponse:
    """Show a page of the set-up, with what was typed on it."""
    typed = answers.of(step) if texts is None else texts
    mends = {fault.field: fault.mend for fault in reversed(faults)}
    asked = [_asked(q, answers.shape, step, typed, mends) for q in questions_of(step, answers.shape)]
    asked = [
        a for a in asked if not a.question.name.startswith("confirmed") or a.typed or _may_confirm(faults)
    ]
    at = ORDER.index(step)
    return render(
        "setup_step.html",
        status=HTTPStatus.UNPROCESSABLE_ENTITY if faults else status,
        step=STEPS[step], number=at + 1, of=len(ORDER), before=ORDER[at - 1] if at else "",
        is_last=at == len(ORDER) - 1, way=way, asked=asked, shapes=_shapes(answers) if step == "shape" else (),
        mends=_list_mends(mends, questions_of(step, answers.shape)), towns=towns,
        place=answers.place.get("words", "") if step == "place" and step not in answers.skipped else "",
        is_skipped=step in answers.skipped, is_assumed=step == "measures" and not answers.shape,
        shape=answers.shape, places=visit.places(way.tank),
    )  # fmt: skip


def _list_mends(mends: Mapping[str, str], questions: Sequence[Question]) -> list[tuple[str, str]]:
    """For the list at the top: each mend with the words of its question."""
    labels = {question.name: question.label for question in questions}
    return [(name, f"{labels.get(name, name)}: {mend}") for name, mend in mends.items()]


def texts_from(fields: Mapping[str, str], step: str, shape: str) -> dict[str, str]:
    """Take a page's own fields out of a form, cut to what is kept."""
    names = [q.name for q in questions_of(step, shape)]
    return {name: fields[name].strip()[:LONGEST_LINES] for name in names if fields.get(name, "").strip()}


def _asked(
    question: Question, shape: str, step: str, typed: Mapping[str, str], mends: Mapping[str, str]
) -> Asked:
    sketch = {"measures": shape or "moulded", "sensor": "sensor"}.get(step, "")
    picture = draw_sketch(sketch, question.picture) if sketch and question.picture else None
    return Asked(question, typed.get(question.name, ""), mends.get(question.name, ""), picture)


def _may_confirm(faults: Sequence[Problem]) -> bool:
    return any("tick that below" in fault.mend for fault in faults)


def _shapes(answers: Answers) -> list[dict[str, Any]]:
    return [
        {
            "key": key,
            "words": words,
            "says": says,
            "picture": draw_sketch(key),
            "chosen": key == answers.shape,
        }
        for key, (words, says) in SHAPES.items()
        if key in SKETCHES
    ]
