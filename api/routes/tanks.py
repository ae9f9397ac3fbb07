"""Tanks come in."""

from typing import Annotated

from fastapi import APIRouter, Depends, Response

from api.access import Access, access_of
from api.problems import problem_of_error
from api.problems.body import SINGLE_BYTES, json_body, parse_json
from api.routes.strictness import problems
from api.schemas.relation import Relation, relation
from api.schemas.tanks import SURVEY_NAMES, TANK_NAMES, TANK_SCHEMA, TankOut, read_tank, tank_out
from api.usecases.record_readings import describe
from api.usecases.register_tank import register_tank
from api.wiring import Services, services_of
from forecaster.errors import SurveyError, TankError

router = APIRouter(prefix="/api", tags=["tanks"])


@router.post(
    "/tanks",
    status_code=201,
    responses=problems(400, 408, 413, 415, 422, 503),
    openapi_extra={
        "requestBody": {"required": True, "content": {"application/json": {"schema": TANK_SCHEMA}}}
    },
)
@relation(Relation.FOUNDER)
def add_tank(
    response: Response,
    raw: Annotated[bytes, Depends(json_body(SINGLE_BYTES))],
    services: Annotated[Services, Depends(services_of)],
    access: Annotated[Access, Depends(access_of)],
) -> TankOut:
    """Register a tank, with the keys of tank.toml and, if you have them, of survey.toml."""
    sent = read_tank(parse_json(raw))
    try:
        with services.store.write() as session:
            stored = register_tank(
                session, services.clock, tank_toml=sent.tank_toml, survey_toml=sent.survey_toml
            )
            access.own(session, stored.id, now=services.clock.now())
    except TankError as bad:
        raise problem_of_error(bad, within="/tank", known=TANK_NAMES) from None
    except SurveyError as bad:
        raise problem_of_error(bad, within="/survey", known=SURVEY_NAMES) from None
    response.headers["Location"] = f"/api/tanks/{stored.public_id}/forecast"
    return tank_out(stored, describe(sent.tank_toml))
