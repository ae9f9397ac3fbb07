"""Sensors whose messages cannot be changed: how theirs are read, tried out, stored; and what could not be read."""

import json
from dataclasses import replace
from datetime import datetime
from http import HTTPStatus
from typing import Annotated, Any

from fastapi import APIRouter, Depends, Response

from api.access import Access, access_of
from api.problems import Fault, ProblemError, problem_of_error
from api.problems.body import SINGLE_BYTES, json_body, parse_json
from api.routes.recording import require_one_usable, store_sent, sum_up
from api.routes.strictness import problems, take_allowance
from api.schemas.mapping import apply_mapping, stored_mapping
from api.schemas.mapping.keep import keep_mapping
from api.schemas.mapping.preview import PreviewOut, preview_message
from api.schemas.mapping.sent import (
    DRAFT_SCHEMA,
    SAMPLE_SCHEMA,
    LetterOut,
    LettersOut,
    MappingOut,
    MappingsOut,
    read_mapping_sent,
    read_sample,
)
from api.schemas.readings import ReadingsOut
from api.schemas.relation import Relation, relation
from api.schemas.values import find_foul_values
from api.store import Session
from api.store.letters import dropped_of, list_letters
from api.store.mappings import (
    StoredMapping,
    TopicTakenError,
    delete_mapping,
    list_mappings,
    load_mapping,
)
from api.store.tanks import load_tank
from api.wiring import Services, services_of
from forecaster.errors import InputError

router = APIRouter(prefix="/api", tags=["sensors' own messages"])
Here = Annotated[Services, Depends(services_of)]
Body = Annotated[bytes, Depends(json_body(SINGLE_BYTES))]
NEWEST = 50
"""Letters listed at once."""
SHOWN = 500
"""Characters of a letter that are shown."""


def _json(schema: dict[str, Any]) -> dict[str, Any]:
    return {"requestBody": {"required": True, "content": {"application/json": {"schema": schema}}}}


@router.post(
    "/tanks/{tank}/mappings/preview",
    responses=problems(400, 404, 408, 413, 415, 422, 429, 503),
    openapi_extra=_json(SAMPLE_SCHEMA),
    dependencies=[Depends(take_allowance)],
)
@relation(Relation.OWNER)
def preview_mapping(tank: str, raw: Body, services: Here) -> PreviewOut:
    """Say what a sample message would be stored as by a draft mapping, or what is wrong where.

    Nothing is stored. `places` lists where the sample holds numbers and texts, to point at.
    """
    try:
        mapping, message = read_sample(parse_json(raw))
    except InputError as bad:
        raise problem_of_error(bad) from None
    with services.store.read() as session:
        load_tank(session, tank)
    return preview_message(mapping, message, arrived=services.clock.now())


@router.post(
    "/tanks/{tank}/mappings",
    status_code=201,
    responses=problems(400, 404, 408, 409, 413, 415, 422, 429, 503),
    openapi_extra=_json(DRAFT_SCHEMA),
    dependencies=[Depends(take_allowance)],
)
@relation(Relation.OWNER)
def add_mapping(tank: str, response: Response, raw: Body, services: Here) -> MappingOut:
    """Store how a sensor's own messages are read.

    With a `topic`, messages that come there over MQTT are read by it; without, those sent to the
    address in `Location`. Another mapping of the same topic is refused (409).
    """
    try:
        sent = read_mapping_sent(parse_json(raw))
    except InputError as bad:
        raise problem_of_error(bad) from None
    with services.store.write() as session:
        stored = load_tank(session, tank)
        try:
            made = keep_mapping(session, stored, sent, mode=services.settings.mode, now=services.clock.now())
        except InputError as bad:
            raise problem_of_error(bad) from None
        except TopicTakenError:
            fault = Fault("/topic", "topic_taken", "give a topic that no other mapping has")
            raise ProblemError(HTTPStatus.CONFLICT, "topic_taken", faults=[fault]) from None
        answer = _out(session, made)
    response.headers["Location"] = f"/api/tanks/{tank}/mappings/{made.public_id}/messages"
    return answer


