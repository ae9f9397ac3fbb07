"""Readings come in: one, or up to a thousand, each stored once."""

from dataclasses import replace
from http import HTTPStatus
from typing import Annotated, Any

from fastapi import APIRouter, Depends, Response

from api.access import Access, access_of
from api.problems import Fault, ProblemError, faults_of
from api.problems.body import BATCH_BYTES, SINGLE_BYTES, json_body, parse_json
from api.routes.recording import CONFLICT, FAR_FUTURE, require_one_usable, store_sent, sum_up
from api.routes.strictness import problems, take_allowance
from api.schemas.readings import (
    BATCH_SCHEMA,
    MAX_BATCH,
    READING_SCHEMA,
    ReadingsOut,
    Sent,
    read_reading,
)
from api.schemas.relation import Relation, relation
from api.wiring import Services, services_of

router = APIRouter(prefix="/api", tags=["readings"])


@router.post(
    "/tanks/{tank}/readings",
    response_model=ReadingsOut,
    responses={
        200: {"model": ReadingsOut, "description": "every reading was known already"},
        201: {"model": ReadingsOut, "description": "stored; none was refused"},
        207: {"model": ReadingsOut, "description": "some readings of the batch were refused; see results"},
        **problems(400, 404, 408, 409, 413, 415, 422, 429, 503),
    },
    openapi_extra={
        "requestBody": {
            "required": True,
            "content": {"application/json": {"schema": {"anyOf": [READING_SCHEMA, BATCH_SCHEMA]}}},
        }
    },
    dependencies=[Depends(take_allowance)],
)
@relation(Relation.OWNER, Relation.DEVICE)
def add_readings(
    tank: str,
    response: Response,
    raw: Annotated[bytes, Depends(json_body(BATCH_BYTES))],
    services: Annotated[Services, Depends(services_of)],
    access: Annotated[Access, Depends(access_of)],
) -> ReadingsOut:
    """Store one reading, or a batch of up to 1,000.

    A reading's key is its sensor and its time, to the second. The same again changes nothing, so a
    message that got no answer can be sent again. Another value under the same key is refused, and
    the first stays.

    Send one reading as an object, or a batch as `{"readings": [...]}`. Of a batch the good readings
    are stored and the bad ones named (207); a batch without a good one is refused whole (422).
    Without `sensor` an ullage is taken by the tank's level sensor, a dip by its dip stick, litres
    and fractions by its gauge. What is answered is stored.
    """
    value = parse_json(raw)
    if isinstance(value, dict) and "readings" in value:
        sent, sensor = _read_batch(value)
        results = store_sent(services, tank, sent, sensor=access.sensor_for(sensor), source="http")
        return sum_up(response, results, is_batch=True)
    if len(raw) > SINGLE_BYTES:
        raise ProblemError(HTTPStatus.REQUEST_ENTITY_TOO_LARGE, "too_large")
    one = read_reading(value)
    if one.measurement is None:
        raise ProblemError(HTTPStatus.UNPROCESSABLE_ENTITY, "not_usable", faults=faults_of(one.faults))
    results = store_sent(services, tank, [one], sensor=access.sensor_for(value.get("sensor")), source="http")
    if results[0].status == "conflict":
        raise ProblemError(HTTPStatus.CONFLICT, "conflict", detail=f"{CONFLICT.mend}.")
    if results[0].status == "refused":
        raise ProblemError(HTTPStatus.UNPROCESSABLE_ENTITY, "far_future", faults=[FAR_FUTURE])
    return sum_up(response, results, is_batch=False)


def _read_batch(value: dict[str, Any]) -> tuple[list[Sent], str | None]:
    items, sensor = value["readings"], value.get("sensor")
    faults = []
    if value.keys() - {"readings", "sensor"}:
        faults.append(Fault("", "unknown_member", "give readings and sensor, and no other member"))
    if not isinstance(items, list) or not items:
        faults.append(Fault("/readings", "no_readings", "give a list of at least one reading"))
    elif len(items) > MAX_BATCH:
        raise ProblemError(
            HTTPStatus.REQUEST_ENTITY_TOO_LARGE,
            "too_many_readings",
            detail=f"Send at most {MAX_BATCH} readings at once.",
        )
    if "sensor" in value and not isinstance(sensor, str):
        faults.append(Fault("/sensor", "not_a_text", "give a text in quotes"))
    if faults:
        raise ProblemError(HTTPStatus.UNPROCESSABLE_ENTITY, "not_usable", faults=faults)
    sent = [
        replace(read_reading(item, pointer=pointer, may_name_sensor=False), pointer=pointer)
        for pointer, item in ((f"/readings/{i}", item) for i, item in enumerate(items))
    ]
    require_one_usable(sent)
    return sent, sensor
