"""A household with a real server, a real mail server, a weather service that answers, and the worker.

Days pass as the test wants them to: the house burns, its sensor sends through the HTTP door, the worker
ticks in the morning, and whatever mail it sends arrives at a mail server.

Flow     true house -> readings by HTTP -> worker's tick -> **mails**; pages in a browser -> orders, answers
"""

import email
import email.policy
import json
import re
import socket
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Any
from urllib.request import Request, urlopen

import uvicorn
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, Page

from api.app import create_app
from api.settings import Settings
from api.wiring import make_services
from api.worker.assemble import make_worker
from api.worker.worker import Worker
from tests.api.conftest import StandingClock
from tests.api.notify.receivers import CERTIFICATE, Mailbox, serve_mail
from tests.api.weather_service import StandIn, weather_service
from tests.journeys.test_pages_in_a_browser import DESK, PHONE, opened
from tests.journeys.true_house import TrueHouse

MORNING, SENT_AT = timedelta(hours=7), timedelta(hours=6)
"""The worker is looked at, and the sensor sends, so long after midnight UTC."""
TANK = {
    "name": "Hill Farm", "product": "kerosene", "shape": "rectangular", "length_mm": 1600, "width_mm": 950,
    "height_mm": 1200, "sensor_height_mm": 1270, "resolution_mm": 10, "timezone": "Europe/London",
}  # fmt: skip
SURVEY = {
    "latitude": 54.5, "longitude": -2.6, "elevation_m": 130, "timezone": "Europe/London",
    "heat_loss_w_per_k": 260, "occupants": 4, "boiler_efficiency": 0.84, "boiler_kw": 20, "hot_water": "oil",
    "solar": {"window_m2": 8, "window_azimuth": 160},
}  # fmt: skip
START_S = 30.0


@dataclass(frozen=True)
class Mail:
    """A mail as it arrived: on a day, at somebody."""

    on: date
    to: str
    subject: str
    text: str


