"""Accounts from the machine itself: the first one, lost passwords, keys, phones, erasures.

Whoever may run this command on the machine may do all of it: it asks for no password.

Flow     arguments -> **accounts** -> use cases -> words
"""

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from api.cli import options as o
from api.cli.trouble import Commands
from forecaster.errors import InputError, Problem

if TYPE_CHECKING:
    from datetime import datetime

    from api.store import Session
    from api.store.accounts.keys import KeyRow
    from api.store.accounts.people import Account

accounts = typer.Typer(
    cls=Commands,
    no_args_is_help=True,
    add_completion=False,
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
    help="Accounts, keys and phones, from the machine itself.",
)

Email = Annotated[str, typer.Argument(metavar="EMAIL", help="The account's e-mail address.")]
Tank = Annotated[str, typer.Argument(metavar="TANK", help="The tank's id, as in the address of its page.")]
Prefix = Annotated[str, typer.Argument(metavar="KEY", help="How the key begins: dc_ and ten signs.")]


@accounts.command("add")
def add_account(
    email: Email,
    operator: Annotated[
        bool, typer.Option("--operator", help="May see how the service fares; sees no tank by that.")
    ] = False,
    database: o.Database = None,
) -> None:
    """Make an account; its password is asked for, and never shown."""
    from api.cli.service import open_services, settings_with
    from api.usecases.accounts.signing_up import require_new_email, sign_up

    services = open_services(settings_with(database=database))
    require_new_email(services.store, email)  # before anybody types a password, twice
    password = typer.prompt("Password, 15 characters or more", hide_input=True, confirmation_prompt=True)
    account = sign_up(
        services.store, services.clock, email=email, password=password, token=None, is_operator=operator
    )
    typer.echo(f"{account.email} may sign in.")


@accounts.command("list")
def list_all(database: o.Database = None) -> None:
    """List the accounts."""
    from api.cli.service import open_services, settings_with
    from api.store.accounts.people import list_accounts

    services = open_services(settings_with(database=database))
    with services.store.read() as session:
        found = list_accounts(session)
    for account in found:
        words = [
            "operator" if account.is_operator else "",
            "second factor" if account.totp_secret else "",
            "shut out" if account.disabled_at else "",
        ]
        typer.echo("  ".join([account.email, f"since {account.created_at:%Y-%m-%d}", *filter(None, words)]))
    if not found:
        typer.echo("There is no account yet: dipcast accounts add EMAIL --operator")


@accounts.command("invite")
def invite_somebody(database: o.Database = None) -> None:
    """Print an address at which somebody makes an account, once, within seven days."""
    from api.cli.service import open_services, settings_with
    from api.usecases.accounts.signing_up import invite

    services = open_services(settings_with(database=database))
    with services.store.write() as session:
        token = invite(session, kind="account", now=services.clock.now())
    typer.echo(f"{_address(services.settings.public_url)}/invitation/{token}")


@accounts.command("new-password")
def make_new_password(email: Email, database: o.Database = None) -> None:
    """Print an address at which somebody chooses a new password, once, within a day."""
    from api.cli.service import open_services, settings_with
    from api.usecases.accounts.signing_up import invite_new_password

    services = open_services(settings_with(database=database))
    with services.store.write() as session:
        token = invite_new_password(session, _account(session, email).id, now=services.clock.now())
    typer.echo(f"{_address(services.settings.public_url)}/new-password/{token}")


@accounts.command("shut-out")
def shut_out(email: Email, database: o.Database = None) -> None:
    """Let an account in no more, from its next request on."""
    from api.cli.service import open_services, settings_with
    from api.store.accounts.people import set_disabled

    services = open_services(settings_with(database=database))
    with services.store.write() as session:
        account = _account(session, email)
        set_disabled(session, account.id, services.clock.now())
    typer.echo(f"{account.email} is shut out.")


@accounts.command("let-in")
def let_in(email: Email, database: o.Database = None) -> None:
    """Let an account in again."""
    from api.cli.service import open_services, settings_with
    from api.store.accounts.people import set_disabled

    services = open_services(settings_with(database=database))
    with services.store.write() as session:
        account = _account(session, email)
        set_disabled(session, account.id, None)
    typer.echo(f"{account.email} may sign in.")


@accounts.command("sign-out")
def sign_out(email: Email, database: o.Database = None) -> None:
    """End every session of an account."""
    from api.cli.service import open_services, settings_with
    from api.store.accounts.sessions import end_sessions

    services = open_services(settings_with(database=database))
    with services.store.write() as session:
        account = _account(session, email)
        end_sessions(session, account.id, now=services.clock.now())
    typer.echo(f"{account.email} is signed out everywhere.")


@accounts.command("give")
def give_tank(tank: Tank, email: Email, database: o.Database = None) -> None:
    """Make an account an owner of a tank, such as one brought in from files."""
    from api.cli.service import open_services, settings_with
    from api.store.accounts.grants import add_to_household
    from api.store.tanks import load_tank

    services = open_services(settings_with(database=database))
    with services.store.write() as session:
        stored, account = load_tank(session, tank), _account(session, email)
        add_to_household(session, account.id, stored.id, "owner", now=services.clock.now())
    typer.echo(f"{account.email} owns {stored.name}.")


