"""One's own account: sessions, password, second factor, taking everything out, erasing it.

Flow     form -> **accounts** -> use cases -> page
"""

from http import HTTPStatus

from fastapi import APIRouter
from fastapi.responses import HTMLResponse, RedirectResponse, Response

from api.access.cookie import take_cookie
from api.pages.forms import Fields
from api.pages.handing_out import picture_of, zip_answer
from api.pages.render import render
from api.pages.sign_in import NOT_RIGHT, say_wait
from api.pages.visit import Here, Visit
from api.schemas.relation import Relation, relation
from api.store.accounts.grants import list_shares
from api.store.accounts.people import (
    Account,
    drop_second_factor,
    get_account,
    offer_second_factor,
    use_second_factor,
)
from api.store.accounts.sessions import end_session, end_sessions, list_sessions
from api.usecases.accounts.erasing import erase_account, sole_tanks
from api.usecases.accounts.exporting import export_account
from api.usecases.accounts.passwords import LEAST_ALONE
from api.usecases.accounts.second_factor import address_for_app, new_secret, step_of_code
from api.usecases.accounts.signing_in import SignInRefusedError, TooManyTriesError, prove_again
from api.usecases.accounts.signing_up import change_password
from forecaster.errors import InputError

router = APIRouter()
_BAD = HTTPStatus.UNPROCESSABLE_ENTITY


@router.get("/account")
@relation(Relation.SELF)
def show_account(visit: Here) -> HTMLResponse:
    """Show one's account."""
    return _page(visit)


@router.post("/account/password")
@relation(Relation.SELF)
def take_password(visit: Here, fields: Fields) -> Response:
    """Change the password; other sessions end."""
    proved = _prove(visit, fields)
    if isinstance(proved, str):
        return _page(visit, trouble=proved, status=_BAD)
    store, clock = visit.services.store, visit.services.clock
    try:
        change_password(store, clock, proved, fields.get("new_password", ""), session_id=visit.session.id)
    except InputError as bad:
        return _page(visit, trouble=_sentence(bad), status=_BAD)
    return _page(visit, done="The password is changed, and every other browser is signed out.")


@router.post("/account/second-factor")
@relation(Relation.SELF)
def offer_factor(visit: Here) -> HTMLResponse:
    """Offer a second factor; it is in force once a code of it was given."""
    with visit.services.store.write() as session:
        if get_account(session, visit.account_id).totp_secret is None:
            offer_second_factor(session, visit.account_id, new_secret())
    return _page(visit)


@router.post("/account/second-factor/confirm")
@relation(Relation.SELF)
def confirm_factor(visit: Here, fields: Fields) -> HTMLResponse:
    """Put the second factor in force."""
    now = visit.services.clock.now()
    with visit.services.store.write() as session:
        account = get_account(session, visit.account_id)
        waiting = account.totp_waiting
        step = None if waiting is None else step_of_code(waiting, fields.get("code", ""), now)
        if waiting is not None and step is not None:
            use_second_factor(session, account.id, waiting, step)
            end_sessions(session, account.id, now=now, but=visit.session.id)
    if step is None:
        return _page(visit, trouble="That code is not right: take the one the app shows now.", status=_BAD)
    return _page(visit, done="The second factor is in force. Every other browser is signed out.")


@router.post("/account/second-factor/drop")
@relation(Relation.SELF)
def drop_factor(visit: Here, fields: Fields) -> HTMLResponse:
    """Go without the second factor, where the password is long enough to stand alone."""
    proved = _prove(visit, fields)
    if isinstance(proved, str):
        return _page(visit, trouble=proved, status=_BAD)
    if len(fields.get("password", "")) < LEAST_ALONE:
        trouble = f"First choose a password of {LEAST_ALONE} characters or more: it will stand alone."
        return _page(visit, trouble=trouble, status=_BAD)
    with visit.services.store.write() as session:
        drop_second_factor(session, proved.id)
    return _page(visit, done="The second factor is gone.")


@router.post("/account/sessions/end-others")
@relation(Relation.SELF)
def end_others(visit: Here) -> Response:
    """Sign out every other browser."""
    with visit.services.store.write() as session:
        now = visit.services.clock.now()
        end_sessions(session, visit.account_id, now=now, but=visit.session.id)
    return _back()


@router.post("/account/sessions/{session}/end")
@relation(Relation.SELF)
def end_one(visit: Here, session: str) -> Response:
    """Sign out one browser."""
    with visit.services.store.write() as transaction:
        end_session(transaction, visit.account_id, session, now=visit.services.clock.now())
    return _back()


@router.get("/account/export")
@relation(Relation.SELF)
def export(visit: Here) -> Response:
    """Give everything that is kept of an account and of the tanks it owns, as one archive."""
    with visit.services.store.read() as session:
        archive = export_account(session, visit.account_id)
    return zip_answer(archive, "dipcast-account.zip")


@router.post("/account/erase")
@relation(Relation.SELF)
def erase(visit: Here, fields: Fields) -> Response:
    """Erase an account, and the tanks that nobody else owns, for good."""
    proved = _prove(visit, fields)
    if isinstance(proved, str):
        return _page(visit, trouble=proved, status=_BAD)
    if fields.get("sure") != "yes":
        return _page(visit, trouble="Nothing was erased: tick the box to say that you mean it.", status=_BAD)
    erase_account(visit.services.store, visit.services.clock, proved.id)
    answer = render("erased.html")
    take_cookie(visit.request, answer)
    return answer


def _page(
    visit: Visit, *, trouble: str = "", done: str = "", status: HTTPStatus = HTTPStatus.OK
) -> HTMLResponse:
    now = visit.services.clock.now()
    with visit.services.store.read() as session:
        account = get_account(session, visit.account_id)
        sessions = list_sessions(session, account.id, now=now)
        shares = list_shares(session, account.id, now=now)
        alone = len(sole_tanks(session, account.id))
    app_address = address_for_app(account.totp_waiting, account.email) if account.totp_waiting else ""
    return render(
        "account.html",
        status=status,
        places=visit.places(),
        account=account,
        sessions=sessions,
        shares=shares,
        owned_alone=alone,
        own_session=visit.session.public_id,
        app_address=app_address,
        app_picture=picture_of(app_address) if app_address else "",
        trouble=trouble,
        done=done,
    )


def _prove(visit: Visit, fields: Fields) -> Account | str:
    store, clock = visit.services.store, visit.services.clock
    try:
        return prove_again(
            store,
            clock,
            visit.account_id,
            password=fields.get("password", ""),
            code=fields.get("code", ""),
        )
    except SignInRefusedError:
        return NOT_RIGHT
    except TooManyTriesError as many:
        return say_wait(many)


def _sentence(bad: InputError) -> str:
    return " ".join(f"{p.mend[:1].upper()}{p.mend[1:]}." for p in bad.problems)


def _back() -> Response:
    return RedirectResponse("/account", status_code=HTTPStatus.SEE_OTHER)
