"""Signing up, in and out through the pages: invitations, second factor, sessions, limits, other sites."""

import re
from collections.abc import Iterator
from typing import Any

import pyotp
import pytest
from fastapi.testclient import TestClient

from api.app import create_app
from api.settings import Settings
from api.store.accounts.grants import add_to_household
from api.store.accounts.people import find_account, save_account
from api.store.tables import metadata
from api.store.tanks import list_tanks, save_tank
from api.usecases.accounts.emails import normalise_email
from api.usecases.accounts.signing_up import invite, sign_up
from api.wiring import Services, make_services
from forecaster.errors import InputError
from tests.api.access.quick import hash_quickly
from tests.api.conftest import NOW, StandingClock

EMAIL, PHRASE = "ann@example.org", "a long phrase of mine"
OURS = {"Sec-Fetch-Site": "same-origin"}


@pytest.fixture(autouse=True)
def quick(monkeypatch: pytest.MonkeyPatch) -> None:
    """Hashes that cost next to nothing: nobody guesses here."""
    hash_quickly(monkeypatch)


@pytest.fixture
def services(sqlite_url: str, clock: StandingClock) -> Iterator[Services]:
    """A service with accounts and one account."""
    made = make_services(Settings(database=sqlite_url, mode="server"), clock=clock)
    sign_up(made.store, clock, email=EMAIL, password=PHRASE, token=None)
    yield made
    made.store.engine.dispose()


@pytest.fixture
def browser(services: Services) -> Iterator[TestClient]:
    """A browser somewhere in the world."""
    with open_browser(services) as client:
        yield client


def open_browser(services: Services) -> TestClient:
    """Open a browser of its own, with no cookie yet."""
    return TestClient(
        create_app(services),
        base_url="http://localhost",
        client=("198.51.100.7", 4711),
        headers=OURS,
        follow_redirects=False,
        raise_server_exceptions=False,
    )


def sign_in(browser: TestClient, password: str = PHRASE, code: str = "", email: str = EMAIL) -> Any:
    """Fill the form in and send it."""
    return browser.post("/sign-in", data={"email": email, "password": password, "code": code})


def test_signing_in_gives_a_cookie_that_no_script_reads(browser: TestClient) -> None:
    """The cookie is out of reach of scripts and foreign forms, and the first page is then one's own."""
    assert browser.get("/").status_code == 401
    answer = sign_in(browser)
    assert answer.status_code == 303
    cookie = answer.headers["set-cookie"]
    assert "HttpOnly" in cookie
    assert "SameSite=lax" in cookie
    assert browser.get("/").status_code == 200


def test_behind_https_the_cookie_travels_over_https_only(sqlite_url: str, clock: StandingClock) -> None:
    """With an https address the cookie is tied to it: Secure, host only, whole site."""
    settings = Settings(database=sqlite_url, mode="server", public_url="https://localhost")
    services = make_services(settings, clock=clock)
    sign_up(services.store, clock, email=EMAIL, password=PHRASE, token=None)
    with open_browser(services) as browser:
        cookie = sign_in(browser).headers["set-cookie"]
    assert cookie.startswith("__Host-dipcast=")
    assert "Secure" in cookie
    assert "Domain" not in cookie


@pytest.mark.parametrize(
    "email", [EMAIL, "nobody@example.org", "no address", "a@b.c\r\nBcc: x@y", "x" * 5_000]
)
def test_known_or_not_the_refusal_is_the_same_I5(browser: TestClient, email: str) -> None:  # noqa: N802
    """I5: an unknown address and a wrong password are refused in the same words."""
    refused = sign_in(browser, "a wrong long phrase", email=email)
    assert refused.status_code == 401
    assert "are not right" in refused.text
    assert "set-cookie" not in refused.headers


def test_ten_failures_then_one_waits_longer_and_longer(browser: TestClient, clock: StandingClock) -> None:
    """After ten failures the right password waits too: a quarter of an hour, then twice that."""
    for _ in range(10):
        assert sign_in(browser, "a wrong long phrase").status_code == 401
    refused = sign_in(browser)
    assert refused.status_code == 429
    assert "in 15 minutes" in refused.text
    clock.move(minutes=15)
    assert sign_in(browser, "a wrong long phrase").status_code == 401
    assert "in 30 minutes" in sign_in(browser).text
    clock.move(minutes=30)
    assert sign_in(browser).status_code == 303
    assert sign_in(browser, "a wrong long phrase").status_code == 401


