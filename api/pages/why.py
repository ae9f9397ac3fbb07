"""Why this date: the page that takes an answer apart.

Flow     request -> **why** -> explanation, telling -> template
"""

from http import HTTPStatus

from fastapi import APIRouter
from fastapi.responses import HTMLResponse

from api.access.policy import Grain
from api.pages.render import render
from api.pages.telling.why import tell_why
from api.pages.visit import Here
from api.schemas.relation import Relation, relation
from api.store import StoreUnavailableError
from api.usecases.why import explain
from forecaster.errors import InputError

router = APIRouter()


@router.get("/tanks/{tank}/why")
@relation(Relation.HOUSEHOLD)
def read_why(visit: Here, tank: str) -> HTMLResponse:
    """Tell what the answer was made from, and where the oil went."""
    services = visit.services
    try:
        page = tell_why(
            explain(services.store, services.clock, tank), to_the_minute=visit.access.grain is Grain.ANY
        )
    except StoreUnavailableError:
        return render("unavailable.html", status=HTTPStatus.SERVICE_UNAVAILABLE)
    except InputError as lacking:
        mends = tuple(problem.mend for problem in lacking.problems)
        return render("lacking.html", status=HTTPStatus.CONFLICT, mends=mends)
    return render("why.html", page=page, tank=tank, places=visit.places(tank))
