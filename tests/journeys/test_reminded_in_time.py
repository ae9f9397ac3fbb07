"""Winters replayed in fast time: a real server, worker, mail server and browser around an invented house.

What the household reads in its mail and on its pages is all it acts by; the tank it must not run dry is
simulated, by equations that are not the engine's.
"""

import re
from datetime import UTC, date, datetime
from pathlib import Path

import pytest
from playwright.sync_api import Browser

from tests.journeys.household import Household, Mail, living
from tests.journeys.true_house import TrueHouse

pytestmark = pytest.mark.browser

ANN, BEN = "ann@example.org", "ben@example.org"


def at(day: str) -> datetime:
    """Seven in the morning of a day."""
    return datetime.fromisoformat(f"{day}T07:00").replace(tzinfo=UTC)


def wait_for(home: Household, *, days: int) -> list[Mail]:
    """Live on until mail comes."""
    for _ in range(days):
        mails = home.next_morning()
        if mails:
            return mails
    raise AssertionError(f"no mail came by {home.today}")


def test_a_late_tanker_is_chased_while_risk_rises(browser: Browser, tmp_path: Path) -> None:
    """Not there on its day: asked about at once, then every three days and of a second person too, until a new day."""
    house = TrueHouse(at("2025-01-05"), at("2025-02-20"), 290.0)
    with living(house, tmp_path) as home:
        home.move_in(days=40)
        home.give_address(browser, ANN)
        home.give_address(browser, BEN, second=True)
        home.order(browser, 1000.0, date(2025, 1, 8))
        chased: list[Mail] = []
        while home.today < date(2025, 1, 15):
            chased += home.next_morning()
        assert {mail.subject for mail in chased} == {"The oil that was ordered has not come (Hill Farm)"}
        assert [(mail.on.day, mail.to) for mail in chased] == [
            (9, ANN), (12, ANN), (12, BEN), (15, ANN), (15, BEN),
        ]  # fmt: skip
        assert "was promised for Wed 8 January and we know of no delivery" in chased[0].text
        assert "do not order a second time" in chased[0].text
        assert "nobody has told us that they read it" in chased[1].text
        left = [re.search(r"About ([\d,]+) litres are left", mail.text) for mail in chased]
        told = [float(found.group(1)) for found in left if found is not None]
        assert told == sorted(told, reverse=True)
        assert told[-1] < told[0]
        assert "Order now" in chased[-1].text or "today" in chased[-1].text
        home.promise(browser, date(2025, 1, 17))
        assert home.next_morning() == home.next_morning() == []
        home.next_morning(poured_l=1000.0)
        home.tell_delivery(browser, 1000.0)
        assert home.next_morning() == []
        assert home.forecast()["litres"]["p50"] == pytest.approx(house.litres_at(home.clock.at), abs=50.0)
        assert house.dry_at is None


def test_a_leak_is_told_within_three_mornings(browser: Browser, tmp_path: Path) -> None:
    """Sixty litres a day run out: a mail says what to do and whom to call, and no date is told anywhere."""
    house = TrueHouse(at("2025-01-02"), at("2025-02-01"), 900.0)
    with living(house, tmp_path) as home:
        home.move_in(days=40)
        home.give_address(browser, ANN)
        home.next_morning()
        home.lost_l_per_day = 60.0
        (mail,) = wait_for(home, days=3)
        assert mail.subject.startswith(("Oil may be leaving the tank", "Please look at the tank now"))
        assert "0800 80 70 60" in mail.text
        assert "shut the valve at the tank" in mail.text
        assert home.forecast()["run_dry"] is None
        said = home.read_answer(browser)
        assert "Order about" not in said
        assert "not a leak detector" in mail.text


def test_a_wrong_tank_shape_is_found_by_two_deliveries(browser: Browser, tmp_path: Path) -> None:
    """The tank is narrower than its file: two deliveries rise too high, and a question about its sizes is asked."""
    house = TrueHouse(at("2024-12-18"), at("2025-02-01"), 560.0, widths=0.85)
    with living(house, tmp_path) as home:
        home.move_in(days=40)
        home.give_address(browser, ANN)
        for quiet in (2, 10):
            for _ in range(quiet):
                home.next_morning()
            came = home.clock.at.replace(hour=11)
            home.next_morning(poured_l=500.0)
            home.tell_ticket(browser, 500.0, came)
        mails: list[Mail] = []
        for _ in range(4):
            mails += home.next_morning()
        assert any(mail.subject.startswith("A question about the tank") for mail in mails)
        assert "geometry" in [reason["code"] for reason in home.forecast()["reasons"]]
        assert home.forecast()["litres"] is None
        assert "2 deliveries" in home.read_answer(browser)