@router.get("/tanks/{tank}/mappings", responses=problems(404, 422, 503))
@relation(Relation.OWNER)
def read_mappings(tank: str, services: Here) -> MappingsOut:
    """List how the tank's sensors are read."""
    with services.store.read() as session:
        found = list_mappings(session, load_tank(session, tank).id)
        return MappingsOut(mappings=[_out(session, one) for one in found])


@router.delete("/tanks/{tank}/mappings/{mapping}", status_code=204, responses=problems(404, 422, 503))
@relation(Relation.OWNER)
def remove_mapping(tank: str, mapping: str, services: Here) -> None:
    """Forget a mapping, with the messages that could not be read by it; readings stay."""
    with services.store.write() as session:
        delete_mapping(session, load_tank(session, tank).id, mapping)


@router.post(
    "/tanks/{tank}/mappings/{mapping}/messages",
    response_model=ReadingsOut,
    responses={
        200: {"model": ReadingsOut, "description": "every reading was known already"},
        201: {"model": ReadingsOut, "description": "stored; none was refused"},
        207: {"model": ReadingsOut, "description": "some readings were refused; see results"},
        **problems(400, 404, 408, 413, 415, 422, 429, 503),
    },
    openapi_extra=_json({"description": "whatever the sensor sends, as JSON"}),
    dependencies=[Depends(take_allowance)],
)
@relation(Relation.OWNER, Relation.DEVICE)
def add_message(
    tank: str,
    mapping: str,
    response: Response,
    raw: Body,
    services: Here,
    access: Annotated[Access, Depends(access_of)],
) -> ReadingsOut:
    """Store what a sensor's own message holds by its mapping.

    A message without a time is of now. Errors point at the member of the mapping that led to them.
    """
    message = parse_json(raw)
    with services.store.read() as session:
        found = load_mapping(session, load_tank(session, tank).id, mapping)
    foul = find_foul_values(message, known=frozenset())
    if foul:
        faults = [Fault("", f.code, f.mend) for f in foul[:1]]
        raise ProblemError(HTTPStatus.UNPROCESSABLE_ENTITY, "not_usable", faults=faults)
    applied = apply_mapping(stored_mapping(found.body), message, arrived=services.clock.now())
    sent = [replace(one, pointer="") for one in applied.sent]
    require_one_usable(sent)
    results = store_sent(services, tank, sent, sensor=access.sensor_for(_named(found)), source="http")
    return sum_up(response, results, is_batch=True)


@router.get("/tanks/{tank}/letters", responses=problems(404, 422, 503))
@relation(Relation.OWNER)
def read_letters(tank: str, services: Here) -> LettersOut:
    """List the newest messages that came over MQTT and could not be read, each with the reason."""
    with services.store.read() as session:
        found = list_letters(session, load_tank(session, tank).id, newest=NEWEST)
    return LettersOut(
        letters=[
            LetterOut(
                topic=one.topic,
                code=one.code,
                mend=one.mend,
                received_at=_time(one.received_at),
                size=len(one.payload),
                text=one.payload.decode("utf-8", "replace")[:SHOWN],
            )
            for one in found
        ]
    )


def _named(found: StoredMapping) -> str | None:
    """The sensor of a mapping; of a SenML pack the names of the records tell."""
    return None if stored_mapping(found.body).form == "senml" else found.sensor


def _out(session: Session, one: StoredMapping) -> MappingOut:
    return MappingOut(
        id=one.public_id,
        sensor=one.sensor,
        topic=one.topic,
        mapping=json.loads(one.body),
        dropped={} if one.topic is None else dropped_of(session, one.topic),
    )


def _time(at: datetime) -> str:
    return at.isoformat().replace("+00:00", "Z")