def test_never_more_than_a_hundred_failures_in_a_row(browser: TestClient, clock: StandingClock) -> None:
    """However long somebody waits in between, the hundred-and-first try is not looked at."""
    tried = 0
    for _ in range(130):
        tried += sign_in(browser, "a wrong long phrase").status_code == 401
        clock.move(hours=25)
    assert tried == 100
    refused = sign_in(browser)
    assert refused.status_code == 429
    assert "new password" in refused.text


def test_failures_of_one_address_hinder_no_other(services: Services, browser: TestClient) -> None:
    """Whoever fails under another's address, or a made-up one, shuts nobody else out."""
    for _ in range(12):
        sign_in(browser, "a wrong long phrase", email="bob@example.org")
    assert sign_in(browser).status_code == 303


def test_a_session_that_ended_is_out_I7(browser: TestClient) -> None:  # noqa: N802
    """I7: after signing out the same cookie opens nothing."""
    sign_in(browser)
    cookie = browser.cookies["dipcast"]
    assert browser.post("/sign-out").status_code == 303
    browser.cookies.set("dipcast", cookie)
    assert browser.get("/account").status_code == 401


def test_idle_and_old_sessions_end(services: Services, clock: StandingClock) -> None:
    """A fortnight without a request ends a session; so do thirty days with any number of them."""
    with open_browser(services) as idle:
        sign_in(idle)
        clock.move(days=14, seconds=1)
        assert idle.get("/account").status_code == 401
    with open_browser(services) as busy:
        sign_in(busy)
        for _ in range(4):
            clock.move(days=7)
            assert busy.get("/account").status_code == 200
        clock.move(days=2)
        assert busy.get("/account").status_code == 401


def test_each_sign_in_has_a_token_of_its_own(services: Services) -> None:
    """A cookie that was planted beforehand is not taken up: the token is fresh each time."""
    with open_browser(services) as browser:
        browser.cookies.set("dipcast", "planted")
        sign_in(browser)
        first = list(browser.cookies.jar)[-1].value
        sign_in(browser)
        assert len({"planted", first, list(browser.cookies.jar)[-1].value}) == 3


def test_sessions_are_listed_and_ended_one_by_one(services: Services, browser: TestClient) -> None:
    """One sees where one is signed in, and signs another browser out from here."""
    with open_browser(services) as other:
        other.headers["User-Agent"] = "Mozilla/5.0 (Android 15) Firefox/140.0"
        sign_in(other)
        sign_in(browser)
        page = browser.get("/account").text
        assert "Firefox on Android" in page
        assert "Android 15" not in page
        path = re.search(r"/account/sessions/[^/]+/end", page)
        assert path is not None
        assert browser.post(path[0]).status_code == 303
        assert other.get("/account").status_code == 401
        assert browser.get("/account").status_code == 200
        assert browser.post(path[0]).status_code == 404


def test_a_new_password_signs_every_other_browser_out(services: Services, browser: TestClient) -> None:
    """Whoever changes the password stays signed in, and nobody else does; the old one is asked for."""
    with open_browser(services) as other:
        sign_in(other)
        sign_in(browser)
        wrong = {"password": "a wrong long phrase", "new_password": "another long phrase"}
        assert browser.post("/account/password", data=wrong).status_code == 422
        short = {"password": PHRASE, "new_password": "short"}
        assert "15 characters" in browser.post("/account/password", data=short).text
        right = {"password": PHRASE, "new_password": "another long phrase"}
        assert browser.post("/account/password", data=right).status_code == 200
        assert other.get("/account").status_code == 401
        assert browser.get("/account").status_code == 200
        assert sign_in(other, "another long phrase").status_code == 303


