"""The seeded faults: what is broken, which promise that breaks, and which tests must see it.

A fault replaces one function of the service by one that a tired person could have written.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Any

import sqlalchemy as sa
from starlette.requests import Request

from tests.sabotage import doors, reach

WALK = "tests/api/access/test_walk.py"
SIGNING_IN = "tests/api/access/test_signing_in.py"
BELONGINGS = "tests/api/access/test_belongings.py"
SOME = "tank or list or sensor or revoked or opens_nothing or two_callers"
"""The part of the walk that is enough to see a fault."""


@dataclass(frozen=True)
class Fault:
    """One thing broken on purpose.

    Attributes
    ----------
    promise
        The promise that it breaks, by the number that tests name.
    tests, only
        Files that must turn red, and which of their tests, by pytest's ``-k``.
    """

    promise: str
    plant: Callable[[], None]
    tests: tuple[str, ...]
    only: str = ""


def _let_everybody_in() -> None:
    """The check before each operation is gone."""
    import api.app
    from api.access.caller import HOUSEHOLD_AT_HOME
    from api.access.guard import Access
    from api.access.policy import Grain

    def require_nothing(request: Request) -> None:
        request.state.access = Access(HOUSEHOLD_AT_HOME, HOUSEHOLD_AT_HOME.everywhere, Grain.ANY)

    api.app.require_access = require_nothing


def _check_the_wrong_object() -> None:
    """What is looked up is what somebody is to any tank, not to the one in the path."""
    from api.access import guard
    from api.store.tables.access import tank_grant

    def find_relations(session: Any, account_id: int, tank: str, *, now: Any) -> frozenset[str]:
        kinds = sa.select(tank_grant.c.kind).where(
            tank_grant.c.account_id == account_id, tank_grant.c.until.is_(None)
        )
        return frozenset(session.scalars(kinds).all())

    guard.find_relations = find_relations


def _cache_by_object_alone() -> None:
    """Whoever asks for what somebody else was let in to is let in too."""
    import api.app
    from api.access import guard

    kept: dict[tuple[str, str], Any] = {}

    def require_once(request: Request) -> None:
        place = (request.method, request.url.path)
        if place not in kept:
            guard.require_access(request)
            kept[place] = request.state.access
        request.state.access = kept[place]

    api.app.require_access = require_once


def _list_everything() -> None:
    """The list of tanks is not cut to one's own."""
    from api.access.guard import Access
    from api.store.tanks import list_tanks

    Access.list_tanks = lambda self, session: list_tanks(session)  # type: ignore[method-assign]


def _trust_the_id_in_the_body() -> None:
    """A sensor named in the body is looked up wherever it is, not under the tank of the path."""
    from api.routes import recording
    from api.store import tables
    from api.store.tanks import load_tank

    usual = recording.record_readings

    def record_readings(session: Any, clock: Any, tank: Any, measurements: Any, **more: Any) -> Any:
        named = more.get("sensor")
        if named is not None:
            owner = session.scalar(
                sa.select(tables.tank.c.public_id)
                .join(tables.sensor, tables.sensor.c.tank_id == tables.tank.c.id)
                .where(tables.sensor.c.public_id == named)
            )
            tank = load_tank(session, owner) if owner else tank
        return usual(session, clock, tank, measurements, **more)

    recording.record_readings = record_readings


def _take_revoked_keys() -> None:
    """A key is looked up by its secret, whether it was revoked or not."""
    from api.access import caller
    from api.store import tables
    from api.store.accounts.keys import KeyHolder, KeyKind
    from api.store.accounts.tokens import hash_token
    from api.store.tables.access import access_key

    def find_key(session: Any, text: str) -> KeyHolder | None:
        row = session.execute(
            sa.select(access_key, tables.tank.c.public_id.label("tank_public_id"))
            .join(tables.tank, tables.tank.c.id == access_key.c.tank_id)
            .where(access_key.c.secret_hash == hash_token(text.split("_", 2)[-1]))
        ).one_or_none()
        if row is None:
            return None
        return KeyHolder(
            row.id, KeyKind(row.kind), row.tank_id, row.tank_public_id, None, None, row.last_used_on
        )

    caller.find_key = find_key


