"""Accounts from the command line: the first one, lost passwords, keys, phones, erasures, and where to listen."""

import re
from pathlib import Path
from typing import Any

import pytest
from typer.testing import CliRunner, Result

from api.cli import app
from api.settings import Settings
from api.store.accounts.keys import KeyKind, find_key, save_key
from api.store.tanks import BEGINNING, load_tank, save_tank
from api.usecases.accounts.signing_in import SignInRefusedError, sign_in
from api.usecases.accounts.signing_up import choose_password
from api.wiring import Services, make_services
from tests.api.access.quick import hash_quickly

PHRASE = "a long phrase of mine"
EMAIL = "ann@example.org"


@pytest.fixture(autouse=True)
def quick(monkeypatch: pytest.MonkeyPatch) -> None:
    """Hashes that cost next to nothing: nobody guesses here."""
    hash_quickly(monkeypatch)


@pytest.fixture
def services(sqlite_url: str, monkeypatch: pytest.MonkeyPatch) -> Services:
    """The database that the commands use too."""
    monkeypatch.setenv("DIPCAST_DATABASE", sqlite_url)
    return make_services(Settings(database=sqlite_url))


def run(*words: str, typed: str = "") -> Result:
    """Run one command."""
    return CliRunner().invoke(app, ["accounts", *words], input=typed)


def add(email: str = EMAIL, phrase: str = PHRASE, *more: str) -> Result:
    """Add an account."""
    return run("add", email, *more, typed=f"{phrase}\n{phrase}\n")


def token_in(result: Result) -> str:
    """Take the token out of the address that a command printed."""
    assert result.exit_code == 0, result.output
    return result.stdout.strip().rpartition("/")[2]


def try_sign_in(services: Services, password: str) -> str:
    """Sign in as Ann; the session's token."""
    return sign_in(services.store, services.clock, email=EMAIL, password=password, code="", browser="test")


def test_the_first_account_is_made_on_the_machine(services: Services) -> None:
    """Whoever runs the machine makes the first account, whose password is never shown."""
    made = add(EMAIL, PHRASE, "--operator")
    assert made.exit_code == 0
    assert PHRASE not in made.output
    assert "operator" in run("list").stdout
    assert try_sign_in(services, PHRASE)


def test_a_short_password_is_refused_with_what_to_do(services: Services) -> None:
    """A password that cannot stand alone is refused, and no account is made."""
    refused = add(EMAIL, "too short")
    assert refused.exit_code == 2
    assert "15 characters" in refused.stderr
    assert "no account yet" in run("list").stdout


def test_a_lost_password_is_chosen_anew_by_an_address_that_works_once(services: Services) -> None:
    """The address lets one choose a new password once; the old one and its sessions end."""
    add()
    token = token_in(run("new-password", EMAIL))
    choose_password(services.store, services.clock, token, "another long phrase")
    assert try_sign_in(services, "another long phrase")
    with pytest.raises(SignInRefusedError):
        try_sign_in(services, PHRASE)
    with pytest.raises(Exception, match=r"^$"):
        choose_password(services.store, services.clock, token, "a third long phrase")


def test_who_is_shut_out_is_let_in_again(services: Services) -> None:
    """An account that is shut out cannot sign in until it is let in again."""
    add()
    assert run("shut-out", EMAIL).exit_code == 0
    with pytest.raises(SignInRefusedError):
        try_sign_in(services, PHRASE)
    assert "shut out" in run("list").stdout
    assert run("let-in", EMAIL).exit_code == 0
    assert try_sign_in(services, PHRASE)


def test_a_key_is_made_rotated_and_revoked(services: Services) -> None:
    """A rotated key opens nothing, the new one does; a key is named by its beginning."""
    tank = add_tank(services)
    first = run("key", tank, "yard sensor").stdout.strip()
    second = run("rotate-key", tank, first[:13]).stdout.strip()
    with services.store.read() as session:
        assert find_key(session, first) is None
        held = find_key(session, second)
    assert held is not None
    assert held.tank_public_id == tank
    assert "yard sensor" in run("revoke-key", tank, second[:13]).stdout
    with services.store.read() as session:
        assert find_key(session, second) is None
    assert run("revoke-key", tank, "dc_0000000000").exit_code == 2


