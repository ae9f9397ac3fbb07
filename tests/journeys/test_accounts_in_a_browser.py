"""Signing in, sharing, keys and pairing as a browser draws them, and as a person goes through them."""

import re
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

import pytest
import uvicorn
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, BrowserContext, Page
from starlette.requests import Request

from api.access import caller
from api.app import create_app
from api.settings import Mode, Settings
from api.usecases.accounts.signing_up import invite
from api.wiring import Services, make_services
from tests.api.access.quick import hash_quickly
from tests.api.conftest import LYING_CYLINDER
from tests.conftest import find_browser
from tests.journeys.conftest import FLAGS, START_S

pytestmark = pytest.mark.browser

PHONE, DESK = {"width": 390, "height": 844}, {"width": 1280, "height": 900}
NAME_IN_THE_HOUSE = "oil.local"
"""Leads to this machine; for a browser it is an address like any other, without https."""


@dataclass
class Running:
    """A service of its own, and where a browser finds it."""

    services: Services
    port: int

    @property
    def here(self) -> str:
        """Its address on this machine."""
        return f"http://127.0.0.1:{self.port}"

    @property
    def in_the_house(self) -> str:
        """Its address as a phone of the house types it."""
        return f"http://{NAME_IN_THE_HOUSE}:{self.port}"


@contextmanager
def running(database: Path, mode: Mode) -> Iterator[Running]:
    """Run a service in one mode."""
    services = make_services(Settings(database=f"sqlite:///{database}", mode=mode))
    config = uvicorn.Config(create_app(services), host="127.0.0.1", port=0, log_level="warning")
    server = uvicorn.Server(config)
    thread = threading.Thread(target=server.run, daemon=True)
    thread.start()
    give_up = time.monotonic() + START_S
    while not server.started:
        assert thread.is_alive(), "the server ended before it had started"
        assert time.monotonic() < give_up, "the server did not start"
        time.sleep(0.02)
    yield Running(services, server.servers[0].sockets[0].getsockname()[1])
    server.should_exit = True
    thread.join(START_S)


@pytest.fixture
def house_browser(browser: Browser) -> Iterator[Browser]:
    """A browser in which the name of the house leads to this machine."""
    flags = [*FLAGS, f"--host-resolver-rules=MAP {NAME_IN_THE_HOUSE} 127.0.0.1"]
    made = browser.browser_type.launch(executable_path=find_browser(), args=flags)
    yield made
    made.close()


class Careful:
    """A page that is checked wherever it goes: complaints, foreign hosts, accessibility, width."""

    def __init__(self, window: BrowserContext, base: str) -> None:
        self.page: Page = window.new_page()
        self.base = base
        self.complaints: list[str] = []
        self.asked_for: list[str] = []
        self.page.on("pageerror", lambda error: self.complaints.append(str(error)))
        self.page.on("request", lambda request: self.asked_for.append(request.url))

    def go(self, path: str) -> None:
        """Go to a page by its address, and check it."""
        self.page.goto(self.base + path)
        self.check()

    def press(self, words: str) -> None:
        """Press a button, and check the page that follows."""
        self.page.get_by_role("button", name=words, exact=True).first.click()
        self.page.wait_for_load_state()
        self.check()

    def fill(self, **given: str) -> None:
        """Fill fields in, by their names."""
        for name, value in given.items():
            self.page.locator(f'input[name="{name}"]').first.fill(value)

    def check(self) -> None:
        """Hold the page to the rules of every page, everything unfolded."""
        self.page.evaluate("() => document.querySelectorAll('details').forEach(d => { d.open = true })")
        found = Axe().run(self.page)
        assert found.violations_count == 0, f"{self.page.url}\n{found.generate_report()}"
        assert self.complaints == []
        foreign = [url for url in self.asked_for if not url.startswith((f"{self.base}/", "data:"))]
        assert foreign == []
        wide = self.page.evaluate("() => document.documentElement.scrollWidth - window.innerWidth")
        assert wide <= 0, self.page.url


