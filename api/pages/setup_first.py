"""The first answer, right after set-up: what the household said, how sure that is, what would make it surer.

Flow     kept tank and survey -> first_answer, forecast -> **page**
"""

import math
from http import HTTPStatus
from typing import Any

from fastapi import APIRouter
from fastapi.responses import HTMLResponse
from starlette.responses import Response

from api.pages.render import render
from api.pages.sight import Sight, look_at_tank
from api.pages.telling import tell
from api.pages.visit import Here
from api.schemas.relation import Relation, relation
from api.schemas.setup import Answers
from api.store import StoreUnavailableError
from api.store.drafts import load_draft_of_tank
from api.store.tanks import load_tank
from api.usecases.first_answer import YearlyBurn, yearly_burn
from forecaster.confidence import ToldForecast
from forecaster.dwelling import Survey
from forecaster.errors import InputError
from forecaster.phrases import litres_text

router = APIRouter()

LEAST_GAIN = 0.98
"""A span that would be no smaller than so much of today's is not worth a question. [-]"""
WORDS = {
    "floor_area": ("house", "Floor area and year of the house"),
    "boiler": ("boiler", "The kind of boiler"),
    "hot_water": ("boiler", "What heats the water, and for how many people"),
}
"""For each answer that would narrow the span the page that asks it, and its words."""


@router.get("/tanks/{tank}/first-answer")
@relation(Relation.OWNER)
def read_first_answer(visit: Here, tank: str) -> Response:
    """Say what the survey alone tells, and what would tell more."""
    try:
        sight = look_at_tank(visit.services, tank)
        survey = sight.inputs.survey or Survey()
        burn = yearly_burn(survey, sight.inputs.tank.fuel)
    except StoreUnavailableError:
        return render("unavailable.html", status=HTTPStatus.SERVICE_UNAVAILABLE)
    except InputError as lacking:
        mends = tuple(problem.mend for problem in lacking.problems)
        return render("lacking.html", status=HTTPStatus.CONFLICT, mends=mends)
    with visit.services.store.read() as session:
        stored = load_tank(session, tank)
        draft = load_draft_of_tank(session, stored.id)
    answers = Answers() if draft is None else Answers.from_json(draft.body)
    page = tell(sight)
    return _page(visit, stored, sight, burn, answers, page)


def _page(
    visit: Any, stored: Any, sight: Sight, burn: YearlyBurn, answers: Answers, page: Any
) -> HTMLResponse:
    return render(
        "setup_first.html", tank=stored, page=page, burn=_burn_words(burn), narrows=_narrows(sight, burn, answers),
        is_guessed=_is_guessed(answers),
        place=answers.place.get("words", ""), is_place_assumed="place" in answers.skipped,
        capacity=litres_text(sight.inputs.tank.capacity_l), safe_fill=litres_text(sight.inputs.tank.safe_fill_l),
        places=visit.places(stored.public_id),
    )  # fmt: skip


def _burn_words(burn: YearlyBurn) -> str:
    low, middle, high = (round(litres, -2) for litres in (burn.low, burn.middle, burn.high))
    return (
        f"By what you told, the house burns about {middle:,.0f} litres in a normal year; of ten houses "
        f"described so, one burns less than {low:,.0f} and one more than {high:,.0f}. That is about "
        f"{_day(burn.january)} a day in January and {_day(burn.july)} in July."
    )


def _day(litres: float) -> str:
    if litres < 0.95:
        return "less than a litre"
    return "1 litre" if litres < 1.5 else f"{litres:.0f} litres"


def _narrows(sight: Sight, burn: YearlyBurn, answers: Answers) -> list[dict[str, str]]:
    """What would make the answer surer: what is lacking altogether first, then by how much it would help."""
    found: list[tuple[str, str]] = []
    if not isinstance(sight.forecast, ToldForecast):
        words = "A first reading, by gauge or stick: without one nothing is said of the oil in the tank."
        found.append(("tell", words))
    if _is_guessed(answers):
        found.append(("set-up/shape", "The tank’s measures: until then its litres are a guess."))
    if "place" in answers.skipped:
        words = "Where it stands: until then the weather is that of the English Midlands."
        found.append(("set-up/place", words))
    if sight.inputs.receipts is None:
        words = "Bills of past deliveries: two or three say more than all else about your house."
        found.append(("tell/bills", words))
    for name, span in sorted(burn.narrower.items(), key=lambda item: item[1]):
        step, words = WORDS[name]
        if span < LEAST_GAIN * burn.span:
            words = f"{words}: the span above would be {_part(burn.span, span)} narrower."
            found.append((f"set-up/{step}", words))
    if sight.inputs.tank.sensor_height_mm is None:
        words = "A reading every week or two: after some weeks the tank itself says how fast it empties."
        found.append(("tell", words))
    else:
        words = "The sensor’s readings: after some weeks the tank itself says how fast it empties."
        found.append(("messages", words))
    return [{"href": href, "words": words} for href, words in found]


def _is_guessed(answers: Answers) -> bool:
    """Whether the tank was set up here and not measured."""
    was_here = bool(answers.given or answers.skipped)
    return was_here and (not answers.shape or "measures" in answers.skipped)


def _part(wide: float, narrow: float) -> str:
    """Say by how much a span shrinks, its ends being so many times apart."""
    part = 1.0 - math.log(narrow) / math.log(wide)
    parts = (
        (0.05, "a little"),
        (0.1, "a tenth"),
        (0.2, "a fifth"),
        (0.25, "a quarter"),
        (0.33, "a third"),
        (0.5, "half"),
    )
    return min(parts, key=lambda one: abs(one[0] - part))[1]
