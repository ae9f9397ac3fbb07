"""The invented valley behind a real server, and a real browser in front of it."""

import threading
import time
from collections.abc import Iterator
from dataclasses import dataclass

import pytest
import uvicorn
from playwright.sync_api import Browser, Page, sync_playwright

from api.app import create_app
from api.cli.demo import StandingClock, bring_house
from api.settings import Settings
from api.sources.valley import make_valley
from api.wiring import make_services
from tests.conftest import find_browser

FLAGS = (
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
)
"""A browser that asks nobody anything of its own accord."""
START_S = 30.0


@dataclass(frozen=True)
class Served:
    """Where the valley's pages are: the server's address, and each house's page."""

    base: str
    tanks: dict[str, str]

    def page(self, house: str) -> str:
        return f"{self.base}/tanks/{self.tanks[house]}"


@pytest.fixture(scope="package")
def served(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    """The valley, brought in and served on a free port of this machine."""
    valley = make_valley()
    database = tmp_path_factory.mktemp("valley") / "valley.db"
    services = make_services(Settings(database=f"sqlite:///{database}"), clock=StandingClock(valley.as_of))
    tanks = {house.key: bring_house(services, valley, house) for house in valley.houses}
    config = uvicorn.Config(create_app(services), host="127.0.0.1", port=0, log_level="warning")
    server = uvicorn.Server(config)
    thread = threading.Thread(target=server.run, name="pages", daemon=True)
    thread.start()
    give_up = time.monotonic() + START_S
    while not server.started:
        assert thread.is_alive(), "the server ended before it had started"
        assert time.monotonic() < give_up, "the server did not start"
        time.sleep(0.02)
    port = server.servers[0].sockets[0].getsockname()[1]
    yield Served(f"http://127.0.0.1:{port}", tanks)
    server.should_exit = True
    thread.join(START_S)


@pytest.fixture(scope="package")
def browser() -> Iterator[Browser]:
    """Chromium; ended with the last of these tests, so that its loop disturbs no other test."""
    with sync_playwright() as playwright:
        running = playwright.chromium.launch(executable_path=find_browser(), args=FLAGS)
        yield running
        running.close()


@dataclass
class Watched:
    """A page, and all that its browser complained of or asked for."""

    page: Page
    complaints: list[str]
    asked_for: list[str]
