"""At home nobody needs an account: the machine itself, and phones that were paired with it by a code."""

import re
from collections.abc import Iterator

import pytest
from fastapi.testclient import TestClient

from api.app import create_app
from api.settings import Settings
from api.usecases.accounts.pairing import DIGITS
from api.wiring import Services, make_services
from tests.api.conftest import LYING_CYLINDER, StandingClock

OURS = {"Sec-Fetch-Site": "same-origin"}
MACHINE, PHONE = ("127.0.0.1", 5000), ("192.168.1.20", 5000)


@pytest.fixture
def services(sqlite_url: str, clock: StandingClock) -> Iterator[Services]:
    """A home whose phones may be paired."""
    made = make_services(Settings(database=sqlite_url, mode="home_network"), clock=clock)
    yield made
    made.store.engine.dispose()


def open_browser(services: Services, at: tuple[str, int], host: str = "192.168.1.7:8000") -> TestClient:
    """Open a browser at an address of the house."""
    return TestClient(
        create_app(services),
        base_url=f"http://{host}",
        client=at,
        headers=OURS,
        follow_redirects=False,
        raise_server_exceptions=False,
    )


@pytest.fixture
def machine(services: Services) -> Iterator[TestClient]:
    """A browser on the machine itself."""
    with open_browser(services, MACHINE, "localhost") as client:
        yield client


@pytest.fixture
def phone(services: Services) -> Iterator[TestClient]:
    """A phone in the house's network."""
    with open_browser(services, PHONE) as client:
        yield client


def code_on(machine: TestClient, paired_as: str = "owner") -> str:
    """Have a code shown on the machine; its figures."""
    page = machine.post("/phones/code", data={"as": paired_as})
    found = re.search(r'class="figures">(\d{4}) (\d{4})<', page.text)
    assert found is not None, page.text
    return found[1] + found[2]


def enter_tank(client: TestClient) -> int:
    """Enter a tank; the status."""
    body = {"tank": LYING_CYLINDER, "survey": {"place": "East Anglia"}}
    return client.post("/api/tanks", json=body).status_code


def test_the_machine_itself_is_let_in_without_an_account(machine: TestClient) -> None:
    """Whoever sits at the machine owns every tank on it."""
    assert enter_tank(machine) == 201
    assert "Byre" in machine.get("/").text
    assert machine.get("/phones").status_code == 200


def test_a_phone_is_asked_for_a_code_first(phone: TestClient, machine: TestClient) -> None:
    """A phone that is not paired sees nothing but the form for the code."""
    enter_tank(machine)
    refused = phone.get("/")
    assert refused.status_code == 401
    assert "Byre" not in refused.text
    assert 'action="/pair"' in refused.text
    assert "plain http" in refused.text
    assert enter_tank(phone) == 401
    assert phone.get("/phones").status_code == 401


def test_a_paired_phone_may_do_what_it_was_paired_for(
    services: Services, machine: TestClient, phone: TestClient
) -> None:
    """Paired as an owner a phone enters a tank; paired to look on it reads and changes nothing."""
    assert phone.post("/pair", data={"code": code_on(machine)}).status_code == 303
    assert enter_tank(phone) == 201
    assert "Byre" in phone.get("/").text
    assert phone.get("/phones").status_code == 404
    with open_browser(services, ("192.168.1.21", 1)) as second:
        code = code_on(machine, "member")
        assert second.post("/pair", data={"code": f"{code[:4]} {code[4:]}"}).status_code == 303
        assert "Byre" in second.get("/").text
        assert enter_tank(second) == 404


def test_a_code_works_once_and_for_ten_minutes(
    services: Services, machine: TestClient, phone: TestClient, clock: StandingClock
) -> None:
    """A code lets one phone in; a second phone, or the eleventh minute, needs another."""
    code = code_on(machine)
    assert phone.post("/pair", data={"code": code}).status_code == 303
    with open_browser(services, ("192.168.1.21", 1)) as second:
        assert second.post("/pair", data={"code": code}).status_code == 422
        late = code_on(machine)
        clock.move(minutes=10, seconds=1)
        assert second.post("/pair", data={"code": late}).status_code == 422
        first, newest = code_on(machine), code_on(machine)
        assert second.post("/pair", data={"code": first}).status_code == 422
        assert second.post("/pair", data={"code": newest}).status_code == 303


def test_ten_wrong_codes_leave_none(machine: TestClient, phone: TestClient) -> None:
    """Whoever guesses has ten tries at a code: then it is gone, also for who has it."""
    code = code_on(machine)
    wrong = f"{(int(code) + 1) % 10**DIGITS:0{DIGITS}}"
    for _ in range(10):
        assert phone.post("/pair", data={"code": wrong}).status_code == 422
    assert phone.post("/pair", data={"code": code}).status_code == 422
    assert phone.post("/pair", data={"code": code_on(machine)}).status_code == 303