@dataclass
class Household:
    """The house and all that is around it.

    Attributes
    ----------
    sensor_works
        Whether readings are sent.
    lost_l_per_day
        What the tank loses otherwise than through the burner. [L/day]
    mails
        All that has arrived, in order.
    """

    house: TrueHouse
    clock: StandingClock
    base: str
    worker: Worker
    box: Mailbox
    weather: StandIn
    shots: Path
    tank: str = ""
    sensor_works: bool = True
    lost_l_per_day: float = 0.0
    mails: list[Mail] = field(default_factory=list)

    @property
    def today(self) -> date:
        return self.clock.at.date()

    def post(self, path: str, body: object) -> dict[str, Any]:
        """Send JSON through the HTTP door."""
        sent = Request(
            f"{self.base}{path}", json.dumps(body).encode(), {"Content-Type": "application/json"}
        )  # fmt: skip
        with urlopen(sent, timeout=20) as answer:
            found: dict[str, Any] = json.load(answer)
            return found

    def get(self, path: str) -> dict[str, Any]:
        """Ask the HTTP door."""
        with urlopen(f"{self.base}{path}", timeout=20) as answer:
            found: dict[str, Any] = json.load(answer)
            return found

    def forecast(self) -> dict[str, Any]:
        """The forecast as of now."""
        return self.get(f"/api/tanks/{self.tank}/forecast")

    def move_in(self, *, days: int) -> None:
        """Describe tank and house, and send the readings of so many days before today."""
        self.tank = self.post("/api/tanks", {"tank": TANK, "survey": SURVEY})["id"]
        now = self.clock.at
        kept = self.house.litres_15c
        readings = []
        for day in range(days):
            at = (now - timedelta(days=day)).replace(hour=0) + SENT_AT
            burned = float(self.house.burn_15c[self.house.index(at) : self.house.index(now)].sum())
            self.house.litres_15c = kept + burned
            readings.append({"at": _rfc3339(at), "ullage_mm": self.house.ullage_mm(at)})
        self.house.litres_15c = kept
        self.post(f"/api/tanks/{self.tank}/readings", {"readings": readings})

    def next_morning(self, *, poured_l: float = 0.0, is_worked: bool = True) -> list[Mail]:
        """Live one day, and look at the morning's mail; on days of no account the worker is let sleep."""
        now, then = self.clock.at, self.clock.at + timedelta(days=1)
        noon = now.replace(hour=11)
        self.house.burn_until(now, noon, lost_l_per_day=self.lost_l_per_day)
        if poured_l:
            self.house.pour(poured_l, noon)
        sent_at = then.replace(hour=0) + SENT_AT
        self.house.burn_until(noon, sent_at, lost_l_per_day=self.lost_l_per_day)
        if self.sensor_works:
            self.clock.at = sent_at + timedelta(minutes=1)
            reading = {"at": _rfc3339(sent_at), "ullage_mm": self.house.ullage_mm(sent_at)}
            self.post(f"/api/tanks/{self.tank}/readings", reading)
        self.house.burn_until(sent_at, then, lost_l_per_day=self.lost_l_per_day)
        self.clock.at = then
        return self.work() if is_worked else []

    def work(self) -> list[Mail]:
        """Let the worker look once, and read the mail that it sends."""
        self.weather.answers[:] = [self._weather]
        self.worker.tick()
        new = [self._read(raw, to[0]) for _, to, raw in self.box.mails[len(self.mails) :]]
        self.mails += new
        return new

    def _weather(self, question: dict[str, str]) -> tuple[int, dict[str, str], bytes]:
        return 200, {}, json.dumps(self.house.weather_answer(question, self.clock.at)).encode()

    def _read(self, raw: bytes, to: str) -> Mail:
        mail = email.message_from_bytes(raw, policy=email.policy.default)
        plain = mail.get_body(("plain",))
        assert plain is not None
        return Mail(self.today, to, str(mail["Subject"]), str(plain.get_content()))

    # ---- what people do in a browser

    @contextmanager
    def visit(self, browser: Browser, path: str, *, size: tuple[int, int] = PHONE) -> Iterator[Page]:
        """Open a page, and hold what it turns into to what every page must be."""
        at = path if path.startswith("http") else f"{self.base}{path}"
        with opened(browser, at, size) as watched:
            yield watched.page
            self._check(watched.page, path, size)
            assert watched.complaints == []
            assert [url for url in watched.asked_for if not url.startswith(f"{self.base}/")] == []

    def _check(self, page: Page, path: str, size: tuple[int, int]) -> None:
        found = Axe().run(page)
        assert found.violations_count == 0, found.generate_report()
        assert page.evaluate("() => document.documentElement.scrollWidth") <= size[0]
        name = re.sub(r"[^a-z-]+", "-", path.rpartition(self.tank)[2].lower()).strip("-") or "answer"
        page.screenshot(path=self.shots / f"{self.today}-{name}-{size[0]}.png", full_page=True)

    def read_answer(self, browser: Browser) -> str:
        """Read the answer on a phone and on a desk: sentence and reasons, the same on both."""
        said = []
        for size in (PHONE, DESK):
            with self.visit(browser, f"/tanks/{self.tank}", size=size) as page:
                said.append("\n".join(page.locator(".sentence, .reason").all_text_contents()))
        assert said[0] == said[1]
        return said[0]

    def give_address(self, browser: Browser, address: str, *, second: bool = False) -> None:
        """Ask for reminders by mail, and say yes in the mail that comes."""
        with self.visit(browser, f"/tanks/{self.tank}/orders") as page:
            page.fill("#address", address)
            if second:
                page.check("#second")
            page.click("text=Add it")
        (asked,) = self.work()
        assert asked.to == address
        link = re.search(r"http\S+/confirm/\S+", asked.text)
        assert link is not None
        with self.visit(browser, link.group()) as page:
            page.click("button")

    def order(self, browser: Browser, litres: float, promised_for: date | None = None) -> None:
        """Tell that oil was ordered."""
        with self.visit(browser, f"/tanks/{self.tank}/orders") as page:
            page.fill("#litres", f"{litres:.0f}")
            if promised_for is not None:
                page.fill("#promised_for", promised_for.isoformat())
            page.click("text=Note the order")
            assert "Noted that oil is ordered" in (page.locator("[role=status]").text_content() or "")

    def promise(self, browser: Browser, day: date) -> None:
        """Tell the day that the supplier has named for what was ordered."""
        with self.visit(browser, f"/tanks/{self.tank}/orders") as page:
            page.check("li input[value=promise]")
            page.fill("li input[name=promised_for]", day.isoformat())
            page.click("text=Note it")
            assert "Noted." in (page.locator("[role=status]").text_content() or "")

    def tell_ticket(self, browser: Browser, litres: float, when: datetime) -> None:
        """Tell of a delivery that was not ordered here."""
        with self.visit(browser, f"/tanks/{self.tank}/tell/deliveries") as page:
            page.fill("#litres", f"{litres:.0f}")
            page.fill("#at", f"{when:%Y-%m-%dT%H:%M}")
            page.click("text=Store it")
            assert f"{litres:.0f} litres" in (page.locator("main").text_content() or "")

    def answer_reminder(self, browser: Browser) -> None:
        """Say that the newest reminder was read."""
        with self.visit(browser, f"/tanks/{self.tank}/orders") as page:
            page.locator("text=I have read it").first.click()
            assert "This one is not repeated" in (page.locator("[role=status]").text_content() or "")

    def tell_delivery(self, browser: Browser, litres: float) -> None:
        """Tell that what was ordered has come."""
        with self.visit(browser, f"/tanks/{self.tank}/orders") as page:
            page.fill("li input[name=litres]", f"{litres:.0f}")
            page.click("text=Note it")
            assert "Noted." in (page.locator("[role=status]").text_content() or "")


@contextmanager
def living(house: TrueHouse, shots: Path) -> Iterator[Household]:
    """Start everything around a house, its clock at the house's start."""
    clock = StandingClock(house.start)
    place = socket.create_server(("127.0.0.1", 0))
    base = f"http://127.0.0.1:{place.getsockname()[1]}"
    with serve_mail() as box, weather_service(house.start) as weather:
        settings = Settings(
            database=f"sqlite:///{shots / 'home.db'}", weather_url=weather.url, backups_kept=0,
            public_url=base, mail_host="localhost", mail_port=box.port, mail_user="dipcast",
            mail_password="secret", mail_sender="dipcast@home.test", mail_ca_file=CERTIFICATE,
            pollution_line="0800 80 70 60",
        )  # fmt: skip
        services = make_services(settings, clock=clock)
        server = uvicorn.Server(uvicorn.Config(create_app(services), log_level="warning"))
        thread = threading.Thread(target=server.run, kwargs={"sockets": [place]}, daemon=True)
        thread.start()
        give_up = time.monotonic() + START_S
        while not server.started:
            assert time.monotonic() < give_up, "the server did not start"
            time.sleep(0.02)
        try:
            yield Household(house, clock, base, make_worker(services), box, weather, shots)
        finally:
            server.should_exit = True
            thread.join(START_S)
            place.close()


def _rfc3339(at: datetime) -> str:
    return f"{at.astimezone(UTC):%Y-%m-%dT%H:%M:%SZ}"
