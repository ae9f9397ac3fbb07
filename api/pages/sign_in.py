"""Signing in, up and out; invitations; a new password by an address made for it.

Flow     form -> **sign_in** -> use cases -> cookie
"""

from http import HTTPStatus

from fastapi import APIRouter
from fastapi.responses import HTMLResponse, RedirectResponse, Response

from api.access.cookie import give_cookie, take_cookie
from api.pages.forms import Fields
from api.pages.refusals import can_sign_up
from api.pages.render import render
from api.pages.visit import Here, Visit, name_browser
from api.schemas.relation import Relation, relation
from api.settings import Mode
from api.store import NotFoundError
from api.store.accounts.invitations import Invitation, find_invitation
from api.store.accounts.sessions import end_session
from api.usecases.accounts.lasting import SIGNED_IN
from api.usecases.accounts.signing_in import SignInRefusedError, TooManyTriesError, sign_in
from api.usecases.accounts.signing_up import choose_password, sign_up, take_up_invitation
from forecaster.errors import InputError

router = APIRouter()
NOT_RIGHT = "Address, password or code are not right. Check each, and that Caps Lock is off."
_GIVES = {
    "account": "to make an account",
    "owner": "to own a tank together with its owner",
    "member": "to look on at a tank of a household",
    "installer": "to look at a tank for a job, for 30 days",
    "distributor": "to supply a tank",
}


@router.get("/sign-in")
@relation(Relation.ANYONE)
def show_sign_in(visit: Here) -> HTMLResponse:
    """Ask for address, password and code."""
    visit.require_mode(Mode.SERVER)
    return _ask(visit)


@router.post("/sign-in")
@relation(Relation.ANYONE)
def take_sign_in(visit: Here, fields: Fields) -> Response:
    """Let a browser in."""
    visit.require_mode(Mode.SERVER)
    email = fields.get("email", "")
    try:
        return _let_in(visit, email, fields.get("password", ""), fields.get("code", ""), to="/")
    except SignInRefusedError:
        return _ask(visit, trouble=NOT_RIGHT, email=email, status=HTTPStatus.UNAUTHORIZED)
    except TooManyTriesError as many:
        return _ask(visit, trouble=say_wait(many), email=email, status=HTTPStatus.TOO_MANY_REQUESTS)


@router.post("/sign-out")
@relation(Relation.SELF)
def take_sign_out(visit: Here) -> Response:
    """End this browser's session."""
    own = visit.access.caller.session
    answer = RedirectResponse("/", status_code=HTTPStatus.SEE_OTHER)
    if own is not None:
        with visit.services.store.write() as session:
            end_session(session, own.account_id, own.public_id, now=visit.services.clock.now())
        take_cookie(visit.request, answer)
    return answer


@router.get("/sign-up")
@relation(Relation.ANYONE)
def show_sign_up(visit: Here) -> HTMLResponse:
    """Ask for address and password of a new account."""
    _require_open(visit)
    return _ask_new(visit, action="/sign-up")


@router.post("/sign-up")
@relation(Relation.ANYONE)
def take_sign_up(visit: Here, fields: Fields) -> Response:
    """Make an account where anybody may."""
    _require_open(visit)
    return _sign_up(visit, fields, token=None, action="/sign-up")


@router.get("/invitation/{token}")
@relation(Relation.ANYONE)
def show_invitation(visit: Here, token: str) -> HTMLResponse:
    """Say what an invitation gives; nothing happens before a button is pressed."""
    return _ask_new(visit, action=f"/invitation/{token}", gives=_gives(visit, token), token=token)


@router.post("/invitation/{token}")
@relation(Relation.ANYONE)
def take_invitation(visit: Here, token: str, fields: Fields) -> Response:
    """Make an account by an invitation."""
    gives = _gives(visit, token)
    return _sign_up(visit, fields, token=token, action=f"/invitation/{token}", gives=gives)


@router.post("/invitation/{token}/take")
@relation(Relation.SELF)
def take_up(visit: Here, token: str) -> Response:
    """Give the account that is signed in what an invitation gives."""
    with visit.services.store.write() as session:
        take_up_invitation(session, visit.account_id, token, now=visit.services.clock.now())
    return RedirectResponse("/", status_code=HTTPStatus.SEE_OTHER)


@router.get("/new-password/{token}")
@relation(Relation.ANYONE)
def show_new_password(visit: Here, token: str) -> HTMLResponse:
    """Ask for a new password."""
    if _invited(visit, token).kind != "password":
        raise NotFoundError
    return render("new_password.html", trouble=(), token=token)


@router.post("/new-password/{token}")
@relation(Relation.ANYONE)
def take_new_password(visit: Here, token: str, fields: Fields) -> Response:
    """Set a new password; whoever was signed in is out."""
    visit.require_mode(Mode.SERVER)
    try:
        choose_password(visit.services.store, visit.services.clock, token, fields.get("password", ""))
    except InputError as bad:
        status = HTTPStatus.UNPROCESSABLE_ENTITY
        return render("new_password.html", status=status, trouble=bad.problems, token=token)
    return RedirectResponse("/sign-in", status_code=HTTPStatus.SEE_OTHER)


def say_wait(many: TooManyTriesError) -> str:
    """Say when the next try may be made."""
    if many.wait is None:
        return "Too many tries have failed. Ask whoever runs this service for a new password."
    minutes = -(-int(many.wait.total_seconds()) // 60)
    return f"Too many tries have failed. Try again in {minutes:,} minutes."


def _ask(
    visit: Visit, *, trouble: str = "", email: str = "", status: HTTPStatus = HTTPStatus.OK
) -> HTMLResponse:
    return render(
        "sign_in.html", status=status, trouble=trouble, email=email, can_sign_up=can_sign_up(visit.request)
    )


def _ask_new(
    visit: Visit,
    *,
    action: str,
    gives: str = "",
    token: str = "",
    email: str = "",
    bad: InputError | None = None,
) -> HTMLResponse:
    return render(
        "sign_up.html",
        status=HTTPStatus.OK if bad is None else HTTPStatus.UNPROCESSABLE_ENTITY,
        trouble=() if bad is None else bad.problems,
        email=email,
        action=action,
        gives=gives,
        token=token,
    )


def _sign_up(visit: Visit, fields: Fields, *, token: str | None, action: str, gives: str = "") -> Response:
    store, clock = visit.services.store, visit.services.clock
    email, password = fields.get("email", ""), fields.get("password", "")
    try:
        sign_up(store, clock, email=email, password=password, token=token)
    except InputError as bad:
        return _ask_new(visit, action=action, gives=gives, token=token or "", email=email, bad=bad)
    return _let_in(visit, email, password, "", to="/")


def _let_in(visit: Visit, email: str, password: str, code: str, *, to: str) -> Response:
    token = sign_in(
        visit.services.store,
        visit.services.clock,
        email=email,
        password=password,
        code=code,
        browser=name_browser(visit.request),
    )
    answer = RedirectResponse(to, status_code=HTTPStatus.SEE_OTHER)
    give_cookie(visit.request, answer, token, SIGNED_IN)
    return answer


def _require_open(visit: Visit) -> None:
    visit.require_mode(Mode.SERVER)
    if not can_sign_up(visit.request):
        raise NotFoundError


def _invited(visit: Visit, token: str) -> Invitation:
    visit.require_mode(Mode.SERVER)
    with visit.services.store.read() as session:
        return find_invitation(session, token, now=visit.services.clock.now())


def _gives(visit: Visit, token: str) -> str:
    kind = _invited(visit, token).kind
    if kind not in _GIVES:
        raise NotFoundError
    return _GIVES[kind]
