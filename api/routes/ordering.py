"""How oil is ordered at a tank, by program."""

from typing import Annotated

from fastapi import APIRouter, Depends

from api.problems import problem_of_error
from api.problems.body import SINGLE_BYTES, json_body, parse_json
from api.routes.strictness import problems, take_allowance
from api.schemas.ordering import ORDERING, OrderingOut, ordering_out, ordering_schema, read_ordering_json
from api.schemas.relation import Relation, relation
from api.schemas.told.members import Asked
from api.store.orderings import load_ordering, save_ordering
from api.store.tanks import load_tank
from api.wiring import Services, services_of
from forecaster.civil import zone_of
from forecaster.errors import InputError

router = APIRouter(prefix="/api", tags=["orders"], dependencies=[Depends(take_allowance)])
Here = Annotated[Services, Depends(services_of)]
_NAMES = frozenset(member.name for member in ORDERING)


@router.get("/tanks/{tank}/ordering", response_model=OrderingOut, responses=problems(404, 422, 429, 503))
@relation(Relation.HOUSEHOLD)
def read_ordering(tank: str, services: Here) -> OrderingOut:
    """Tell how oil is ordered at a tank, as its household said: lead time, smallest delivery, prices, budget."""
    with services.store.read() as session:
        return ordering_out(load_ordering(session, load_tank(session, tank).id))


@router.put(
    "/tanks/{tank}/ordering",
    response_model=OrderingOut,
    responses=problems(400, 404, 408, 413, 415, 422, 429, 503),
    openapi_extra={
        "requestBody": {"required": True, "content": {"application/json": {"schema": ordering_schema()}}}
    },
)
@relation(Relation.OWNER)
def set_ordering(
    tank: str, raw: Annotated[bytes, Depends(json_body(SINGLE_BYTES))], services: Here
) -> OrderingOut:
    """Say how oil is ordered at a tank; it replaces what was said before, and the answer reckons with it at once.

    What is left out is as usual. A budget or a drift needs at least one price.
    """
    sent = parse_json(raw)
    try:
        with services.store.write() as session:
            stored = load_tank(session, tank)
            said = read_ordering_json(sent, Asked(zone_of(stored.zone), services.clock.now()))
            save_ordering(session, stored.id, said, now=services.clock.now())
    except InputError as bad:
        raise problem_of_error(bad, known=_NAMES) from None
    return ordering_out(said)
