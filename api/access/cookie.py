"""The cookie that holds a browser's session token, and nothing else.

Flow     sign-in, pairing -> **cookie** -> caller
Source   RFC 6265bis (`__Host-` prefix, SameSite); OWASP ASVS 5.0, 3.3
"""

from datetime import timedelta

from starlette.requests import Request
from starlette.responses import Response

from api.wiring import services_of


def session_token(request: Request) -> str | None:
    """Read the session token that a browser sent; None where it sent none."""
    return request.cookies.get(_name(request)) or None


def give_cookie(request: Request, response: Response, token: str, lasts: timedelta) -> None:
    """Hand a browser its session token: out of reach of scripts and of other sites' forms."""
    response.set_cookie(
        _name(request),
        token,
        max_age=int(lasts.total_seconds()),
        path="/",
        secure=services_of(request).settings.uses_https,
        httponly=True,
        samesite="lax",
    )


def take_cookie(request: Request, response: Response) -> None:
    """Take the session token from a browser."""
    response.delete_cookie(
        _name(request),
        path="/",
        secure=services_of(request).settings.uses_https,
        httponly=True,
        samesite="lax",
    )


def _name(request: Request) -> str:
    return "__Host-dipcast" if services_of(request).settings.uses_https else "dipcast"
