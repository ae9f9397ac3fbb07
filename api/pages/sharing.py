"""Who shares in a tank; keys of its machines; taking it out, erasing it.

Flow     form -> **sharing** -> use cases -> page
"""

from http import HTTPStatus

from fastapi import APIRouter
from fastapi.responses import HTMLResponse, RedirectResponse, Response

from api.pages.forms import Fields
from api.pages.handing_out import zip_answer
from api.pages.render import render
from api.pages.visit import Here, Visit
from api.schemas.relation import Relation, relation
from api.settings import Mode
from api.store import NotFoundError
from api.store.accounts.grants import LastOwnerError, accept_supply, end_tie, leave_tank, list_ties
from api.store.accounts.invitations import list_invitations, withdraw_invitation
from api.store.accounts.keys import KeyKind, list_keys, revoke_key, save_key
from api.store.tanks import load_tank
from api.usecases.accounts.erasing import erase_tank
from api.usecases.accounts.exporting import export_tank
from api.usecases.accounts.sharing import SHARED_AS
from api.usecases.accounts.signing_up import invite

router = APIRouter()
LONGEST_LABEL = 80
_BAD = HTTPStatus.UNPROCESSABLE_ENTITY


@router.get("/tanks/{tank}/sharing")
@relation(Relation.OWNER)
def show_sharing(visit: Here, tank: str) -> HTMLResponse:
    """Show who shares in a tank."""
    return _sharing(visit, tank)


@router.post("/tanks/{tank}/sharing")
@relation(Relation.OWNER)
def invite_somebody(visit: Here, tank: str, fields: Fields) -> HTMLResponse:
    """Make an invitation to share in a tank; its address is shown once."""
    visit.require_mode(Mode.SERVER)
    kind = fields.get("kind", "")
    if kind not in SHARED_AS:
        return _sharing(visit, tank, trouble="Say as what somebody is invited.", status=_BAD)
    with visit.services.store.write() as session:
        stored = load_tank(session, tank)
        token = invite(
            session,
            kind=kind,
            tank_id=stored.id,
            invited_by=visit.account_id,
            now=visit.services.clock.now(),
        )
    return _sharing(visit, tank, address=f"{visit.address}/invitation/{token}")


@router.post("/tanks/{tank}/sharing/{tie}/end")
@relation(Relation.OWNER)
def end_share(visit: Here, tank: str, tie: str) -> Response:
    """End somebody's share in a tank, from their next request on."""
    try:
        with visit.services.store.write() as session:
            end_tie(session, load_tank(session, tank).id, tie, now=visit.services.clock.now())
    except LastOwnerError:
        return _sharing(visit, tank, trouble="Invite another owner before the last one goes.", status=_BAD)
    return _back(tank, "sharing")


@router.post("/tanks/{tank}/sharing/{tie}/accept")
@relation(Relation.OWNER)
def accept_offer(visit: Here, tank: str, tie: str) -> Response:
    """Accept a distributor's offer to supply a tank."""
    with visit.services.store.write() as session:
        accept_supply(session, load_tank(session, tank).id, tie, now=visit.services.clock.now())
    return _back(tank, "sharing")


@router.post("/tanks/{tank}/invitations/{invitation}/withdraw")
@relation(Relation.OWNER)
def withdraw(visit: Here, tank: str, invitation: str) -> Response:
    """Take an invitation back."""
    with visit.services.store.write() as session:
        withdraw_invitation(session, load_tank(session, tank).id, invitation, now=visit.services.clock.now())
    return _back(tank, "sharing")


@router.post("/tanks/{tank}/leave")
@relation(Relation.HOUSEHOLD, Relation.INSTALLER, Relation.DISTRIBUTOR)
def leave(visit: Here, tank: str) -> Response:
    """Give one's own share in a tank up."""
    try:
        with visit.services.store.write() as session:
            stored = load_tank(session, tank)
            leave_tank(session, visit.account_id, stored.id, now=visit.services.clock.now())
    except LastOwnerError:
        trouble = "You are its only owner: invite another, or erase the tank."
        return _sharing(visit, tank, trouble=trouble, status=_BAD)
    return RedirectResponse("/", status_code=HTTPStatus.SEE_OTHER)