@accounts.command("key")
def make_key(
    tank: Tank,
    label: Annotated[str, typer.Argument(metavar="LABEL", help="What will show the key.")],
    hub: Annotated[
        bool, typer.Option("--hub", help="For a home hub that reads the answer, not a device.")
    ] = False,
    database: o.Database = None,
) -> None:
    """Make a key for a machine, and print it: it cannot be shown again."""
    from api.cli.service import open_services, settings_with
    from api.store.accounts.keys import KeyKind, save_key
    from api.store.tanks import load_tank

    services = open_services(settings_with(database=database))
    with services.store.write() as session:
        key = save_key(
            session,
            kind=KeyKind.HUB if hub else KeyKind.DEVICE,
            tank_id=load_tank(session, tank).id,
            label=label,
            created_at=services.clock.now(),
        )
    typer.echo(key)


@accounts.command("rotate-key")
def rotate_key(tank: Tank, key: Prefix, database: o.Database = None) -> None:
    """Revoke a key and print another for the same machine in its place."""
    from api.cli.service import open_services, settings_with
    from api.store.accounts.keys import save_key
    from api.store.tanks import load_tank

    services = open_services(settings_with(database=database))
    with services.store.write() as session:
        stored = load_tank(session, tank)
        old = _revoke(session, stored.id, key, services.clock.now())
        new = save_key(
            session,
            kind=old.kind,
            tank_id=stored.id,
            sensor_id=old.sensor_id,
            label=old.label,
            created_at=services.clock.now(),
        )
    typer.echo(new)


@accounts.command("revoke-key")
def revoke_one_key(tank: Tank, key: Prefix, database: o.Database = None) -> None:
    """Revoke a key, from its next request on."""
    from api.cli.service import open_services, settings_with
    from api.store.tanks import load_tank

    services = open_services(settings_with(database=database))
    with services.store.write() as session:
        old = _revoke(session, load_tank(session, tank).id, key, services.clock.now())
    typer.echo(f"The key of {old.label} is revoked.")


@accounts.command("pair")
def show_pairing_code(
    look_on: Annotated[bool, typer.Option("--look-on", help="The phone may look on, not change.")] = False,
    port: o.Port = None,
    database: o.Database = None,
) -> None:
    """Show a code that lets one phone of the house in, for ten minutes."""
    from api.cli.service import open_services, settings_with
    from api.sources.here import own_address
    from api.usecases.accounts.pairing import make_code

    settings = settings_with(database=database, port=port)
    services = open_services(settings)
    with services.store.write() as session:
        code = make_code(session, "member" if look_on else "owner", now=services.clock.now())
    address = settings.public_url or f"http://{own_address()}:{settings.port}"
    typer.echo(f"On the phone open {address}/pair and type {code.spoken}, within ten minutes.")
    typer.echo(_in_blocks(f"{address}/pair?code={code.digits}"))
    typer.echo(
        "Over plain http: whoever is in your network could read along. The service must run with"
        " DIPCAST_MODE=home_network."
    )


@accounts.command("erasures")
def list_erased(database: o.Database = None) -> None:
    """List what was erased, to be kept outside the backups: one line each, what it was and its id."""
    from api.cli.service import open_services, settings_with
    from api.store.accounts.erasures import list_erasures

    services = open_services(settings_with(database=database))
    with services.store.read() as session:
        for kind, public_id in list_erasures(session):
            typer.echo(f"{kind} {public_id}")


@accounts.command("erase-again")
def erase_listed(
    file: Annotated[Path, typer.Argument(metavar="FILE", help="What `dipcast accounts erasures` listed.")],
    database: o.Database = None,
) -> None:
    """Erase again what an older backup brought back."""
    from api.cli.service import open_services, settings_with
    from api.sources.files import parse_file
    from api.usecases.accounts.erasing import erase_again

    listed = parse_file(file, _read_erasures)
    services = open_services(settings_with(database=database))
    count = erase_again(services.store, services.clock, listed)
    typer.echo(f"Erased again: {count} of {len(listed)}.")


def _read_erasures(raw: bytes) -> list[tuple[str, str]]:
    pairs = [tuple(line.split()) for line in raw.decode("utf-8", "replace").splitlines() if line.strip()]
    bad = [i for i, pair in enumerate(pairs, 1) if len(pair) != 2 or pair[0] not in ("account", "tank")]
    if bad:
        raise InputError(Problem("erasures", "line", "give lines such as: tank ID", row=bad[0]))
    return [(pair[0], pair[1]) for pair in pairs]


def _account(session: "Session", email: str) -> "Account":
    from api.store.accounts.people import find_account
    from api.usecases.accounts.emails import normalise_email

    found = find_account(session, normalise_email(email))
    if found is None:
        raise InputError(Problem("no_account", "EMAIL", "give the address of an account", email))
    return found


def _revoke(session: "Session", tank_id: int, prefix: str, now: "datetime") -> "KeyRow":
    from api.store.accounts.keys import list_keys, revoke_key

    wanted = prefix.removeprefix("dc_").partition("_")[0]
    for key in list_keys(session, tank_id):
        if key.prefix == wanted:
            return revoke_key(session, tank_id, key.public_id, now=now)
    raise InputError(
        Problem("no_key", "KEY", "give the beginning of a key of this tank, such as dc_1a2b3c4d5e")
    )


def _address(public_url: str) -> str:
    return public_url or "(the address of this service)"


def _in_blocks(address: str) -> str:
    """Draw an address in signs, for a phone's camera before a terminal."""
    import io

    import segno

    drawn = io.StringIO()
    segno.make(address, error="l").terminal(drawn, compact=True)
    return drawn.getvalue()
