"""From nothing to a first answer, in a real browser: on a phone and on a desk, by keys alone, without scripts.

What a person needs for it is reckoned by the keystroke-level model of Card, Moran and Newell (*The
Keystroke-Level Model for User Performance Time with Interactive Systems*, Communications of the ACM 23(7),
1980): K 0.28 s a key (an average typist), P 1.1 s to point at something, B 0.1 s for each half of a press,
H 0.4 s between keys and pointer, M 1.35 s to make up one's mind. Times from memory of the paper.
Measuring the tank itself takes longer, and is not counted.
"""

import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import UTC, datetime
from typing import Any

import pytest
import uvicorn
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, Page

from api.app import create_app
from api.cli.demo import StandingClock
from api.settings import Settings
from api.sources.gazetteer import find_towns
from api.store.tanks import list_tanks
from api.usecases.first_answer import make_ready
from api.wiring import Services, make_services

pytestmark = pytest.mark.browser

K_S, P_S, B_S, H_S, M_S = 0.28, 1.1, 0.1, 0.4, 1.35
TWO_MINUTES_S = 120.0
SIZES = {"phone": (390, 844), "desk": (1280, 900)}
START_S = 30.0


@dataclass(frozen=True)
class Home:
    """A home without a tank, served."""

    base: str
    services: Services


@pytest.fixture
def home(tmp_path: Any) -> Iterator[Home]:
    """A home without a tank; towns and engine are ready, as they are some seconds after the first page."""
    clock = StandingClock(datetime(2026, 1, 10, 12, tzinfo=UTC))
    services = make_services(Settings(database=f"sqlite:///{tmp_path / 'home.db'}"), clock=clock)
    find_towns("ready")
    make_ready()
    server = uvicorn.Server(
        uvicorn.Config(create_app(services), host="127.0.0.1", port=0, log_level="warning")
    )
    thread = threading.Thread(target=server.run, name="home", daemon=True)
    thread.start()
    give_up = time.monotonic() + START_S
    while not server.started:
        assert time.monotonic() < give_up, "the server did not start"
        time.sleep(0.02)
    yield Home(f"http://127.0.0.1:{server.servers[0].sockets[0].getsockname()[1]}", services)
    server.should_exit = True
    thread.join(START_S)


@dataclass
class Person:
    """Somebody at a page, whose presses and keys are counted."""

    page: Page
    presses: int = 0
    keys: int = 0
    hands: int = 0
    minds: int = 0
    complaints: list[str] = field(default_factory=list)
    asked_for: list[str] = field(default_factory=list)
    pages: list[str] = field(default_factory=list)

    def press(self, role: Any, name: str) -> None:
        """Look for a button or link and press it."""
        self.presses += 1
        self.minds += 1
        self.page.get_by_role(role, name=name).first.click()

    def type(self, label: str, text: str) -> None:
        """Press into a field and type."""
        self.presses += 1
        self.minds += 1
        self.hands += 2
        self.keys += len(text)
        box = self.page.get_by_label(label, exact=True)
        box.click()
        box.press_sequentially(text)

    @property
    def seconds(self) -> float:
        """What it takes a person, by the keystroke-level model. [s]"""
        pressed = self.presses * (P_S + 2 * B_S)
        return self.keys * K_S + pressed + self.hands * H_S + self.minds * M_S


@contextmanager
def somebody(browser: Browser, size: str, **context: Any) -> Iterator[Person]:
    """Open a browser, watching what it complains of and asks for."""
    width, height = SIZES[size]
    window = browser.new_context(viewport={"width": width, "height": height}, **context)
    person = Person(window.new_page())
    person.page.on("console", lambda m: person.complaints.append(m.text))
    person.page.on("pageerror", lambda e: person.complaints.append(str(e)))
    person.page.on("request", lambda r: person.asked_for.append(r.url))
    try:
        yield person
    finally:
        window.close()


def set_up(person: Person, base: str, look: Any = lambda: None) -> None:
    """Go from the empty list to the first answer, telling all that matters."""
    person.page.goto(base)
    for do in (
        lambda: person.press("link", "Set up a tank"),
        lambda: person.press("link", "Start"),
        lambda: person.press("button", "A drum lying down"),
        lambda: (
            person.type("Across the round end", "120"),
            person.type("Length", "180"),
            person.press("button", "Next"),
        ),
        lambda: person.press("button", "No sensor, or I don’t know: pass it over"),
        lambda: (person.type("Town or village", "Newport"), person.press("button", "Next")),
        lambda: person.press("button", "Newport, Wales, United Kingdom"),
        lambda: (
            person.type("Floor area, all storeys together", "130"),
            person.type("Built in about which year", "1970"),
            person.type("How many people live there", "3"),
            person.press("button", "Next"),
        ),
        lambda: (person.press("radio", "The oil boiler"), person.press("button", "Next")),
        lambda: (
            person.type("Evenings with a wood fire in a winter week", "3"),
            person.press("button", "Next"),
        ),
        lambda: (
            person.type("The gauge or the stick shows", "3/8"),
            person.press("button", "Show the first answer"),
        ),
    ):
        do()
        person.page.wait_for_load_state()
        person.pages.append(person.page.url)
        look()


