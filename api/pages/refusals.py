"""The pages for whoever is not let in: no such page, sign in first, pair this phone first.

Flow     application -> **refusals** -> template
"""

from http import HTTPStatus

from fastapi.responses import HTMLResponse
from starlette.requests import Request

from api.pages.render import render
from api.settings import Mode
from api.wiring import services_of


def missing() -> HTMLResponse:
    """Say that there is no such thing here, alike for what never was and what is somebody else's."""
    return render("missing.html", status=HTTPStatus.NOT_FOUND)


def sign_in_first(request: Request) -> HTMLResponse:
    """Ask for what lets somebody in, as this installation is set up."""
    status = HTTPStatus.UNAUTHORIZED
    match services_of(request).settings.mode:
        case Mode.SERVER:
            return render(
                "sign_in.html", status=status, trouble="", email="", can_sign_up=can_sign_up(request)
            )
        case Mode.HOME_NETWORK:
            return render("pair.html", status=status, trouble="", code="")
        case Mode.HOME:
            return render("only_here.html", status=status)


def can_sign_up(request: Request) -> bool:
    """Tell whether anybody may make an account here."""
    return services_of(request).settings.sign_up == "open"
