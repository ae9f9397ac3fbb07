"""Accounts, sessions, relations, keys and counts behave alike on both databases."""

import threading
from datetime import timedelta

import pytest

from api.store import NotFoundError, Store
from api.store.accounts.attempts import add_failure, drop_old_failures, forget_failures, load_failures
from api.store.accounts.grants import (
    LastOwnerError,
    accept_supply,
    add_to_household,
    end_tie,
    find_relations,
    leave_tank,
    link_supply,
    list_tanks_of,
    list_ties,
    open_job,
)
from api.store.accounts.keys import KeyKind, find_key, list_keys, note_use, revoke_key, save_key
from api.store.accounts.people import (
    Account,
    get_account,
    save_account,
    set_disabled,
    spend_code,
)
from api.store.accounts.sessions import end_session, end_sessions, find_session, list_sessions, open_session
from api.store.tanks import StoredTank, save_tank
from tests.api.conftest import NOW

DAY = timedelta(days=1)


def add_account(store: Store, email: str = "ann@example.org") -> Account:
    """Store an account."""
    with store.write() as session:
        return save_account(session, email=email, password_hash="x", created_at=NOW)


def add_tank(store: Store, name: str = "Byre") -> StoredTank:
    """Store a tank that nobody owns."""
    with store.write() as session:
        return save_tank(session, name=name, zone="UTC", toml="", created_at=NOW)


def relations(store: Store, account: Account, tank: StoredTank, days: float = 0.0) -> set[str]:
    """Tell what an account is to a tank some days from now."""
    with store.read() as session:
        return set(find_relations(session, account.id, tank.public_id, now=NOW + days * DAY))


def test_a_relation_holds_while_it_lasts(store: Store) -> None:
    """Household, open job and accepted link each open; ended, closed, run out or not accepted they do not."""
    ann, tank = add_account(store), add_tank(store)
    assert relations(store, ann, tank) == set()
    with store.write() as session:
        add_to_household(session, ann.id, tank.id, "member", now=NOW)
        open_job(session, ann.id, tank.id, now=NOW, until=NOW + 30 * DAY)
        link_supply(session, ann.id, tank.id, now=NOW, accepted=False)
    assert relations(store, ann, tank) == {"member", "installer"}
    assert relations(store, ann, tank, days=30) == {"member"}
    with store.write() as session:
        ties = {tie.kind: tie.public_id for tie in list_ties(session, tank.id, now=NOW)}
        accept_supply(session, tank.id, ties["offer"], now=NOW)
        end_tie(session, tank.id, ties["installer"], now=NOW)
    assert relations(store, ann, tank) == {"member", "distributor"}
    with store.write() as session:
        for kind in ("member", "offer"):
            end_tie(session, tank.id, ties[kind], now=NOW)
        with pytest.raises(NotFoundError):
            end_tie(session, tank.id, ties["member"], now=NOW)
    assert relations(store, ann, tank) == set()
    assert relations(store, ann, add_tank(store, "Barn")) == set()


def test_a_tank_keeps_an_owner(store: Store) -> None:
    """The last owner's share cannot be ended; the transaction that tried leaves nothing behind."""
    ann, bob, tank = add_account(store), add_account(store, "bob@example.org"), add_tank(store)
    with store.write() as session:
        add_to_household(session, ann.id, tank.id, "owner", now=NOW)
        add_to_household(session, bob.id, tank.id, "member", now=NOW)
        ties = {tie.kind: tie.public_id for tie in list_ties(session, tank.id, now=NOW)}
    with pytest.raises(LastOwnerError), store.write() as session:
        end_tie(session, tank.id, ties["owner"], now=NOW)
    assert relations(store, ann, tank) == {"owner"}
    with store.write() as session:
        add_to_household(session, bob.id, tank.id, "owner", now=NOW)
        end_tie(session, tank.id, ties["owner"], now=NOW)
        assert [t.public_id for t in list_tanks_of(session, bob.id)] == [tank.public_id]
        assert list_tanks_of(session, ann.id) == ()
    assert relations(store, bob, tank) == {"owner"}
    with pytest.raises(LastOwnerError), store.write() as session:
        add_to_household(session, bob.id, tank.id, "member", now=NOW)
    assert relations(store, bob, tank) == {"owner"}


def test_two_owners_who_leave_at_once_do_not_leave_a_tank_alone(store: Store) -> None:
    """Of the last two owners who go at the same moment one is told to stay."""
    people, tank = [add_account(store), add_account(store, "bob@example.org")], add_tank(store)
    with store.write() as session:
        for person in people:
            add_to_household(session, person.id, tank.id, "owner", now=NOW)
    told = []

    def leave(person: Account) -> None:
        try:
            with store.write() as session:
                leave_tank(session, person.id, tank.id, now=NOW)
                is_gone.set()
                may_commit.wait(0.2)
        except LastOwnerError:
            told.append(person.id)

    is_gone, may_commit = threading.Event(), threading.Event()
    first = threading.Thread(target=leave, args=(people[0],))
    first.start()
    assert is_gone.wait(10)
    leave(people[1])
    first.join()
    assert told == [people[1].id]
    assert relations(store, people[1], tank) == {"owner"}


