"""The application: doors mounted, every error a problem, every answer with its protections.

Flow     wiring -> **app** -> web server
Source   RFC 9457 (problem details); OWASP ASVS 5.0 sections 3.4 (headers), 4.2.1 (message framing)
"""

import logging
from collections.abc import AsyncIterator, MutableMapping
from contextlib import asynccontextmanager
from http import HTTPStatus
from typing import Any

from fastapi import Depends, FastAPI
from fastapi.exceptions import RequestValidationError
from starlette.datastructures import Headers, MutableHeaders
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import JSONResponse, Response
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from api.access import require_access
from api.access.caller import SignInNeededError
from api.access.names import is_served
from api.access.policy import POLICY
from api.pages import refusals
from api.pages import router as pages
from api.problems import (
    STATUS_OF_ERROR,
    Fault,
    ProblemError,
    problem_of_error,
    problem_of_status,
    render_problem,
)
from api.routes import router as routes
from api.routes.strictness import Allowance, ProblemOut
from api.schemas.relation import Relation, relation
from api.settings import Settings
from api.store import NotFoundError
from api.wiring import Services

_log = logging.getLogger(__name__)

PROTECTIONS = {
    "Content-Security-Policy": (
        "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data:; font-src 'self'; "
        "connect-src 'self'; form-action 'self'; base-uri 'none'; frame-ancestors 'none'"
    ),
    "X-Content-Type-Options": "nosniff",
    "Referrer-Policy": "same-origin",  # with no-referrer a browser would hide where our own forms come from
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
}
"""Sent with every answer: nothing is loaded from, shown in or told to another host."""


def create_app(services: Services) -> FastAPI:
    """Make the application around the services; it owns them and closes them at the end."""

    @asynccontextmanager
    async def lifespan(app: FastAPI) -> AsyncIterator[None]:
        yield
        services.store.engine.dispose()

    app = FastAPI(
        title="Dipcast",
        description="From heating-oil tank readings to a run-dry date and an order window.",
        lifespan=lifespan,
        openapi_url=None,  # served below; the framework's own pages load scripts from other hosts
        docs_url=None,
        redoc_url=None,
        redirect_slashes=False,
        dependencies=[Depends(require_access)],
    )
    app.state.services = services
    app.state.allowance = Allowance(
        per_s=services.settings.requests_per_s, burst=services.settings.requests_burst
    )
    app.include_router(routes)
    app.include_router(pages)
    _serve_document(app)
    for error in STATUS_OF_ERROR:
        app.add_exception_handler(error, _answer_error)
    app.add_exception_handler(ProblemError, _answer_problem)
    app.add_exception_handler(HTTPException, _answer_status)
    app.add_exception_handler(RequestValidationError, _answer_invalid)
    app.add_exception_handler(SignInNeededError, _answer_nobody)
    app.add_middleware(Guard, settings=services.settings)
    return app


def _serve_document(app: FastAPI) -> None:
    make = app.openapi

    def document() -> dict[str, Any]:
        made = make()
        schemas = made.setdefault("components", {}).setdefault("schemas", {})
        schemas.setdefault(
            "ProblemOut", ProblemOut.model_json_schema(ref_template="#/components/schemas/{model}")
        ).pop("$defs", None)
        return made

    @relation(Relation.ANYONE)
    def read_document() -> JSONResponse:
        return JSONResponse(document())

    app.add_api_route("/openapi.json", read_document, include_in_schema=False)


async def _answer_error(request: Request, error: Exception) -> Response:
    if isinstance(error, NotFoundError) and _is_page(request):
        return refusals.missing()
    return render_problem(problem_of_error(error))


async def _answer_nobody(request: Request, error: Exception) -> Response:
    """Ask whoever is not known to sign in, to pair, or to show a key."""
    if _is_page(request):
        return refusals.sign_in_first(request)
    headers = {"WWW-Authenticate": "Bearer"}
    return render_problem(ProblemError(HTTPStatus.UNAUTHORIZED, "unauthorized", headers=headers))


def _is_page(request: Request) -> bool:
    route = request.scope.get("route")
    row = POLICY.get((request.method, route.path)) if route is not None else None
    return row is not None and row.is_page


async def _answer_problem(request: Request, error: Exception) -> Response:
    assert isinstance(error, ProblemError)
    return render_problem(error)


async def _answer_status(request: Request, error: Exception) -> Response:
    assert isinstance(error, HTTPException)
    return render_problem(problem_of_status(error.status_code, error.headers))


async def _answer_invalid(request: Request, error: Exception) -> Response:
    """Answer what the framework itself refused; its own answer would echo the input, and fail on NaN."""
    assert isinstance(error, RequestValidationError)
    faults = [Fault("", "not_usable", "see the documented form") for _ in error.errors()[:1]]
    return render_problem(ProblemError(HTTPStatus.UNPROCESSABLE_ENTITY, "not_usable", faults=faults))


class Guard:
    """The outermost layer: framing, host, protections, and a plain answer where the program failed.

    A failure is logged with its trace and answered without a word of it.
    """

    def __init__(self, app: ASGIApp, *, settings: Settings) -> None:
        self.app, self.settings = app, settings

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer one request."""
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        started = False

        async def send_protected(message: Message) -> None:
            nonlocal started
            if message["type"] == "http.response.start":
                started = True
                _protect(message)
            await send(message)

        refusal = self._refusal(Headers(scope=scope))
        try:
            await (render_problem(refusal) if refusal else self.app)(scope, receive, send_protected)
        except Exception:
            _log.exception("an operation failed")
            if started:
                raise
            failed = render_problem(problem_of_status(500))
            await failed(scope, receive, send_protected)

    def _refusal(self, headers: Headers) -> ProblemError | None:
        if "content-length" in headers and "transfer-encoding" in headers:
            return ProblemError(HTTPStatus.BAD_REQUEST, "framing", headers={"Connection": "close"})
        hosts = headers.getlist("host")
        if len(hosts) != 1 or not is_served(_name_of(hosts[0]), self.settings):
            return ProblemError(HTTPStatus.BAD_REQUEST, "host", detail="This host is not served here.")
        return None


def _name_of(host: str) -> str:
    """Take the name out of a Host header: without port, and without brackets."""
    if host.startswith("["):
        return host[1:].partition("]")[0].lower()
    return host.partition(":")[0].lower()


def _protect(message: MutableMapping[str, Any]) -> None:
    headers = MutableHeaders(scope=message)
    for name, value in PROTECTIONS.items():
        headers[name] = value
    headers.setdefault("Cache-Control", "no-store")