def test_a_phone_that_is_shut_out_is_out_at_once(machine: TestClient, phone: TestClient) -> None:
    """The machine's page lists the phones, and ends one of them from its next request on."""
    phone.headers["User-Agent"] = "Mozilla/5.0 (iPhone; CPU iPhone OS 18_1) Safari/605"
    phone.post("/pair", data={"code": code_on(machine)})
    assert phone.get("/").status_code == 200
    page = machine.get("/phones").text
    assert "Safari on iPhone" in page
    end = re.search(r"/phones/[^/]+/end", page)
    assert end is not None
    assert phone.post(end[0]).status_code == 404
    assert machine.post(end[0]).status_code == 303
    assert phone.get("/").status_code == 401


def test_the_picture_fills_the_code_in_and_does_nothing_else(machine: TestClient, phone: TestClient) -> None:
    """Opening the address of the picture only fills the form in; what is no code is left out."""
    page = machine.post("/phones/code", data={"as": "owner"}).text
    assert 'src="data:image/svg+xml' in page
    assert "could read along" in page
    assert 'value="12345678"' in phone.get("/pair?code=12345678").text
    assert "<b>" not in phone.get("/pair?code=<b>").text
    assert phone.get("/").status_code == 401


@pytest.mark.parametrize("name", ["Forwarded", "X-Forwarded-For", "X-Real-IP", "Via"])
def test_what_was_passed_on_is_not_from_here(machine: TestClient, name: str) -> None:
    """A request that something on the machine passes on for another is not the machine's own."""
    assert machine.get("/", headers={name: "203.0.113.9"}).status_code == 401


@pytest.mark.parametrize(
    ("host", "status"),
    [
        ("192.168.1.7:8000", 401),
        ("10.0.0.2", 401),
        ("[fd00::7]:8000", 401),
        ("oil.local:8000", 401),
        ("localhost", 401),
        ("1.2.3.4", 400),
        ("evil.example", 400),
        ("192.168.1.7.evil.example", 400),
    ],
)
def test_only_names_of_the_house_are_served(phone: TestClient, host: str, status: int) -> None:
    """Private addresses and names of the local network are served; a foreign name that points here is not."""
    assert phone.get("/", headers={"Host": host}).status_code == status


def test_another_sites_page_changes_nothing_at_home_either(machine: TestClient) -> None:
    """A page from elsewhere, open in the machine's own browser, cannot enter or erase anything."""
    for headers in ({"Sec-Fetch-Site": "cross-site"}, {"Sec-Fetch-Site": "cross-site", "Origin": "null"}):
        body = {"tank": LYING_CYLINDER}
        assert machine.post("/api/tanks", json=body, headers=headers).status_code == 403
        assert machine.post("/phones/code", data={"as": "owner"}, headers=headers).status_code == 403


def test_by_itself_the_service_answers_its_own_machine_only(sqlite_url: str, clock: StandingClock) -> None:
    """As it comes nobody but this machine is answered, and it says how that can be changed."""
    services = make_services(Settings(database=sqlite_url), clock=clock)
    with open_browser(services, PHONE, "localhost") as phone:
        refused = phone.get("/")
        assert refused.status_code == 401
        assert "DIPCAST_MODE" in refused.text
        assert enter_tank(phone) == 401
        assert phone.get("/health/live").status_code == 200
        assert phone.get("/cautions").status_code == 200
    with open_browser(services, MACHINE, "localhost") as machine:
        assert enter_tank(machine) == 201
        for path in ("/phones", "/pair", "/sign-in", "/sign-up", "/account"):
            assert machine.get(path).status_code == 404


def test_a_sensor_in_the_house_brings_readings_by_its_key(machine: TestClient, phone: TestClient) -> None:
    """A device needs no pairing: its key, shown once on the machine, lets it bring readings and no more."""
    enter_tank(machine)
    tank = re.search(r"/tanks/([\w-]+)", machine.get("/").text)
    assert tank is not None
    made = machine.post(f"/tanks/{tank[1]}/keys", data={"label": "yard", "kind": "device"}).text
    key = re.search(r"dc_[0-9a-f]{10}_[\w-]+", made)
    assert key is not None
    assert key[0] not in machine.get(f"/tanks/{tank[1]}/keys").text
    shown = {"Authorization": f"Bearer {key[0]}"}
    reading = {"at": "2026-01-10T06:00:00Z", "ullage_mm": 600}
    path = f"/api/tanks/{tank[1]}"
    assert phone.post(f"{path}/readings", json=reading, headers=shown).status_code == 201
    assert phone.get(f"{path}/forecast", headers=shown).status_code == 404
    assert phone.post(f"{path}/readings", json=reading).status_code == 401
    assert machine.get(f"{path}/forecast", headers={"Authorization": "Bearer dc_x_y"}).status_code == 401
