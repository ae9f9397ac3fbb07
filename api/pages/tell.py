"""A form for each thing that people tell, on a phone beside the tank; works without scripts.

After saving, the page says in words what was stored, and asks nothing else.

Flow     form -> **tell** -> use case -> page
"""

from collections.abc import Mapping
from http import HTTPStatus

from fastapi import APIRouter
from fastapi.responses import HTMLResponse

from api.pages.forms import Fields
from api.pages.render import render
from api.pages.visit import Here, Visit
from api.schemas.relation import Relation, relation
from api.schemas.told import KINDS, Kind, read_texts
from api.schemas.told.members import Asked
from api.store import NotFoundError, StoreUnavailableError
from api.store.tanks import StoredTank, load_tank
from api.usecases.told import Stored
from forecaster.civil import zone_of
from forecaster.errors import InputError, Problem

router = APIRouter()


@router.get("/tanks/{tank}/tell")
@relation(Relation.OWNER)
def show_what_to_tell(visit: Here, tank: str) -> HTMLResponse:
    """List what may be told of a tank."""
    return render("tell.html", tank=visit.load_tank(tank), kinds=KINDS.values(), places=visit.places(tank))


@router.get("/tanks/{tank}/tell/{what}")
@relation(Relation.OWNER)
def show_form(visit: Here, tank: str, what: str) -> HTMLResponse:
    """Ask for one thing."""
    return _form(visit, visit.load_tank(tank), _kind(what))


@router.post("/tanks/{tank}/tell/{what}")
@relation(Relation.OWNER)
def take_form(visit: Here, tank: str, what: str, fields: Fields) -> HTMLResponse:
    """Store one thing, and say what was stored; or show the form again, with what was typed."""
    kind, services = _kind(what), visit.services
    try:
        with services.store.write() as session:
            stored = load_tank(session, tank)
            asked = Asked(zone_of(stored.zone), services.clock.now())
            told = kind.store(session, services.clock, stored, read_texts(kind.members, fields, asked))
    except InputError as bad:
        faults = tuple(Problem(p.code, p.field.lstrip("/"), p.mend) for p in bad.problems)
        return _form(visit, visit.load_tank(tank), kind, typed=fields, faults=faults)
    except StoreUnavailableError:
        return render("unavailable.html", status=HTTPStatus.SERVICE_UNAVAILABLE)
    if told.status == "conflict":
        return _form(visit, stored, kind, typed=fields, told=told, status=HTTPStatus.CONFLICT)
    return render("told.html", tank=stored, kind=kind, told=told, places=visit.places(tank))


def _form(
    visit: Visit,
    tank: StoredTank,
    kind: Kind,
    *,
    typed: Mapping[str, str] | None = None,
    faults: tuple[Problem, ...] = (),
    told: Stored | None = None,
    status: HTTPStatus = HTTPStatus.OK,
) -> HTMLResponse:
    mends = {fault.field: fault.mend for fault in reversed(faults)}
    return render(
        "tell_form.html",
        status=HTTPStatus.UNPROCESSABLE_ENTITY if faults else status,
        tank=tank,
        kind=kind,
        typed=typed or {},
        mends=mends,
        told=told,
        places=visit.places(tank.public_id),
    )


def _kind(what: str) -> Kind:
    if what not in KINDS:
        raise NotFoundError
    return KINDS[what]
