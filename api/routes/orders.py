"""Orders of oil, by program."""

from http import HTTPStatus
from typing import Annotated

from fastapi import APIRouter, Depends, Response

from api.problems import Fault, ProblemError, problem_of_error
from api.problems.body import SINGLE_BYTES, json_body, parse_json
from api.routes.strictness import problems, take_allowance
from api.schemas.orders import (
    CHANGE,
    PLACEMENT,
    OilOrderOut,
    OilOrdersOut,
    order_out,
    to_change,
    to_placement,
)
from api.schemas.relation import Relation, relation
from api.schemas.told.members import Asked, json_schema, read_json
from api.store.orders import StaleOrderError, list_changes, list_orders
from api.store.tanks import load_tank
from api.usecases.orders import act_on_order, place_order
from api.wiring import Services, services_of
from forecaster.civil import zone_of
from forecaster.errors import InputError

router = APIRouter(prefix="/api", tags=["orders"], dependencies=[Depends(take_allowance)])
Body = Annotated[bytes, Depends(json_body(SINGLE_BYTES))]
Here = Annotated[Services, Depends(services_of)]
_NAMES = frozenset(member.name for member in (*PLACEMENT, *CHANGE))


@router.get("/tanks/{tank}/orders", response_model=OilOrdersOut, responses=problems(404, 422, 429, 503))
@relation(Relation.HOUSEHOLD)
def read_orders(tank: str, services: Here) -> OilOrdersOut:
    """List the orders of a tank, each with its history."""
    with services.store.read() as session:
        orders = list_orders(session, load_tank(session, tank).id)
        return OilOrdersOut(orders=[order_out(order, list_changes(session, order)) for order in orders])


@router.post(
    "/tanks/{tank}/orders",
    response_model=OilOrderOut,
    status_code=201,
    responses={
        200: {"model": OilOrderOut, "description": "the same form was sent before"},
        **problems(400, 404, 408, 413, 415, 422, 429, 503),
    },
    openapi_extra={
        "requestBody": {
            "required": True, "content": {"application/json": {"schema": json_schema(PLACEMENT, "PlacementIn")}}
        }
    },
)  # fmt: skip
@relation(Relation.OWNER)
def add_order(tank: str, response: Response, raw: Body, services: Here) -> OilOrderOut:
    """Note that oil was ordered: litres, or as much as fits (`fill`).

    It ends the reminders to order; with a promised day it counts in the forecast. Give a `form_key` of
    your own, and the same message sent twice is one order.
    """
    sent = parse_json(raw)
    try:
        with services.store.write() as session:
            stored = load_tank(session, tank)
            asked = Asked(zone_of(stored.zone), services.clock.now())
            placement, key = to_placement(read_json(PLACEMENT, sent, asked))
            order, is_new = place_order(session, services.clock, stored, placement, form_key=key)
            changes = list_changes(session, order)
    except InputError as bad:
        raise problem_of_error(bad, known=_NAMES) from None
    response.status_code = HTTPStatus.CREATED if is_new else HTTPStatus.OK
    return order_out(order, changes)


@router.post(
    "/tanks/{tank}/orders/{order}",
    response_model=OilOrderOut,
    responses=problems(400, 404, 408, 409, 413, 415, 422, 429, 503),
    openapi_extra={
        "requestBody": {
            "required": True, "content": {"application/json": {"schema": json_schema(CHANGE, "OrderChangeIn")}}
        }
    },
)  # fmt: skip
@relation(Relation.OWNER)
def change_order(tank: str, order: str, raw: Body, services: Here) -> OilOrderOut:
    """Note what became of an order: promised, delivered whole or in part, refused, cancelled.

    A delivery is booked as a ticket unless one of that day is there. 409: somebody else changed the
    order since the version that you name.
    """
    sent = parse_json(raw)
    try:
        with services.store.write() as session:
            stored = load_tank(session, tank)
            asked = Asked(zone_of(stored.zone), services.clock.now())
            change = to_change(read_json(CHANGE, sent, asked))
            done = act_on_order(session, services.clock, stored, order, change)
            changes = list_changes(session, done)
    except InputError as bad:
        raise problem_of_error(bad, known=_NAMES) from None
    except StaleOrderError:
        fault = Fault("/version", "stale", "read the order again: somebody has changed it")
        raise ProblemError(HTTPStatus.CONFLICT, "stale", faults=[fault]) from None
    return order_out(done, changes)