def test_a_rotated_key_opens_no_more_than_the_one_before(services: Services) -> None:
    """A key for the readings of one sensor is followed by one for the same sensor."""
    tank = add_tank(services)
    with services.store.write() as session:
        stored = load_tank(session, tank)
        first = save_key(
            session,
            kind=KeyKind.DEVICE,
            tank_id=stored.id,
            sensor_id=stored.sensors[0].id,
            label="yard",
            created_at=services.clock.now(),
        )
    second = run("rotate-key", tank, first[:13]).stdout.strip()
    with services.store.read() as session:
        held = find_key(session, second)
    assert held is not None
    assert (held.kind, held.sensor_id) == (KeyKind.DEVICE, stored.sensors[0].id)


def test_a_tank_brought_in_from_files_is_given_to_an_account(services: Services) -> None:
    """A tank without an owner is given one, who is named by an address."""
    tank = add_tank(services)
    add()
    assert "owns Byre" in run("give", tank, EMAIL).stdout
    refused = run("give", tank, "nobody@example.org")
    assert refused.exit_code == 2
    assert "address of an account" in refused.stderr


def test_a_pairing_code_is_shown_with_what_plain_http_means(services: Services) -> None:
    """The command shows eight figures, a picture, and that others in the network could read along."""
    shown = run("pair").stdout
    assert re.search(r"type \d{4} \d{4},", shown)
    assert "█" in shown
    assert "could read along" in shown


def test_erasures_are_listed_and_applied_again(services: Services, tmp_path: Path) -> None:
    """The list of a service is a file for the same command on a restored backup."""
    tank = add_tank(services)
    file = tmp_path / "erasures.txt"
    file.write_text(f"tank {tank}\naccount nobody\n")
    assert "Erased again: 1 of 2." in run("erase-again", str(file)).stdout
    assert run("erasures").stdout == f"tank {tank}\n"
    file.write_text("DROP TABLE tank\n")
    assert run("erase-again", str(file)).exit_code == 2


@pytest.mark.parametrize("host", ["0.0.0.0", "::"])
def test_nobody_is_let_in_from_outside_without_a_mode_for_it(
    host: str, sqlite_url: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Listening beyond this machine in the mode without accounts is refused, with what to set."""
    monkeypatch.setenv("DIPCAST_DATABASE", sqlite_url)
    refused = CliRunner().invoke(app, ["serve", "--host", host, "--port", "0"])
    assert refused.exit_code == 2
    assert "DIPCAST_MODE" in refused.stderr


@pytest.mark.parametrize(
    ("given", "host"),
    [
        ({}, "127.0.0.1"),
        ({"mode": "home_network"}, "0.0.0.0"),
        ({"mode": "home_network", "host": "192.168.1.5"}, "192.168.1.5"),
        ({"mode": "server"}, "127.0.0.1"),
    ],
)
def test_where_each_mode_listens(given: dict[str, Any], host: str) -> None:
    """Only the mode for the house's phones listens everywhere of itself."""
    assert Settings(**given).listen_host == host


def add_tank(services: Services) -> str:
    """Store a tank that nobody owns; its public id."""
    with services.store.write() as session:
        return save_tank(session, name="Byre", zone="UTC", toml="", created_at=BEGINNING).public_id


@pytest.mark.parametrize("email", ["no address", EMAIL])
def test_an_address_that_cannot_be_used_is_refused_before_a_password_is_asked_for(
    services: Services, email: str
) -> None:
    """Nobody types a password twice to be told then that the address is none, or has an account already."""
    assert add().exit_code == 0
    refused = run("add", email)
    assert refused.exit_code == 2
    assert "Password" not in refused.output