@router.get("/tanks/{tank}/keys")
@relation(Relation.OWNER)
def show_keys(visit: Here, tank: str) -> HTMLResponse:
    """Show the keys of a tank's machines."""
    return _keys(visit, tank)


@router.post("/tanks/{tank}/keys")
@relation(Relation.OWNER)
def make_key(visit: Here, tank: str, fields: Fields) -> HTMLResponse:
    """Make a key; it is shown once."""
    label, kind = " ".join(fields.get("label", "").split()), fields.get("kind", "")
    if not label or len(label) > LONGEST_LABEL or kind not in set(KeyKind):
        return _keys(visit, tank, trouble="Name what will show the key, in 80 letters at most.", status=_BAD)
    with visit.services.store.write() as session:
        stored = load_tank(session, tank)
        sensor_id = next((s.id for s in stored.sensors if s.public_id == fields.get("sensor")), None)
        if fields.get("sensor") and sensor_id is None:
            raise NotFoundError
        key = save_key(
            session,
            kind=KeyKind(kind),
            tank_id=stored.id,
            sensor_id=sensor_id,
            label=label,
            created_at=visit.services.clock.now(),
        )
    return _keys(visit, tank, key=key)


@router.post("/tanks/{tank}/keys/{key}/revoke")
@relation(Relation.OWNER)
def revoke(visit: Here, tank: str, key: str) -> Response:
    """Revoke a key, from its next request on."""
    with visit.services.store.write() as session:
        revoke_key(session, load_tank(session, tank).id, key, now=visit.services.clock.now())
    return _back(tank, "keys")


@router.get("/tanks/{tank}/export")
@relation(Relation.OWNER)
def export(visit: Here, tank: str) -> Response:
    """Give everything that is kept of a tank, as one archive."""
    with visit.services.store.read() as session:
        archive = export_tank(session, load_tank(session, tank).id)
    return zip_answer(archive, "dipcast-tank.zip")


@router.post("/tanks/{tank}/erase")
@relation(Relation.OWNER)
def erase(visit: Here, tank: str, fields: Fields) -> Response:
    """Erase a tank and all that was kept of it, for good."""
    if fields.get("sure") != "yes":
        return _keys(
            visit, tank, trouble="Nothing was erased: tick the box to say that you mean it.", status=_BAD
        )
    erase_tank(visit.services.store, visit.services.clock, visit.load_tank(tank).id)
    return RedirectResponse("/", status_code=HTTPStatus.SEE_OTHER)


def _sharing(
    visit: Visit, tank: str, *, trouble: str = "", address: str = "", status: HTTPStatus = HTTPStatus.OK
) -> HTMLResponse:
    visit.require_mode(Mode.SERVER)
    now = visit.services.clock.now()
    with visit.services.store.read() as session:
        stored = load_tank(session, tank)
        ties = list_ties(session, stored.id, now=now)
        invitations = list_invitations(session, stored.id, now=now)
    return render(
        "sharing.html",
        status=status,
        places=visit.places(tank),
        tank=stored,
        ties=ties,
        invitations=invitations,
        address=address,
        trouble=trouble,
    )


def _keys(
    visit: Visit, tank: str, *, trouble: str = "", key: str = "", status: HTTPStatus = HTTPStatus.OK
) -> HTMLResponse:
    with visit.services.store.read() as session:
        stored = load_tank(session, tank)
        keys = list_keys(session, stored.id)
    return render(
        "keys.html",
        status=status,
        places=visit.places(tank),
        tank=stored,
        keys=keys,
        key=key,
        address=visit.address,
        trouble=trouble,
    )


def _back(tank: str, page: str) -> Response:
    return RedirectResponse(f"/tanks/{tank}/{page}", status_code=HTTPStatus.SEE_OTHER)