@pytest.mark.parametrize(("size", "scheme"), [("phone", "dark"), ("desk", "light")])
def test_from_nothing_to_a_first_answer_in_under_two_minutes(
    browser: Browser, home: Home, size: str, scheme: Any
) -> None:
    """Every page passes axe, fits the screen and asks no other host; person and machine need under two minutes."""
    with somebody(browser, size, color_scheme=scheme) as person:
        looked, looked_cpu = 0.0, 0.0

        def look() -> None:
            nonlocal looked, looked_cpu
            begun, begun_cpu = time.perf_counter(), time.process_time()
            found = Axe().run(person.page)
            assert found.violations_count == 0, found.generate_report()
            width = person.page.evaluate("() => document.documentElement.scrollWidth")
            assert width <= SIZES[size][0], person.page.url
            looked += time.perf_counter() - begun
            looked_cpu += time.process_time() - begun_cpu

        begun, begun_cpu = time.perf_counter(), time.process_time()
        set_up(person, home.base, look)
        wall_s = time.perf_counter() - begun - looked
        machine_s = (
            time.process_time() - begun_cpu - looked_cpu
        )  # of the service and whoever presses, not the load
        sentence = person.page.locator("#sentence").inner_text()
        assert "litres are left" in sentence
        assert "litres in a normal year" in person.page.locator("#burn").inner_text()
        assert person.page.locator(".surer li").count() >= 2
        assert person.complaints == []
        assert [url for url in person.asked_for if not url.startswith(home.base + "/")] == []
        told = (
            f"{person.presses} presses, {person.keys} keys, {person.seconds:.0f} s; service {machine_s:.1f} s"
        )
        print(f"{size}: {told}; {wall_s:.0f} s by the clock")
        assert person.presses <= 30, told
        assert person.seconds + machine_s < TWO_MINUTES_S, told
        with home.services.store.read() as session:
            assert len(list_tanks(session)) == 1


def test_without_scripts_everything_is_asked_drawn_and_answered(browser: Browser, home: Home) -> None:
    """With scripts switched off the same pages lead to the same answer, each measure with its own picture."""
    with somebody(browser, "phone", java_script_enabled=False) as person:
        set_up(person, home.base)
        assert person.page.locator("#sentence").is_visible()
        person.page.goto(f"{home.base}/set-up/shape")
        assert person.page.locator("button.shape svg").count() == 7
        person.page.locator("button.shape").first.click()
        assert person.page.locator(".drawn svg .lit").count() == person.page.locator(".drawn").count() == 3


def test_keys_alone_lead_to_an_answer(browser: Browser, home: Home) -> None:
    """With Tab, typing and Enter alone a person comes from the list of tanks to an answer."""
    with somebody(browser, "desk") as person:
        page = person.page
        page.goto(home.base)

        def reach(words: str) -> None:
            for _ in range(60):
                page.keyboard.press("Tab")
                here = page.evaluate(
                    "() => { const e = document.activeElement; "
                    "return (e.labels && e.labels.length ? e.labels[0] : e).textContent.trim(); }"
                )
                if here.startswith(words):
                    ring = page.evaluate("() => getComputedStyle(document.activeElement).outlineStyle")
                    assert ring == "solid", words
                    return
            raise AssertionError(f"Tab does not lead to {words}")

        def enter(words: str) -> None:
            reach(words)
            with page.expect_navigation():
                page.keyboard.press("Enter")

        enter("Set up a tank")
        enter("Start")
        enter("A drum standing up")
        reach("Across the top")
        page.keyboard.type("120")
        reach("Height")
        page.keyboard.type("140")
        with page.expect_navigation():
            page.keyboard.press("Enter")
        for step in ("place", "house", "boiler", "sun", "now"):
            enter("No sensor" if step == "place" else "I don’t know: pass it over")
            page.wait_for_url(f"**/set-up/{step}")
        reach("The gauge or the stick shows")
        page.keyboard.type("40 %")
        with page.expect_navigation():
            page.keyboard.press("Enter")
        assert page.locator("#sentence").is_visible()


def test_going_back_reloading_and_a_lost_connection_lose_nothing(browser: Browser, home: Home) -> None:
    """What was typed stands there after going back, a reload and on another device; no tank is made meanwhile."""
    with somebody(browser, "phone") as person:
        page = person.page
        page.goto(f"{home.base}/set-up/shape")
        page.get_by_role("button", name="A box").click()
        for name, value in (("Length", "150"), ("Width", "80"), ("Height", "12")):
            page.get_by_label(name, exact=True).fill(value)
        page.get_by_role("button", name="Next").click()
        assert page.locator("#height-mend").is_visible()
        assert page.locator("#length").input_value() == "150"
        page.get_by_label("Height", exact=True).fill("120")
        page.context.set_offline(True)
        page.get_by_role("button", name="Next").click(no_wait_after=True)
        page.wait_for_timeout(200)
        page.context.set_offline(False)
        page.goto(f"{home.base}/set-up/measures")
        assert page.locator("#length").input_value() == "150"
        page.get_by_label("Height", exact=True).fill("120")
        page.get_by_role("button", name="Next").click()
        page.wait_for_url("**/set-up/sensor")
        page.go_back()
        page.reload()
        assert page.locator("#height").input_value() == "120"
    with somebody(browser, "desk") as other:
        other.page.goto(f"{home.base}/set-up")
        other.page.get_by_role("link", name="Go on where you stopped").click()
        assert other.page.url.endswith("/set-up/sensor")
    with home.services.store.read() as session:
        assert list_tanks(session) == ()


NEVER = ("ullage", "degree-day", "heel", "dip ", "K-factor", "azimuth", "prior", "posterior", "TOML")


def test_no_page_uses_a_word_that_only_the_trade_knows(browser: Browser, home: Home) -> None:
    """Somebody who has never heard of ullage or degree-days meets neither on the way to the first answer."""
    with somebody(browser, "desk") as person:
        met: dict[str, str] = {}

        def look() -> None:
            words = person.page.locator("main").inner_text()
            met.update({word: person.page.url for word in NEVER if word.lower() in words.lower()})

        set_up(person, home.base, look)
        assert met == {}
