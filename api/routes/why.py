"""Why this date, by program."""

from http import HTTPStatus
from typing import Annotated

from fastapi import APIRouter, Depends

from api.access import Access, access_of
from api.access.policy import Grain
from api.problems import ProblemError, problem_of_error
from api.routes.strictness import problems, take_allowance
from api.schemas.relation import Relation, relation
from api.schemas.why import WhyOut, why_out
from api.usecases.why import explain
from api.wiring import Services, services_of
from forecaster.errors import InputError

router = APIRouter(prefix="/api", tags=["forecasts"])


@router.get(
    "/tanks/{tank}/why",
    response_model=WhyOut,
    responses=problems(404, 409, 422, 429, 503),
    dependencies=[Depends(take_allowance)],
)
@relation(Relation.HOUSEHOLD)
def read_why(
    tank: str,
    services: Annotated[Services, Depends(services_of)],
    access: Annotated[Access, Depends(access_of)],
) -> WhyOut:
    """Tell what the tank's answer was made from, and where the oil went by month.

    A part whose `ground` is `survey` was not measured: the readings cannot tell it from the others. In
    any state but OK and WIDE nothing is told of what was burned. Members of the household who are not
    owners get the days of readings, not their times.
    """
    try:
        seen = explain(services.store, services.clock, tank)
    except InputError as lacking:
        faults = problem_of_error(lacking).faults
        raise ProblemError(HTTPStatus.CONFLICT, "not_enough_known", faults=faults) from None
    return why_out(seen, to_the_minute=access.grain is Grain.ANY)
