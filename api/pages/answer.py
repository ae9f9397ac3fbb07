"""The addresses of the pages.

Flow     request -> **answer** -> sight, telling -> template
"""

from http import HTTPStatus
from typing import Annotated

from fastapi import APIRouter, Depends
from fastapi.responses import HTMLResponse

from api.pages.render import render
from api.pages.sight import list_own_tanks, look_at_tank
from api.pages.telling import tell
from api.pages.visit import Here as Visited
from api.schemas.relation import Relation, relation
from api.store import NotFoundError, StoreUnavailableError
from api.wiring import Services, services_of
from forecaster.errors import InputError

router = APIRouter()
Here = Annotated[Services, Depends(services_of)]


@router.get("/")
@relation(Relation.SELF)
def read_tanks(visit: Visited) -> HTMLResponse:
    """List the tanks of whose household one is."""
    try:
        return render(
            "tanks.html", tanks=list_own_tanks(visit.services, visit.access), places=visit.places(),
            may_set_up=Relation.FOUNDER in visit.access.held,
        )  # fmt: skip
    except StoreUnavailableError:
        return _come_back()


@router.get("/cautions")
@relation(Relation.ANYONE)
def read_cautions() -> HTMLResponse:
    """Give the cautions, to print and hang up."""
    return render("cautions.html")


@router.get("/tanks/{tank}")
@relation(Relation.HOUSEHOLD)
def read_answer(tank: str, services: Here, visit: Visited) -> HTMLResponse:
    """Give the answer: how much is left, how much to order between which dates, how sure."""
    try:
        return render(
            "answer.html", page=tell(look_at_tank(services, tank)), places=visit.places(tank),
            own=tank if Relation.OWNER in visit.access.held else None,
        )  # fmt: skip
    except NotFoundError:
        return render("missing.html", status=HTTPStatus.NOT_FOUND)
    except StoreUnavailableError:
        return _come_back()
    except InputError as lacking:
        mends = tuple(problem.mend for problem in lacking.problems)
        return render("lacking.html", status=HTTPStatus.CONFLICT, mends=mends)


def _come_back() -> HTMLResponse:
    return render("unavailable.html", status=HTTPStatus.SERVICE_UNAVAILABLE)
