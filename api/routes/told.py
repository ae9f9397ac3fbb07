"""What people tell, as JSON: levels read by hand, tickets, bills, wood, days away, changes, a moved sensor."""

from collections.abc import Callable
from http import HTTPStatus
from typing import Annotated, Literal

from fastapi import APIRouter, Depends, Response
from pydantic import BaseModel, Field

from api.problems import ProblemError, problem_of_error
from api.problems.body import SINGLE_BYTES, json_body, parse_json
from api.routes.strictness import problems, take_allowance
from api.schemas.relation import Relation, relation
from api.schemas.told import KINDS, Kind, read_json
from api.schemas.told.members import Asked, json_schema
from api.store.tanks import load_tank
from api.wiring import Services, services_of
from forecaster.civil import zone_of
from forecaster.errors import InputError

router = APIRouter(prefix="/api", tags=["told by people"])


class ToldOut(BaseModel):
    """What became of what was told."""

    status: Literal["new", "known"]
    words: str = Field(description="what was stored, as a sentence")


def _make(kind: Kind) -> Callable[..., ToldOut]:
    names = frozenset(member.name for member in kind.members)

    @relation(Relation.OWNER)
    def tell(
        tank: str,
        response: Response,
        raw: Annotated[bytes, Depends(json_body(SINGLE_BYTES))],
        services: Annotated[Services, Depends(services_of)],
    ) -> ToldOut:
        sent = parse_json(raw)
        try:
            with services.store.write() as session:
                stored = load_tank(session, tank)
                asked = Asked(zone_of(stored.zone), services.clock.now())
                told = kind.store(session, services.clock, stored, read_json(kind.members, sent, asked))
                if told.status == "conflict":
                    raise ProblemError(HTTPStatus.CONFLICT, "conflict", detail=told.words)
        except InputError as bad:
            raise problem_of_error(bad, known=names) from None
        response.status_code = HTTPStatus.CREATED if told.status == "new" else HTTPStatus.OK
        return ToldOut(status=told.status, words=told.words)

    tell.__name__ = f"tell_{kind.key.replace('-', '_')}"
    tell.__doc__ = (
        f"{kind.title}. {kind.says} {kind.caution}\n\n"
        "The same again changes nothing; other content under the same key is refused (409), the first stays. "
        "Times without an offset are of the tank's zone."
    )
    return tell


for _kind in KINDS.values():
    router.add_api_route(
        f"/tanks/{{tank}}/{_kind.key}",
        _make(_kind),
        methods=["POST"],
        status_code=201,
        responses={
            200: {"model": ToldOut, "description": "known already"},
            **problems(400, 404, 408, 409, 413, 415, 422, 429, 503),
        },
        openapi_extra={
            "requestBody": {
                "required": True,
                "content": {"application/json": {"schema": json_schema(_kind.members, _kind.title)}},
            }
        },
        dependencies=[Depends(take_allowance)],
    )
