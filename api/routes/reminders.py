"""Reminders, silences, ways to be reached, the calendar, and the flat answer, by program."""

from http import HTTPStatus
from typing import Annotated

from fastapi import APIRouter, Depends, Response
from fastapi.responses import JSONResponse

from api.notify.targets import parse_networks
from api.problems import problem_of_error
from api.problems.body import SINGLE_BYTES, json_body, parse_json
from api.routes.strictness import problems, take_allowance
from api.schemas.orders import (
    CONTACT,
    SILENCE,
    ContactsOut,
    FeedOut,
    FlatAnswerOut,
    NewContactOut,
    RemindersOut,
    SecretOut,
    SilenceOut,
    SilencesOut,
    contact_out,
    reminder_out,
    silence_end,
)
from api.schemas.relation import Relation, relation
from api.schemas.told.members import Asked, json_schema, read_json
from api.store import NotFoundError
from api.store.calendars import tank_of_feed
from api.store.contacts import Channel, list_contacts
from api.store.reminders import (
    acknowledge,
    lift_silence,
    list_reminders,
    list_silences,
    load_reminder,
    save_silence,
)
from api.store.tanks import load_tank
from api.usecases.answers import answer_of
from api.usecases.calendars import close_feed, open_feed, read_feed
from api.usecases.contacts import Allowed, add_contact, change_secret, failing_since, remove_contact
from api.usecases.remind import Told
from api.wiring import Services, services_of
from forecaster.civil import zone_of
from forecaster.errors import InputError

router = APIRouter(prefix="/api", tags=["reminders"], dependencies=[Depends(take_allowance)])
feed_router = APIRouter(tags=["reminders"])
Body = Annotated[bytes, Depends(json_body(SINGLE_BYTES))]
Here = Annotated[Services, Depends(services_of)]
USUAL = problems(404, 422, 429, 503)
WITH_BODY = problems(400, 404, 408, 413, 415, 422, 429, 503)


def allowed_of(services: Services) -> Allowed:
    """Say what the operator allows."""
    settings = services.settings
    address = settings.public_url or f"http://localhost:{settings.port}"
    return Allowed(parse_networks(settings.webhook_networks), address)


@router.get("/tanks/{tank}/answer", response_model=FlatAnswerOut, responses=USUAL)
@relation(Relation.HOUSEHOLD)
def read_answer(tank: str, services: Here) -> JSONResponse:
    """Give the answer in one flat object, for a home hub or a display.

    It is the newest forecast that is kept; nothing is made anew. Every number and date is null where the
    forecast is withheld or older than 36 hours.
    """
    with services.store.read() as session:
        told = answer_of(session, load_tank(session, tank), now=services.clock.now())
    return JSONResponse(told)


@router.get("/tanks/{tank}/reminders", response_model=RemindersOut, responses=USUAL)
@relation(Relation.HOUSEHOLD)
def read_reminders(tank: str, services: Here) -> RemindersOut:
    """List the newest reminders, and since when somebody could not be reached."""
    with services.store.read() as session:
        stored = load_tank(session, tank)
        reminders = list_reminders(session, stored.id)
        since = failing_since(session, stored)
    return RemindersOut(reminders=[reminder_out(r) for r in reminders], unreached_since=since)


@router.post("/tanks/{tank}/reminders/{reminder}/answer", status_code=204, responses=USUAL)
@relation(Relation.OWNER)
def answer_reminder(tank: str, reminder: str, services: Here) -> Response:
    """Say that a reminder was read: it is not repeated."""
    with services.store.write() as session:
        stored = load_tank(session, tank)
        acknowledge(session, load_reminder(session, stored.id, reminder), now=services.clock.now())
    return Response(status_code=HTTPStatus.NO_CONTENT)


@router.get("/tanks/{tank}/silences", response_model=SilencesOut, responses=USUAL)
@relation(Relation.HOUSEHOLD)
def read_silences(tank: str, services: Here) -> SilencesOut:
    """List the times without reminders."""
    with services.store.read() as session:
        found = list_silences(session, load_tank(session, tank).id, now=services.clock.now())
    return SilencesOut(
        silences=[
            SilenceOut(id=s.name, begins_at=s.begins_at, ends_at=s.ends_at, lifted_at=s.lifted_at)
            for s in found
        ]
    )


@router.post(
    "/tanks/{tank}/silences",
    response_model=SilenceOut,
    status_code=201,
    responses=WITH_BODY,
    openapi_extra={
        "requestBody": {
            "required": True, "content": {"application/json": {"schema": json_schema(SILENCE, "SilenceIn")}}
        }
    },
)  # fmt: skip
@relation(Relation.OWNER)
def add_silence(tank: str, raw: Body, services: Here) -> SilenceOut:
    """Ask for no reminders until a day, within 60 days.

    The last day to order breaks through, and so does whatever is urgent; the end is announced.
    """
    sent = parse_json(raw)
    try:
        with services.store.write() as session:
            stored = load_tank(session, tank)
            asked = Asked(zone_of(stored.zone), services.clock.now())
            ends = silence_end(read_json(SILENCE, sent, asked), asked)
            made = save_silence(session, stored.id, begins_at=asked.now, ends_at=ends, now=asked.now)
    except InputError as bad:
        raise problem_of_error(bad) from None
    return SilenceOut(id=made.name, begins_at=made.begins_at, ends_at=made.ends_at, lifted_at=None)


