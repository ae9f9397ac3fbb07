"""Readings come in: one, or up to a thousand, each stored once."""

from collections import Counter
from http import HTTPStatus
from typing import Annotated, Any

from fastapi import APIRouter, Depends, Response

from api.problems import Fault, ProblemError, faults_of
from api.problems.body import BATCH_BYTES, SINGLE_BYTES, json_body, parse_json
from api.routes.strictness import problems, take_allowance
from api.schemas.readings import (
    BATCH_SCHEMA,
    MAX_BATCH,
    READING_SCHEMA,
    STATUS,
    FaultOut,
    ReadingOut,
    ReadingsOut,
    Sent,
    read_reading,
)
from api.schemas.relation import Relation, relation
from api.store.tanks import load_tank
from api.usecases.record_readings import Recorded, judge_readings, record_readings
from api.wiring import Services, services_of

router = APIRouter(prefix="/api", tags=["readings"])

MAX_FAULTS = 100
"""At most so many faults of a batch are named where none of it can be used."""
_CONFLICT = Fault("", "conflict", "another value is kept under this sensor and time; the first stays")
_FAR_FUTURE = Fault("/at", "far_future", "set the clock: the time is more than 24 hours ahead")


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
        results = _store(services, tank, sent, sensor)
        refused = any(r.status in ("conflict", "refused") for r in results)
    else:
        if len(raw) > SINGLE_BYTES:
            raise ProblemError(HTTPStatus.REQUEST_ENTITY_TOO_LARGE, "too_large")
        one = read_reading(value)
        if one.measurement is None:
            raise ProblemError(HTTPStatus.UNPROCESSABLE_ENTITY, "not_usable", faults=faults_of(one.faults))
        results = _store(services, tank, [one], value.get("sensor"))
        refused = False
        if results[0].status == "conflict":
            raise ProblemError(HTTPStatus.CONFLICT, "conflict", detail=f"{_CONFLICT.mend}.")
        if results[0].status == "refused":
            raise ProblemError(HTTPStatus.UNPROCESSABLE_ENTITY, "far_future", faults=[_FAR_FUTURE])
    counts = Counter(result.status for result in results)
    response.status_code = 207 if refused else 201 if counts["new"] else 200
    return ReadingsOut(
        new=counts["new"],
        known=counts["known"],
        conflict=counts["conflict"],
        refused=counts["refused"],
        results=results,
    )


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
        read_reading(item, pointer=f"/readings/{i}", may_name_sensor=False) for i, item in enumerate(items)
    ]
    if all(one.measurement is None for one in sent):
        faults = [fault for one in sent for fault in faults_of(one.faults)][:MAX_FAULTS]
        raise ProblemError(HTTPStatus.UNPROCESSABLE_ENTITY, "not_usable", faults=faults)
    return sent, sensor


def _store(services: Services, public_id: str, sent: list[Sent], sensor: str | None) -> list[ReadingOut]:
    """Store what can be stored; after the commit, say what became of each."""
    measurements = [s.measurement for s in sent if s.measurement is not None]
    with services.store.write() as session:
        tank = load_tank(session, public_id)
        recorded = record_readings(session, services.clock, tank, measurements, sensor=sensor, source="http")
    with services.store.read() as session:
        flags = judge_readings(session, tank, recorded)
    stored = iter(zip(recorded, flags, strict=True))
    results = []
    for i, one in enumerate(sent):
        pointer = f"/readings/{i}"
        results.append(
            _refused(one)
            if one.measurement is None
            else _answer(*next(stored), faults_of(one.faults), pointer)
        )
    return results


def _refused(one: Sent) -> ReadingOut:
    return ReadingOut(status="refused", at=None, clock=False, flags=[], errors=_out(faults_of(one.faults)))


def _answer(recorded: Recorded, flags: tuple[str, ...], faults: list[Fault], pointer: str) -> ReadingOut:
    status = STATUS[recorded.outcome]
    if status == "conflict":
        faults = [Fault(pointer, _CONFLICT.code, _CONFLICT.mend)]
    elif status == "refused":
        faults = [Fault(pointer + _FAR_FUTURE.pointer, _FAR_FUTURE.code, _FAR_FUTURE.mend)]
    return ReadingOut(
        status=status,
        at=recorded.reading.at if status in ("new", "known") else None,
        clock=recorded.clock_was_ahead,
        flags=list(flags),
        errors=_out(faults),
    )


def _out(faults: list[Fault]) -> list[FaultOut]:
    return [FaultOut(pointer=f.pointer, code=f.code, mend=f.mend) for f in faults]