def test_a_second_factor_is_confirmed_asked_for_and_used_once(
    services: Services, browser: TestClient, clock: StandingClock
) -> None:
    """A code signs in once: the same again, even within its half minute, is refused."""
    sign_in(browser)
    secret = offer_factor(browser)
    assert sign_in(browser).status_code == 303  # not in force before a code was given
    assert "not right" in browser.post("/account/second-factor/confirm", data={"code": "000000"}).text
    code = pyotp.TOTP(secret).at(clock.now())
    confirmed = browser.post("/account/second-factor/confirm", data={"code": f"{code[:3]} {code[3:]}"})
    assert "in force" in confirmed.text
    assert sign_in(browser).status_code == 401
    assert sign_in(browser, code=code).status_code == 401
    clock.move(seconds=30)
    fresh = pyotp.TOTP(secret).at(clock.now())
    assert sign_in(browser, code=fresh).status_code == 303
    assert sign_in(browser, code=fresh).status_code == 401
    clock.move(seconds=90)
    assert sign_in(browser, code=fresh).status_code == 401


def test_a_short_password_does_beside_a_second_factor_only(
    services: Services, browser: TestClient, clock: StandingClock
) -> None:
    """Eight characters are taken once a second factor is in force, which then cannot be dropped."""
    sign_in(browser)
    secret = offer_factor(browser)
    browser.post("/account/second-factor/confirm", data={"code": pyotp.TOTP(secret).at(clock.now())})

    def proof() -> dict[str, str]:
        clock.move(seconds=30)
        return {"code": pyotp.TOTP(secret).at(clock.now())}

    short = "k9#mNv!w"
    changed = browser.post("/account/password", data={**proof(), "password": PHRASE, "new_password": short})
    assert changed.status_code == 200
    dropped = browser.post("/account/second-factor/drop", data={**proof(), "password": short})
    assert dropped.status_code == 422
    assert "15 characters" in dropped.text
    long = "another long phrase"
    browser.post("/account/password", data={**proof(), "password": short, "new_password": long})
    assert browser.post("/account/second-factor/drop", data={**proof(), "password": long}).status_code == 200
    assert sign_in(browser, long).status_code == 303


def offer_factor(browser: TestClient) -> str:
    """Have a second factor offered; its secret, as an app would take it in."""
    page = browser.post("/account/second-factor").text
    found = re.search(r"secret=([A-Z2-7]+)", page)
    assert found is not None
    return found[1]


@pytest.mark.parametrize(
    ("headers", "status"),
    [
        ({"Sec-Fetch-Site": "cross-site"}, 403),
        ({"Sec-Fetch-Site": "same-site"}, 403),
        ({"Sec-Fetch-Site": "", "Origin": "http://localhost"}, 403),
        ({"Sec-Fetch-Site": None, "Origin": "https://evil.example"}, 403),
        ({"Sec-Fetch-Site": None, "Origin": "null"}, 403),
        ({"Sec-Fetch-Site": None}, 403),
        ({"Sec-Fetch-Site": None, "Origin": "http://localhost"}, 303),
        ({"Sec-Fetch-Site": "same-origin"}, 303),
    ],
)
def test_another_sites_page_changes_nothing_I3(  # noqa: N802
    services: Services, browser: TestClient, headers: dict[str, str | None], status: int
) -> None:
    """I3: a changing request with a cookie must come from our own page, by what the browser says."""
    sign_in(browser)
    cookie = browser.cookies["dipcast"]
    with open_browser(services) as plain:
        del plain.headers["Sec-Fetch-Site"]
        given = {name: value for name, value in headers.items() if value is not None}
        answer = plain.post("/account/sessions/end-others", headers={**given, "Cookie": f"dipcast={cookie}"})
    assert answer.status_code == status
    assert browser.get("/account").status_code == 200


def test_a_foreign_page_cannot_sign_somebody_in(browser: TestClient) -> None:
    """Nor does another site's form sign a browser in under an account of its own."""
    form = {"email": EMAIL, "password": PHRASE}
    answer = browser.post("/sign-in", data=form, headers={"Sec-Fetch-Site": "cross-site"})
    assert answer.status_code == 403
    assert "set-cookie" not in answer.headers


