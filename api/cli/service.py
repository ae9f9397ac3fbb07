"""The service as a process: opening its database, listening, serving pages and JSON.

Flow     options, environment -> settings -> services -> **web server**
"""

import ipaddress
import signal
import socket
from typing import Any

import typer
from pydantic import ValidationError

from api.folders import cache_folder
from api.ports import Clock
from api.settings import Mode, Settings
from api.sources.sun_tables import SunTables
from api.store import UnsafeDatabaseError
from api.wiring import Services, make_services
from forecaster.errors import InputError, Problem
from forecaster.solar import keep_tables_in

APP = "api.app:create_app"
"""Makes the application; named, not imported, because it stands above this layer."""


def settings_with(**given: Any) -> Settings:
    """Read the settings from the environment, with what was given on the command line in its place.

    Raises
    ------
    InputError
        For a setting that cannot be used.
    """
    try:
        return Settings(**{name: value for name, value in given.items() if value is not None})
    except ValidationError as bad:
        raise InputError(
            [
                Problem(
                    "setting", f"DIPCAST_{'_'.join(map(str, e['loc']))}".upper(), e["msg"], str(e["input"])
                )
                for e in bad.errors()
            ]
        ) from None


def open_services(settings: Settings, *, clock: Clock | None = None) -> Services:
    """Open the database and bring it to its present shape.

    Raises
    ------
    InputError
        When there is no database that can be opened at the address.
    """
    try:
        return make_services(settings, clock=clock)
    except UnsafeDatabaseError:
        raise
    except Exception as bad:  # drivers name their own; all of them say that this address does not open
        mend = f"give an address that opens, such as sqlite:///folder/dipcast.db ({type(bad).__name__})"
        raise InputError(Problem("database", "--database", mend)) from None


def listen(host: str, port: int) -> socket.socket:
    """Take the place where the server listens, so that a place already taken is said before any work.

    Raises
    ------
    InputError
        When it is taken, or no place of this machine.
    """
    try:
        return socket.create_server((host, port), family=socket.AF_INET6 if ":" in host else socket.AF_INET)
    except (OSError, OverflowError, UnicodeError) as bad:
        why = getattr(bad, "strerror", None) or "no such place"
        mend = f"give another --port or --host: this one cannot be listened on ({why})"
        raise InputError(Problem("place", "--port", mend, f"{host}:{port}")) from None


def require_fitting_place(settings: Settings) -> None:
    """Refuse to listen beyond this machine in the mode that lets everybody in who reaches it.

    Raises
    ------
    InputError
        When the place is no place of this machine alone, and the mode is ``home``.
    """
    if settings.mode is not Mode.HOME:
        return
    try:
        found = socket.getaddrinfo(settings.host, settings.port, type=socket.SOCK_STREAM)
    except (OSError, UnicodeError):
        return  # no place at all: listening says so
    if not all(ipaddress.ip_address(str(place[4][0]).partition("%")[0]).is_loopback for place in found):
        mend = "set DIPCAST_MODE to home_network or server: as it is, whoever reaches this place is let in"
        raise InputError(Problem("mode", "--host", mend, settings.host))


def address_of(place: socket.socket) -> str:
    """Write the address at which a browser finds the pages."""
    host, port = place.getsockname()[:2]
    return f"http://[{host}]:{port}/" if ":" in host else f"http://{host}:{port}/"


def serve(services: Services, place: socket.socket, *, log_level: str = "info") -> None:
    """Serve pages and JSON until stopped, by Ctrl-C or by the system; both are an ordinary end."""
    import uvicorn
    from uvicorn.importer import import_from_string

    keep_tables_in(SunTables(cache_folder()))
    app = import_from_string(APP)(services)
    # no access log: addresses name tanks, and logs are to hold nothing about a home
    config = uvicorn.Config(app, log_level=log_level, access_log=False, server_header=False)
    before = signal.signal(signal.SIGTERM, _end)  # the server hands the signal on when it has closed
    try:
        uvicorn.Server(config).run(sockets=[place])
    except (KeyboardInterrupt, _EndedError):
        typer.echo("Stopped.")
    finally:
        signal.signal(signal.SIGTERM, before)


class _EndedError(Exception):
    """The system asked the process to end."""


def _end(number: int, frame: object) -> None:
    raise _EndedError
