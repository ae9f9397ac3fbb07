"""Requests that another site's page makes in somebody's browser are refused.

A browser says from which site a request comes (Sec-Fetch-Site), older ones at least from which origin.
A request that changes something must come from our own pages, or from no page at all, such as a program;
one that is let in by a cookie comes from a browser, which says so.

Flow     request -> **cross_site** -> guard
Source   W3C "Fetch Metadata Request Headers"; OWASP "Cross-Site Request Forgery Prevention", fetch metadata
"""

from http import HTTPStatus
from urllib.parse import urlsplit

from starlette.requests import Request

from api.problems import ProblemError

SAFE_METHODS = frozenset({"GET", "HEAD", "OPTIONS"})
OWN = frozenset({"same-origin", "none"})
"""Where a request may come from: our own page, or the person (an address typed, a bookmark)."""


def refuse_cross_site(request: Request, *, by_cookie: bool) -> None:
    """Refuse a changing request of another site's page.

    Parameters
    ----------
    by_cookie
        Whether a cookie lets the caller in: then the browser must say where the request comes from.

    Raises
    ------
    ProblemError
        403.
    """
    if request.method in SAFE_METHODS:
        return
    site, origin = request.headers.get("sec-fetch-site"), request.headers.get("origin")
    if site is not None:
        is_own = site in OWN
    elif origin is not None:
        is_own = urlsplit(origin).netloc.lower() == request.headers.get("host", "").lower() != ""
    else:
        is_own = not by_cookie
    if not is_own:
        raise ProblemError(
            HTTPStatus.FORBIDDEN, "cross_site", detail="Send this from a page of this service."
        )