def test_an_account_is_made_by_invitation_and_gets_what_it_gives(
    services: Services, clock: StandingClock
) -> None:
    """An invitation works once: an account with a share in the tank; opening its page does nothing."""
    with services.store.write() as session:
        tank = save_tank(session, name="Byre", zone="UTC", toml="", created_at=NOW)
        token = invite(session, kind="owner", tank_id=tank.id, now=NOW)
    form = {"email": "Bob@Example.org", "password": "quite another phrase"}
    with open_browser(services) as bob:
        for _ in range(3):  # a scanner of mails opens it first
            assert "to own a tank" in bob.get(f"/invitation/{token}").text
        assert bob.post(f"/invitation/{token}", data={**form, "password": "short"}).status_code == 422
        assert bob.post(f"/invitation/{token}", data=form).status_code == 303
        assert tank.public_id in bob.get("/").text
    with open_browser(services) as eve:
        assert eve.get(f"/invitation/{token}").status_code == 404
        assert eve.post(f"/invitation/{token}", data=form).status_code == 404
        assert eve.get("/sign-up").status_code == 404


def test_an_invitation_is_taken_up_by_an_account_that_is_there(
    services: Services, browser: TestClient, clock: StandingClock
) -> None:
    """Whoever has an account signs in and takes the invitation up; after seven days it is none."""
    with services.store.write() as session:
        tank = save_tank(session, name="Byre", zone="UTC", toml="", created_at=NOW)
        first, second = (invite(session, kind="member", tank_id=tank.id, now=NOW) for _ in range(2))
    sign_in(browser)
    assert browser.post(f"/invitation/{first}/take").status_code == 303
    assert tank.public_id in browser.get("/").text
    clock.move(days=7, seconds=1)
    assert browser.post(f"/invitation/{second}/take").status_code == 404


def test_an_open_installation_lets_anybody_make_an_account(sqlite_url: str, clock: StandingClock) -> None:
    """Where the setting says so an account is made without invitation; one address has one account."""
    settings = Settings(database=sqlite_url, mode="server", sign_up="open")
    services = make_services(settings, clock=clock)
    with open_browser(services) as browser:
        form = {"email": EMAIL, "password": PHRASE}
        assert browser.post("/sign-up", data=form).status_code == 303
        assert browser.get("/").status_code == 200
        again = browser.post("/sign-up", data={**form, "email": "ANN@example.org"})
    assert again.status_code == 422
    assert "already" in again.text


@pytest.mark.parametrize(
    "body",
    [
        b"email=a&email=b",
        b"email=%ff",
        b"email=%00",
        b"&".join(b"f%d=1" % i for i in range(200)),
        b"email=" + b"x" * 70_000,
        b"{}",
    ],
)
def test_what_is_no_form_is_refused(browser: TestClient, body: bytes) -> None:
    """A form has each field once, in UTF-8, of bounded size; anything else is refused without a failure."""
    headers = {"Content-Type": "application/x-www-form-urlencoded"}
    answer = browser.post("/sign-in", content=body, headers=headers)
    assert answer.status_code in (400, 401, 413)
    assert browser.post("/sign-in", json={"email": EMAIL, "password": PHRASE}).status_code == 415


def test_the_last_owner_does_not_leave_a_tank_behind(services: Services, browser: TestClient) -> None:
    """A tank keeps an owner: the last one cannot leave, nor be ended, until there is another."""
    sign_in(browser)
    tank = {"shape": "horizontal_cylinder", "product": "kerosene", "diameter_mm": 1200, "length_mm": 1800}
    made = browser.post("/api/tanks", json={"tank": tank}).json()["id"]
    assert browser.post(f"/tanks/{made}/leave").status_code == 422
    tie = re.search(rf"/tanks/{made}/sharing/[^/]+/end", browser.get(f"/tanks/{made}/sharing").text)
    assert tie is not None
    assert browser.post(tie[0]).status_code == 422
    assert made in browser.get("/").text


def test_an_account_shows_what_it_shares_in_and_leaves_it(services: Services, browser: TestClient) -> None:
    """Whoever looks on sees so on their own page, leaves there, and has nothing of the tank any more."""
    sign_in(browser)
    with services.store.write() as session:
        account = find_account(session, EMAIL)
        assert account is not None
        tank = save_tank(session, name="Byre", zone="UTC", toml="", created_at=NOW)
        other = save_account(session, email="bob@example.org", password_hash="-", created_at=NOW)
        add_to_household(session, other.id, tank.id, "owner", now=NOW)
        add_to_household(session, account.id, tank.id, "member", now=NOW)
    page = browser.get("/account").text
    assert "you look on" in page
    leave = f"/tanks/{tank.public_id}/leave"
    assert leave in page
    assert browser.post(leave, follow_redirects=False).status_code == 303
    assert leave not in browser.get("/account").text
    assert tank.public_id not in browser.get("/").text


