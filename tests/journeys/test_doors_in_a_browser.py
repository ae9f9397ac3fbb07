"""The doors for people as a browser draws them: a dip beside the tank, a file, a sensor's own messages."""

import threading
import time
from collections.abc import Iterator

import pytest
import uvicorn
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser

from api.app import create_app
from api.cli.demo import StandingClock
from api.settings import Settings
from api.usecases.register_tank import register_tank
from api.wiring import make_services
from tests.api.conftest import NOW
from tests.journeys.test_pages_in_a_browser import DESK, PHONE, opened

pytestmark = pytest.mark.browser

TANK = """name = "Upper Byre"
shape = "horizontal_cylinder"
product = "kerosene"
diameter_mm = 1200
length_mm = 1800
sensor_height_mm = 1250
"""
CSV = b"Zeit;Stand\n2026-01-08 06:00;64,5\n2026-01-09 06:00;63,5\n2026-01-09 07:00;voll\n"
SAMPLE = '{"data": [{"dist": 61.5}], "ts": 1768024800}'
FORMS = ("dips", "gauges", "deliveries", "removals", "bills", "wood", "diary", "changes", "sensor-moves")


@pytest.fixture(scope="module")
def home(tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    """The address of a tank's pages, on a server of its own; the house stands in Ireland."""
    database = tmp_path_factory.mktemp("doors") / "doors.db"
    services = make_services(Settings(database=f"sqlite:///{database}"), clock=StandingClock(NOW))
    with services.store.write() as session:
        survey = 'place = "Dublin"\ntimezone = "Europe/Dublin"\n'
        tank = register_tank(session, services.clock, tank_toml=TANK, survey_toml=survey)
    config = uvicorn.Config(create_app(services), host="127.0.0.1", port=0, log_level="warning")
    server = uvicorn.Server(config)
    thread = threading.Thread(target=server.run, daemon=True)
    thread.start()
    give_up = time.monotonic() + 30.0
    while not server.started:
        assert time.monotonic() < give_up, "the server did not start"
        time.sleep(0.02)
    port = server.servers[0].sockets[0].getsockname()[1]
    yield f"http://127.0.0.1:{port}/tanks/{tank.public_id}"
    server.should_exit = True
    thread.join(30.0)


@pytest.mark.parametrize("path", ["", *(f"/{form}" for form in FORMS)])
@pytest.mark.parametrize(("size", "scheme"), [(PHONE, "dark"), (DESK, "light")], ids=["phone", "desk"])
def test_every_form_passes_the_accessibility_check_at_its_width(
    browser: Browser, home: str, path: str, size: tuple[int, int], scheme: str
) -> None:
    """No violation, no complaint, no other host, and nothing wider than the screen."""
    with opened(browser, f"{home}/tell{path}", size, color_scheme=scheme) as watched:
        found = Axe().run(watched.page)
        assert found.violations_count == 0, found.generate_report()
        assert watched.complaints == []
        assert all(url.startswith(home.rpartition("/tanks/")[0]) for url in watched.asked_for)
        assert watched.page.evaluate("() => document.documentElement.scrollWidth") <= size[0]


def test_a_dip_is_told_beside_the_tank_without_scripts(browser: Browser, home: str) -> None:
    """A slip is named beside its field with what was typed; mended, it is stored, and nothing else is asked."""
    window = browser.new_context(viewport={"width": PHONE[0], "height": PHONE[1]}, java_script_enabled=False)
    page = window.new_page()
    page.goto(f"{home}/tell")
    page.click("text=A dip by stick")
    page.fill("#dip", "25 3/7")
    page.check("#unit-3")
    page.check("#who-2")
    page.click("text=Store it")
    assert page.locator("#dip-mend").text_content() == "Give a common fraction such as 3/8, smaller than one."
    assert page.input_value("#dip") == "25 3/7"
    assert page.is_checked("#unit-3")
    page.fill("#dip", "25 3/8")
    page.click("text=Store it")
    said = page.locator("[role=status]").text_content() or ""
    assert "Stored: 645 mm of oil in Upper Byre" in said
    assert "as a carer said" in said
    assert page.locator("form").count() == 0
    window.close()


def test_a_file_of_another_layout_is_looked_at_and_stored(browser: Browser, home: str) -> None:
    """Chosen once, asked for its columns, shown, stored: the file needs not be chosen again."""
    with opened(browser, f"{home}/readings-file", PHONE) as watched:
        page = watched.page
        page.set_input_files("#file", {"name": "x.csv", "mimeType": "text/csv", "buffer": CSV})
        page.click("text=Show how it is read")
        page.select_option("#time_column", "zeit")
        page.select_option("#level_column", "stand")
        page.select_option("#unit", "dip_cm")
        page.check("#comma")
        page.click("text=Look again")
        assert page.locator("tbody tr").count() == 2
        assert "row 4, stand: give a number" in (page.locator("[role=alert]").text_content() or "")
        found = Axe().run(page)
        assert found.violations_count == 0, found.generate_report()
        page.click("text=Store 2 readings")
        assert "2 new readings" in (page.locator("[role=status]").text_content() or "")


def test_a_sensors_own_message_is_mapped_with_a_preview(browser: Browser, home: str) -> None:
    """A sample pasted, the level pointed at, the reading shown in words, the topic kept."""
    with opened(browser, f"{home}/messages", DESK) as watched:
        page = watched.page
        page.fill("#sample", SAMPLE)
        page.click("text=Look")
        page.select_option("#level", "/data/0/dist")
        page.select_option("#unit", "cm")
        page.select_option("#time", "/ts")
        page.select_option("#time_form", "epoch_s")
        page.fill("#topic", "byre/oil")
        page.click("button[value=look]")
        shown = page.locator("[role=status]").text_content() or ""
        assert "615 mm from the sensor down to the oil, Sat 10 January 06:00" in shown
        found = Axe().run(page)
        assert found.violations_count == 0, found.generate_report()
        page.click("text=Read it like this from now on")
        assert "MQTT topic byre/oil" in (page.locator(".rows").text_content() or "")
