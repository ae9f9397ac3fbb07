"""Servers for the ways out to talk to: mail with STARTTLS and a password, and a webhook's receiver."""

import ssl
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import UTC, datetime
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from typing import Any

CERTIFICATE = Path(__file__).parent / "localhost.pem"
"""For localhost and hooks.test, with its key: of no use but here."""
AT = datetime(2026, 1, 10, 12, 0, tzinfo=UTC)


@dataclass
class Post:
    """One request as it came."""

    path: str
    headers: dict[str, str]
    body: str


@dataclass
class HookServer:
    """A receiver of webhooks that answers as it is told."""

    status: int = 204
    answer_headers: dict[str, str] = field(default_factory=dict)
    wait_s: float = 0.0
    endless: bool = False
    posts: list[Post] = field(default_factory=list)
    port: int = 0


@contextmanager
def serve_hooks(*, tls: bool = False) -> Iterator[HookServer]:
    """Run a receiver on this machine."""
    state = HookServer()

    class Handler(BaseHTTPRequestHandler):
        def do_POST(self) -> None:
            length = int(self.headers.get("Content-Length", "0"))
            body = self.rfile.read(length).decode()
            state.posts.append(Post(self.path, {k.lower(): v for k, v in self.headers.items()}, body))
            self.send_response(state.status)
            for name, value in state.answer_headers.items():
                self.send_header(name, value)
            self.end_headers()
            try:
                self.wfile.flush()
                time.sleep(state.wait_s)
                while state.endless:
                    self.wfile.write(b"x" * 4096)
            except OSError:
                pass

        def log_message(self, *args: Any) -> None:
            pass

    server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
    server.daemon_threads = True
    if tls:
        context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
        context.load_cert_chain(CERTIFICATE)
        server.socket = context.wrap_socket(server.socket, server_side=True)
    state.port = server.server_address[1]
    thread = threading.Thread(target=server.serve_forever, kwargs={"poll_interval": 0.05})
    thread.start()
    try:
        yield state
    finally:
        state.endless = False
        server.shutdown()
        server.server_close()
        thread.join()


@dataclass
class Mailbox:
    """What a mail server was given, and what it refuses."""

    port: int
    mails: list[Any] = field(default_factory=list)
    refuse: dict[str, str] = field(default_factory=dict)
    peers: list[bool] = field(default_factory=list)


@contextmanager
def serve_mail() -> Iterator[Mailbox]:
    """Run a mail server that wants STARTTLS and a password."""
    import socket
    import warnings

    from aiosmtpd.controller import Controller
    from aiosmtpd.smtp import SMTP, AuthResult

    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        box = Mailbox(probe.getsockname()[1])

    class Handler:
        async def handle_RCPT(  # noqa: N802
            self, server: Any, session: Any, envelope: Any, address: str, options: Any
        ) -> str:
            if address in box.refuse:
                return box.refuse[address]
            envelope.rcpt_tos.append(address)
            return "250 OK"

        async def handle_DATA(self, server: Any, session: Any, envelope: Any) -> str:  # noqa: N802
            box.mails.append((envelope.mail_from, envelope.rcpt_tos, envelope.content))
            box.peers.append(session.ssl is not None)
            return "250 taken"

    def check(server: Any, session: Any, envelope: Any, mechanism: str, data: Any) -> AuthResult:
        right = (data.login, data.password) == (b"dipcast", b"secret")
        return AuthResult(success=right, handled=False)

    context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    context.load_cert_chain(CERTIFICATE)

    class Server(Controller):
        def factory(self) -> SMTP:
            return SMTP(
                Handler(), tls_context=context, require_starttls=True, authenticator=check,
                auth_required=True, hostname="localhost",
            )  # fmt: skip

    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        server = Server(Handler(), hostname="127.0.0.1", port=box.port)
        server.start()
        try:
            yield box
        finally:
            server.stop()