@pytest.mark.parametrize(
    ("size", "scheme"), [(PHONE, "dark"), (DESK, "light")], ids=["phone-dark", "desk-light"]
)
def test_from_an_invitation_to_a_shared_tank_without_scripts(
    browser: Browser, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, size: dict[str, int], scheme: str
) -> None:
    """An invited person makes an account, shares a tank, makes a key, and signs out; every page keeps the rules."""
    hash_quickly(monkeypatch)
    with running(tmp_path / "server.db", Mode.SERVER) as service:
        with service.services.store.write() as session:
            token = invite(session, kind="account", now=service.services.clock.now())
        window = browser.new_context(viewport=size, color_scheme=scheme)  # type: ignore[arg-type]
        ann = Careful(window, service.here)
        ann.go("/")
        assert ann.page.get_by_role("heading", name="Sign in").is_visible()
        ann.go(f"/invitation/{token}")
        ann.fill(email="ann@example.org", password="too short")
        ann.press("Make the account")
        assert ann.page.get_by_role("alert").is_visible()
        ann.fill(password="a long phrase of mine")
        ann.press("Make the account")
        assert ann.page.url == f"{service.here}/"
        made = window.request.post(
            f"{service.here}/api/tanks",
            data={"tank": LYING_CYLINDER},
            headers={"Sec-Fetch-Site": "same-origin"},
        )
        tank = made.json()["id"]
        ann.go(f"/tanks/{tank}/sharing")
        ann.page.get_by_label("An installer", exact=False).check()
        ann.press("Make an invitation")
        address = ann.page.locator(".secret code").inner_text()
        assert re.fullmatch(rf"{service.here}/invitation/[\w-]+", address)
        ann.press(ann.page.get_by_role("button", name="Take back").first.get_attribute("aria-label") or "")
        ann.go(f"/tanks/{tank}/keys")
        ann.fill(label="sensor in the yard")
        ann.press("Make the key")
        assert ann.page.locator(".secret code").inner_text().startswith("dc_")
        ann.go("/account")
        ann.press("Set up a second factor")
        assert ann.page.get_by_role("img", name="Picture of the address below").is_visible()
        ann.press("Sign out")
        assert ann.page.get_by_role("heading", name="Sign in").is_visible()
        ann.fill(email="ann@example.org", password="a wrong long phrase")
        ann.press("Sign in")
        assert "are not right" in ann.page.get_by_role("alert").inner_text()
        window.close()


def test_a_phone_is_paired_over_plain_http(
    browser: Browser, house_browser: Browser, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The machine shows a code, the phone types it and is let in, also where its browser says nothing of sites."""

    def is_machine(request: Request, mode: Mode) -> bool:
        return request.url.hostname == "127.0.0.1"

    monkeypatch.setattr(caller, "is_here", is_machine)
    with running(tmp_path / "home.db", Mode.HOME_NETWORK) as service:
        machine = Careful(browser.new_context(viewport=DESK), service.here)  # type: ignore[arg-type]
        phone = Careful(
            house_browser.new_context(viewport=PHONE),  # type: ignore[arg-type]
            service.in_the_house,
        )
        phone.go("/")
        assert phone.page.get_by_role("heading", name="Let this phone in").is_visible()
        machine.go("/phones")
        machine.press("Show a code")
        code = machine.page.locator(".figures").inner_text()
        assert re.fullmatch(r"\d{4} \d{4}", code)
        phone.fill(code="0000 0000")
        phone.press("Let this phone in")
        assert phone.page.get_by_role("alert").is_visible()
        phone.fill(code=code)
        phone.press("Let this phone in")
        assert phone.page.get_by_role("heading", name="Tanks").is_visible()
        machine.go("/phones")
        assert "may do everything" in machine.page.locator(".rows").inner_text()
        machine.page.context.close()
        phone.page.context.close()
