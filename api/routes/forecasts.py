"""A tank's forecast goes out."""

from http import HTTPStatus
from typing import Annotated

from fastapi import APIRouter, Depends
from fastapi.responses import JSONResponse

from api.access import Access, access_of
from api.access.policy import Grain
from api.problems import ProblemError, problem_of_error
from api.routes.strictness import problems, take_allowance
from api.schemas.forecasts import ForecastOut, coarse_forecast_json, forecast_json
from api.schemas.relation import Relation, relation
from api.usecases.refresh_forecast import refresh_forecast
from api.wiring import Services, services_of
from forecaster.errors import InputError

router = APIRouter(prefix="/api", tags=["forecasts"])


@router.get(
    "/tanks/{tank}/forecast",
    response_model=ForecastOut,
    responses=problems(404, 409, 422, 429, 503),
    dependencies=[Depends(take_allowance)],
)
@relation(Relation.HOUSEHOLD, Relation.DISTRIBUTOR)
def read_forecast(
    tank: str,
    services: Annotated[Services, Depends(services_of)],
    access: Annotated[Access, Depends(access_of)],
) -> JSONResponse:
    """Give the tank's forecast as of now.

    In the states OK and WIDE it tells litres, dates and an order. In any other state these are
    withheld: `litres`, `run_dry` and `order` are null, `daily` is empty; `last_trusted`,
    `appointment` and `reasons` say what is known and what to do. 409: too little is known of the
    tank's place to forecast at all. A distributor gets litres rounded to ten, one instant a day, no
    reasons and no prices.
    """
    try:
        forecast = refresh_forecast(services.store, services.clock, tank)
    except InputError as lacking:
        faults = problem_of_error(lacking).faults
        raise ProblemError(HTTPStatus.CONFLICT, "not_enough_known", faults=faults) from None
    is_fine = access.grain >= Grain.DAY
    return JSONResponse(forecast_json(forecast) if is_fine else coarse_forecast_json(forecast))