def test_an_invitation_takes_nothing_from_an_owner(services: Services, browser: TestClient) -> None:
    """An owner who takes up an invitation to look on at their own tank owns it as before."""
    sign_in(browser)
    tank = {"shape": "horizontal_cylinder", "product": "kerosene", "diameter_mm": 1200, "length_mm": 1800}
    made = browser.post("/api/tanks", json={"tank": tank}).json()["id"]
    page = browser.post(f"/tanks/{made}/sharing", data={"kind": "member"}).text
    address = re.search(r"http://localhost(/invitation/[\w-]+)", page)
    assert address is not None
    assert browser.post(f"{address[1]}/take", follow_redirects=False).status_code == 303
    assert browser.get(f"/tanks/{made}/keys").status_code == 200
    assert browser.get(address[1]).status_code == 404


def test_sharing_shows_an_address_once_and_takes_it_back(services: Services, browser: TestClient) -> None:
    """The owner sees the invitation's address once, and may withdraw it before it is taken up."""
    sign_in(browser)
    tank = {"shape": "horizontal_cylinder", "product": "kerosene", "diameter_mm": 1200, "length_mm": 1800}
    made = browser.post("/api/tanks", json={"tank": tank}).json()["id"]
    page = browser.post(f"/tanks/{made}/sharing", data={"kind": "installer"}).text
    address = re.search(r"http://localhost(/invitation/[\w-]+)", page)
    assert address is not None
    again = browser.get(f"/tanks/{made}/sharing").text
    assert address[1] not in again
    withdraw = re.search(rf"/tanks/{made}/invitations/[^/]+/withdraw", again)
    assert withdraw is not None
    assert browser.get(address[1]).status_code == 200
    assert browser.post(withdraw[0]).status_code == 303
    assert browser.get(address[1]).status_code == 404
    assert browser.post(f"/tanks/{made}/sharing", data={"kind": "operator"}).status_code == 422


@pytest.mark.parametrize(
    ("typed", "kept"),
    [
        ("Ann.Dale@Example.ORG", "ann.dale@example.org"),
        (" ann+oil@example.org ", "ann+oil@example.org"),
        ("ann@bücher.example", "ann@xn--bcher-kva.example"),
        ("ａｎｎ@example.org", "ann@example.org"),
    ],
)
def test_one_address_has_one_form(typed: str, kept: str) -> None:
    """However an address is typed, it is kept in one form."""
    assert normalise_email(typed) == kept


@pytest.mark.parametrize(
    "typed",
    ["a@b.c\r\nBcc: x@y.z", '"x" <a@b.co>, c@d.co', "a" * 400 + "@example.org", "a@b", '"quoted"@example.org',
     "a@b..co", "@example.org", "a@", "a b@example.org", "a@exam\u202eple.org", "a@-x.org", "a\0@example.org"],
)  # fmt: skip
def test_what_is_no_plain_address_is_refused_H8(typed: str) -> None:  # noqa: N802
    """H8: one plain address to a field, and nothing that a mail's header could be broken with."""
    with pytest.raises(InputError, match="one e-mail address"):
        normalise_email(typed)


def test_a_stolen_database_opens_nothing(services: Services, browser: TestClient) -> None:
    """Of cookie, key and invitation nothing stands in the database but hashes."""
    sign_in(browser)
    tank = {"shape": "horizontal_cylinder", "product": "kerosene", "diameter_mm": 1200, "length_mm": 1800}
    made = browser.post("/api/tanks", json={"tank": tank}).json()["id"]
    key = re.search(
        r"dc_\w+?_([\w-]{20,})",
        browser.post(f"/tanks/{made}/keys", data={"label": "yard", "kind": "device"}).text,
    )
    invitation = re.search(
        r"/invitation/([\w-]+)", browser.post(f"/tanks/{made}/sharing", data={"kind": "member"}).text
    )
    assert key is not None
    assert invitation is not None
    with services.store.read() as session:
        everything = "".join(str(session.execute(table.select()).all()) for table in metadata.sorted_tables)
        assert find_account(session, EMAIL) is not None
        assert len(list_tanks(session)) == 1
    for secret in (browser.cookies["dipcast"], key[1], invitation[1], PHRASE):
        assert secret not in everything
