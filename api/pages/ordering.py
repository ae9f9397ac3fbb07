"""How oil is ordered and what it costs, by form: lead time, smallest delivery, prices, what can be spent.

Flow     form -> **ordering** -> store; forecast -> what it means now -> template
"""

from collections.abc import Mapping
from http import HTTPStatus

from fastapi import APIRouter
from fastapi.responses import HTMLResponse

from api.pages.forms import Fields
from api.pages.render import render
from api.pages.visit import Here, Visit
from api.schemas.ordering import BUDGET, LEAD, MORE, PRICES, read_ordering_form, typed_of
from api.schemas.relation import Relation, relation
from api.schemas.told.members import Asked
from api.store import StoreUnavailableError
from api.store.orderings import load_ordering, save_ordering
from api.store.tanks import load_tank
from api.usecases.order_settings import settings_of_tank
from api.usecases.refresh_forecast import refresh_forecast
from forecaster.civil import civil_date, zone_of
from forecaster.errors import InputError, Problem
from forecaster.wording import answer

router = APIRouter()
PARTS = (
    ("How oil comes", LEAD),
    ("What it costs", PRICES),
    ("What can be spent", BUDGET),
    ("More, seldom needed", MORE),
)


@router.get("/tanks/{tank}/ordering")
@relation(Relation.OWNER)
def show_ordering(visit: Here, tank: str) -> HTMLResponse:
    """Show how oil is ordered, and what that means now."""
    return _page(visit, tank)


@router.post("/tanks/{tank}/ordering")
@relation(Relation.OWNER)
def take_ordering(visit: Here, tank: str, fields: Fields) -> HTMLResponse:
    """Keep how oil is ordered; or show the form again, with what was typed."""
    services = visit.services
    try:
        with services.store.write() as session:
            stored = load_tank(session, tank)
            said = read_ordering_form(fields, Asked(zone_of(stored.zone), services.clock.now()))
            save_ordering(session, stored.id, said, now=services.clock.now())
    except InputError as bad:
        return _page(visit, tank, typed=fields, faults=tuple(bad.problems))
    except StoreUnavailableError:
        return render("unavailable.html", status=HTTPStatus.SERVICE_UNAVAILABLE)
    return _page(visit, tank, is_done=True)


def _page(
    visit: Visit,
    tank: str,
    *,
    typed: Mapping[str, str] | None = None,
    faults: tuple[Problem, ...] = (),
    is_done: bool = False,
) -> HTMLResponse:
    with visit.services.store.read() as session:
        stored = load_tank(session, tank)
        said = load_ordering(session, stored.id)
    return render(
        "ordering.html",
        status=HTTPStatus.UNPROCESSABLE_ENTITY if faults else HTTPStatus.OK,
        tank=stored, parts=PARTS, typed=typed_of(said) if typed is None else typed, is_done=is_done,
        mends={(fault.field or "").lstrip("/"): fault.mend for fault in reversed(faults)},
        means="" if faults else _means(visit, tank), places=visit.places(tank),
    )  # fmt: skip


def _means(visit: Visit, tank: str) -> str:
    """What the answer says now, with what was said here; empty where too little is known for one."""
    services = visit.services
    try:
        forecast = refresh_forecast(services.store, services.clock, tank)
    except InputError:
        return ""
    with services.store.read() as session:
        stored = load_tank(session, tank)
        zone = zone_of(stored.zone)
        settings = settings_of_tank(session, stored.id, today=civil_date(forecast.as_of, zone))
    return answer(forecast, zone=zone, settings=settings).sentence
