"""Readings come in as Sensor Measurement Lists."""

from typing import Annotated

from fastapi import APIRouter, Depends, Response
from pydantic import Field

from api.access import Access, access_of
from api.problems.body import BATCH_BYTES, json_body, parse_json
from api.routes.recording import require_one_usable, store_sent, sum_up
from api.routes.strictness import problems, take_allowance
from api.schemas.readings import ReadingsOut
from api.schemas.relation import Relation, relation
from api.schemas.senml import MEDIA_TYPE, PACK_SCHEMA, read_pack
from api.wiring import Services, services_of

router = APIRouter(prefix="/api", tags=["readings"])


class PackOut(ReadingsOut):
    """What became of a pack: its levels in order of time, and how many records were no level of a tank."""

    passed_over: int = Field(description="records whose names end in none of the words that are read")


@router.post(
    "/tanks/{tank}/senml",
    response_model=PackOut,
    responses={
        200: {"model": PackOut, "description": "every reading was known already"},
        201: {"model": PackOut, "description": "stored; none was refused"},
        207: {"model": PackOut, "description": "some readings of the pack were refused; see results"},
        **problems(400, 404, 408, 413, 415, 422, 429, 503),
    },
    openapi_extra={"requestBody": {"required": True, "content": {MEDIA_TYPE: {"schema": PACK_SCHEMA}}}},
    dependencies=[Depends(take_allowance)],
)
@relation(Relation.OWNER, Relation.DEVICE)
def add_pack(
    tank: str,
    response: Response,
    raw: Annotated[bytes, Depends(json_body(BATCH_BYTES, media_type=MEDIA_TYPE))],
    services: Annotated[Services, Depends(services_of)],
    access: Annotated[Access, Depends(access_of)],
) -> PackOut:
    """Store the levels of a SenML pack (RFC 8428), each once.

    The last word of a record's name says what was measured: `ullage`, `dip` (m, mm, cm), `litres`
    (l, m3), `fraction` (/, /100); `air` and `oil` (Cel, K) go with the level of the same device and
    time. Records without a time are of now. Other records are passed over. A pack with a bad record
    is stored without it (207).
    """
    pack = read_pack(parse_json(raw), now=services.clock.now())
    if pack.sent or not pack.passed_over:
        require_one_usable(pack.sent)
    results = store_sent(services, tank, pack.sent, sensor=access.sensor_for(None), source="senml")
    summed = sum_up(response, results, is_batch=True)
    return PackOut(**dict(summed), passed_over=pack.passed_over)
