"""Letting the phones of a house in: the code on the machine's page, the form on the phone.

Flow     machine: code and picture; phone: form -> **pairing** -> cookie
"""

from http import HTTPStatus

from fastapi import APIRouter
from fastapi.responses import HTMLResponse, RedirectResponse, Response

from api.access.cookie import give_cookie
from api.pages.forms import Fields
from api.pages.handing_out import picture_of
from api.pages.render import render
from api.pages.visit import Here, Visit, name_browser
from api.schemas.relation import Relation, relation
from api.settings import Mode
from api.store.accounts.sessions import end_session, list_sessions
from api.usecases.accounts.lasting import PAIRED
from api.usecases.accounts.pairing import Code, WrongCodeError, make_code, pair

router = APIRouter()


@router.get("/phones")
@relation(Relation.OPERATOR)
def show_phones(visit: Here) -> HTMLResponse:
    """Show the phones that are let in."""
    return _phones(visit)


@router.post("/phones/code")
@relation(Relation.OPERATOR)
def show_code(visit: Here, fields: Fields) -> HTMLResponse:
    """Make a code for one phone, and show it as figures and as a picture."""
    visit.require_mode(Mode.HOME_NETWORK)
    paired_as = "member" if fields.get("as") == "member" else "owner"
    with visit.services.store.write() as session:
        code = make_code(session, paired_as, now=visit.services.clock.now())
    return _phones(visit, code=code)


@router.post("/phones/{session}/end")
@relation(Relation.OPERATOR)
def end_phone(visit: Here, session: str) -> Response:
    """Let a phone in no more, from its next request on."""
    visit.require_mode(Mode.HOME_NETWORK)
    with visit.services.store.write() as transaction:
        end_session(transaction, None, session, now=visit.services.clock.now())
    return RedirectResponse("/phones", status_code=HTTPStatus.SEE_OTHER)


@router.get("/pair")
@relation(Relation.ANYONE)
def show_pair(visit: Here) -> HTMLResponse:
    """Ask a phone for the code; one that came in a picture is filled in already."""
    visit.require_mode(Mode.HOME_NETWORK)
    code = visit.request.query_params.get("code", "")
    return render("pair.html", trouble="", code=code if code.isascii() and code.isdigit() else "")


@router.post("/pair")
@relation(Relation.ANYONE)
def take_pair(visit: Here, fields: Fields) -> Response:
    """Let a phone in by its code."""
    visit.require_mode(Mode.HOME_NETWORK)
    services = visit.services
    try:
        token = pair(
            services.store, services.clock, fields.get("code", ""), browser=name_browser(visit.request)
        )
    except WrongCodeError:
        trouble = "This is not, or no longer, a code. Have a new one shown on the machine."
        return render("pair.html", status=HTTPStatus.UNPROCESSABLE_ENTITY, trouble=trouble, code="")
    answer = RedirectResponse("/", status_code=HTTPStatus.SEE_OTHER)
    give_cookie(visit.request, answer, token, PAIRED)
    return answer


def _phones(visit: Visit, *, code: Code | None = None) -> HTMLResponse:
    visit.require_mode(Mode.HOME_NETWORK)
    with visit.services.store.read() as session:
        phones = list_sessions(session, None, now=visit.services.clock.now())
    address = _address_for_phones(visit)
    return render(
        "phones.html",
        places=visit.places(),
        phones=phones,
        code=code,
        address=address,
        picture=picture_of(f"{address}/pair?code={code.digits}") if code else "",
    )


def _address_for_phones(visit: Visit) -> str:
    """Write the address at which a phone in the house finds this machine."""
    from api.sources.here import own_address

    if visit.services.settings.public_url:
        return visit.services.settings.public_url
    port = visit.request.url.port or 80
    return f"http://{own_address()}:{port}"