def test_a_key_opens_its_tank_until_it_is_revoked(store: Store) -> None:
    """A key is found by the whole of it, told in a list by its beginning, and gone once revoked."""
    tank = add_tank(store)
    with store.write() as session:
        key = save_key(
            session,
            kind=KeyKind.DEVICE,
            tank_id=tank.id,
            sensor_id=tank.sensors[0].id,
            label="yard",
            created_at=NOW,
        )
        held = find_key(session, key)
        assert held is not None
        assert (held.tank_public_id, held.sensor_public_id) == (tank.public_id, tank.sensors[0].public_id)
        note_use(session, held.id, NOW)
        (listed,) = list_keys(session, tank.id)
        assert key.startswith(f"dc_{listed.prefix}_")
        assert listed.last_used_on == NOW.date()
        for wrong in (
            key[:-1],
            key + "x",
            key.swapcase(),
            f"dc_{listed.prefix}_",
            "dc",
            "",
            "dc_é_x",
            "x" * 999,
        ):
            assert find_key(session, wrong) is None
        with pytest.raises(NotFoundError):
            revoke_key(session, tank.id + 1, listed.public_id, now=NOW)
        revoke_key(session, tank.id, listed.public_id, now=NOW)
        assert find_key(session, key) is None
        assert list_keys(session, tank.id) == ()


def test_a_session_ends_by_time_by_idleness_and_by_hand(store: Store) -> None:
    """A session is found while it lasts and is used, its account is let in, and nobody ended it."""
    ann = add_account(store)
    with store.write() as session:
        for token in ("one", "two"):
            open_session(
                session, token=token, account_id=ann.id, browser="b", now=NOW, ends_at=NOW + 30 * DAY
            )
        open_session(session, token="phone", paired_as="owner", browser="p", now=NOW, ends_at=NOW + 30 * DAY)

        def found(token: str, days: float = 0.0) -> bool:
            return find_session(session, token, now=NOW + days * DAY, idle=14 * DAY) is not None

        assert [found("one"), found("phone"), found("three")] == [True, True, False]
        assert [found("one", 13.9), found("one", 14.1), found("one", 31.0)] == [True, False, False]
        set_disabled(session, ann.id, NOW)
        assert [found("one"), found("phone")] == [False, True]
        set_disabled(session, ann.id, None)
        first, second = list_sessions(session, ann.id, now=NOW)
        with pytest.raises(NotFoundError):
            end_session(session, ann.id + 1, first.public_id, now=NOW)
        with pytest.raises(NotFoundError):
            end_session(session, None, first.public_id, now=NOW)
        end_sessions(session, ann.id, now=NOW, but=second.id)
        assert [s.id for s in list_sessions(session, ann.id, now=NOW)] == [second.id]
        assert [s.paired_as for s in list_sessions(session, None, now=NOW)] == ["owner"]
        runs_it = save_account(
            session, email="op@example.org", password_hash="x", created_at=NOW, is_operator=True
        )
        open_session(session, token="op", account_id=runs_it.id, browser="b", now=NOW, ends_at=NOW + 30 * DAY)
        (told,) = list_sessions(session, runs_it.id, now=NOW)
        assert told.is_operator


def test_failures_are_all_counted_however_many_at_once(store: Store) -> None:
    """Four processes' worth of failures at the same time lose none."""

    def fail() -> None:
        for _ in range(5):
            with store.write() as session:
                add_failure(session, "sign_in", "ann@example.org", now=NOW)

    threads = [threading.Thread(target=fail) for _ in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    with store.write() as session:
        assert load_failures(session, "sign_in", "ann@example.org").count == 20
        assert load_failures(session, "sign_in", "bob@example.org").count == 0
        add_failure(session, "sign_in", "bob@example.org", now=NOW)
        drop_old_failures(session, before=NOW + DAY, fewer_than=10)
        assert load_failures(session, "sign_in", "bob@example.org").count == 0
        assert load_failures(session, "sign_in", "ann@example.org").count == 20
        forget_failures(session, "sign_in", "ann@example.org")
        assert load_failures(session, "sign_in", "ann@example.org").count == 0


def test_a_time_step_is_spent_once(store: Store) -> None:
    """The second factor's time step, and any before it, is used up by its use."""
    ann = add_account(store)
    with store.write() as session:
        assert [spend_code(session, ann.id, step) for step in (7, 7, 6, 8)] == [True, False, False, True]
        assert get_account(session, ann.id).email == "ann@example.org"