@router.delete("/tanks/{tank}/silences/{silence}", status_code=204, responses=USUAL)
@relation(Relation.OWNER)
def end_silence(tank: str, silence: str, services: Here) -> Response:
    """End a silence before its time."""
    with services.store.write() as session:
        lift_silence(session, load_tank(session, tank).id, silence, now=services.clock.now())
    return Response(status_code=HTTPStatus.NO_CONTENT)


@router.get("/tanks/{tank}/contacts", response_model=ContactsOut, responses=USUAL)
@relation(Relation.OWNER)
def read_contacts(tank: str, services: Here) -> ContactsOut:
    """List the ways to reach somebody."""
    with services.store.read() as session:
        found = list_contacts(session, load_tank(session, tank).id)
    return ContactsOut(contacts=[contact_out(contact) for contact in found])


@router.post(
    "/tanks/{tank}/contacts",
    response_model=NewContactOut,
    status_code=201,
    responses=WITH_BODY,
    openapi_extra={
        "requestBody": {
            "required": True, "content": {"application/json": {"schema": json_schema(CONTACT, "ContactIn")}}
        }
    },
)  # fmt: skip
@relation(Relation.OWNER)
def give_contact(tank: str, raw: Body, services: Here) -> NewContactOut:
    """Give a way to reach somebody: mail, a webhook, or a further way.

    Mail is used once whoever reads there has confirmed it; at most one request a day is sent. A
    webhook's secret is shown in this answer and never again.
    """
    sent = parse_json(raw)
    try:
        with services.store.write() as session:
            stored = load_tank(session, tank)
            asked = Asked(zone_of(stored.zone), services.clock.now())
            values = read_json(CONTACT, sent, asked)
            added = add_contact(
                session, services.clock, stored, Channel(values["channel"]), values["address"],
                second=values["second"], allowed=allowed_of(services),
            )  # fmt: skip
    except InputError as bad:
        raise problem_of_error(bad) from None
    return NewContactOut(**contact_out(added.contact).model_dump(), secret=added.secret, asked=added.is_asked)


@router.post("/tanks/{tank}/contacts/{contact}/secret", response_model=SecretOut, responses=USUAL)
@relation(Relation.OWNER)
def renew_secret(tank: str, contact: str, services: Here) -> SecretOut:
    """Give a webhook a new secret; for a week messages are signed with both."""
    with services.store.write() as session:
        return SecretOut(secret=change_secret(session, services.clock, load_tank(session, tank), contact))


@router.delete("/tanks/{tank}/contacts/{contact}", status_code=204, responses=USUAL)
@relation(Relation.OWNER)
def end_contact(tank: str, contact: str, services: Here) -> Response:
    """Take a way out of use; what waits for it does not leave."""
    with services.store.write() as session:
        remove_contact(session, services.clock, load_tank(session, tank), contact)
    return Response(status_code=HTTPStatus.NO_CONTENT)


@router.post("/tanks/{tank}/calendar", response_model=FeedOut, status_code=201, responses=USUAL)
@relation(Relation.OWNER)
def open_calendar(tank: str, services: Here) -> FeedOut:
    """Give the tank's calendar an address that opens it; an earlier one opens nothing any more."""
    with services.store.write() as session:
        key = open_feed(session, services.clock, load_tank(session, tank))
    return FeedOut(path=f"/calendar/{key}")


@router.delete("/tanks/{tank}/calendar", status_code=204, responses=USUAL)
@relation(Relation.OWNER)
def close_calendar(tank: str, services: Here) -> Response:
    """Close the tank's calendar."""
    with services.store.write() as session:
        close_feed(session, load_tank(session, tank))
    return Response(status_code=HTTPStatus.NO_CONTENT)


@feed_router.get(
    "/calendar/{feed}",
    include_in_schema=False,
    response_class=Response,
    responses={
        200: {"content": {"text/calendar": {}}, "description": "iCalendar (RFC 5545)"},
        **problems(404, 422, 503),
    },
)
@relation(Relation.FEED)
def read_calendar(feed: str, services: Here) -> Response:
    """Give a tank's calendar to whoever knows its address: the days to order on, no litres."""
    settings = services.settings
    with services.store.write() as session:
        tank = tank_of_feed(session, feed)
        if tank is None:
            raise NotFoundError
        written = read_feed(session, services.clock, load_tank(session, tank), Told(settings.public_url))
    return Response(written, media_type="text/calendar; charset=utf-8")