def _keep_sessions_that_ended() -> None:
    """Signing out takes the cookie from the browser and leaves the session open."""
    from api.pages import sign_in

    sign_in.end_session = lambda *given, **more: None


def _let_other_sites_in() -> None:
    """Where a request comes from is not looked at."""
    from api.access import guard

    guard.refuse_cross_site = lambda request, *, by_cookie: None


def _never_slow_down() -> None:
    """Failures are counted and cost nothing."""
    from datetime import timedelta

    from api.usecases.accounts import signing_in

    signing_in.wait_after = lambda failures, now: timedelta()


def _take_codes_twice() -> None:
    """A code of the second factor is good as long as it is shown."""
    from api.usecases.accounts import signing_in

    signing_in.spend_code = lambda session, account_id, step: True


def _cut_passwords() -> None:
    """Only the first 72 characters of a password count, as with some hashes."""
    from api.usecases.accounts import passwords

    usual = passwords.normalise_password
    passwords.normalise_password = lambda typed: usual(typed)[:72]


def _forget_a_table() -> None:
    """A table is added and stands in no register."""
    from api.store.tables import metadata

    sa.Table("forgotten", metadata, sa.Column("id", sa.Integer, primary_key=True), sa.Column("note", sa.Text))


def _delete_plainly() -> None:
    """Rows are deleted, and their bytes left in the files."""
    from api.usecases.accounts import erasing

    erasing.overwrite_what_is_deleted = lambda session: None
    erasing.leave_no_trace = lambda store: None


def _delete_without_overwriting() -> None:
    """The log is cut off, and what was deleted stays in the free room of the file (some builds overwrite anyway)."""
    from api.usecases.accounts import erasing

    def let_go(session: Any) -> None:
        if session.get_bind().dialect.name == "sqlite":
            session.connection().exec_driver_sql("PRAGMA secure_delete = OFF")

    erasing.overwrite_what_is_deleted = let_go


FAULTS: Mapping[str, Fault] = MappingProxyType(
    {
        "no check": Fault("P33", _let_everybody_in, (WALK,), SOME),
        "wrong object checked": Fault("P33", _check_the_wrong_object, (WALK,), SOME),
        "cached by object only": Fault("P34", _cache_by_object_alone, (WALK,), SOME),
        "list not filtered": Fault("P33", _list_everything, (WALK,), SOME),
        "id from the body trusted": Fault("P33", _trust_the_id_in_the_body, (WALK,), SOME),
        "revoked key taken": Fault("P34", _take_revoked_keys, (WALK,), SOME),
        "session outlives sign-out": Fault("P34", _keep_sessions_that_ended, (SIGNING_IN,), "ended"),
        "other sites let in": Fault("P33", _let_other_sites_in, (SIGNING_IN,), "sites or foreign"),
        "failures cost nothing": Fault("P37", _never_slow_down, (SIGNING_IN,), "failures"),
        "codes taken twice": Fault("P38", _take_codes_twice, (SIGNING_IN,), "second_factor"),
        "passwords cut": Fault("P38", _cut_passwords, ("tests/api/access/test_passwords.py",), "character"),
        "table forgotten": Fault("P39", _forget_a_table, (BELONGINGS,), "register"),
        "plain delete": Fault("P40", _delete_plainly, (BELONGINGS,), "byte"),
        "delete without overwriting": Fault("P40", _delete_without_overwriting, (BELONGINGS,), "byte"),
        **{name: Fault(*row) for part in (doors, reach) for name, row in part.PLANTS.items()},
    }
)
"""By name; `python -m tests.sabotage NAME` runs one."""
