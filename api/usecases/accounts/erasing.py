"""Erasing an account or a tank for good: every row the register knows, and its traces in the files.

What was erased is remembered by its public id alone, so that it can be erased again after an older
backup was restored.

Flow     register -> rows deleted -> **no trace** -> list of erasures
"""

from collections.abc import Iterable

from api.ports import Clock
from api.store import NotFoundError, Session, Store
from api.store.accounts.attempts import forget_failures
from api.store.accounts.belongings import delete_rows_of
from api.store.accounts.erasures import leave_no_trace, note_erasure, overwrite_what_is_deleted
from api.store.accounts.grants import count_owners, list_tanks_of, owns, public_id_of
from api.store.accounts.people import get_account, load_account
from api.store.tanks import load_tank
from api.usecases.accounts.signing_in import SIGN_IN


def erase_account(store: Store, clock: Clock, account_id: int) -> None:
    """Erase an account, and with it the tanks that nobody else owns."""
    with store.write() as session:
        overwrite_what_is_deleted(session)
        for tank_id in sole_tanks(session, account_id):
            _erase_tank(session, clock, tank_id)
        account = get_account(session, account_id)
        forget_failures(session, SIGN_IN, account.email)
        delete_rows_of(session, "account", account_id)
        note_erasure(session, "account", account.public_id, now=clock.now())
    leave_no_trace(store)


def erase_tank(store: Store, clock: Clock, tank_id: int) -> None:
    """Erase a tank and all that was kept of it."""
    with store.write() as session:
        overwrite_what_is_deleted(session)
        _erase_tank(session, clock, tank_id)
    leave_no_trace(store)


def erase_again(store: Store, clock: Clock, erased: Iterable[tuple[str, str]]) -> int:
    """Erase what a restored backup brought back; how much of it was there.

    Parameters
    ----------
    erased
        What was erased before, as the list of erasures gives it: ``account`` or ``tank``, and public id.
    """
    count = 0
    for kind, public_id in erased:
        try:
            with store.read() as session:
                load = load_account if kind == "account" else load_tank
                found = load(session, public_id).id
        except NotFoundError:
            continue
        (erase_account if kind == "account" else erase_tank)(store, clock, found)
        count += 1
    return count


def sole_tanks(session: Session, account_id: int) -> list[int]:
    """List the tanks that an account owns alone."""
    return [
        tank.id
        for tank in list_tanks_of(session, account_id)
        if owns(session, account_id, tank.id) and count_owners(session, tank.id) == 1
    ]


def _erase_tank(session: Session, clock: Clock, tank_id: int) -> None:
    public_id = public_id_of(session, tank_id)
    delete_rows_of(session, "tank", tank_id)
    note_erasure(session, "tank", public_id, now=clock.now())
