"""Making an account, and changing what lets one in.

Flow     address, password, invitation -> **account** -> store
"""

from datetime import datetime

from api.ports import Clock
from api.store import NotFoundError, Session, Store
from api.store.accounts.attempts import forget_failures
from api.store.accounts.grants import add_to_household, link_supply, open_job, owns
from api.store.accounts.invitations import Invitation, find_invitation, save_invitation, use_invitation
from api.store.accounts.people import Account, find_account, get_account, save_account, set_password
from api.store.accounts.sessions import end_sessions
from api.store.accounts.tokens import new_token
from api.usecases.accounts.emails import normalise_email
from api.usecases.accounts.lasting import INVITED, NEW_PASSWORD
from api.usecases.accounts.passwords import check_password, hash_password
from api.usecases.accounts.sharing import JOB_LASTS
from api.usecases.accounts.signing_in import SIGN_IN
from forecaster.errors import InputError, Problem

EMAIL_TAKEN = Problem("email_taken", "email", "sign in: this address has an account already")


def sign_up(
    store: Store, clock: Clock, *, email: str, password: str, token: str | None, is_operator: bool = False
) -> Account:
    """Make an account, with what its invitation gives.

    Parameters
    ----------
    token
        Of an invitation; None where the installation is open to anybody, or on the command line.

    Raises
    ------
    InputError
        When address or password cannot be used, or the address has an account already.
    NotFoundError
        When the invitation is none.
    """
    address = normalise_email(email)
    checked = check_password(password, has_second_factor=False, context=(address,))
    if token is not None:
        with store.read() as session:
            find_invitation(session, token, now=clock.now())
    hashed = hash_password(checked)
    now = clock.now()
    with store.write() as session:
        invited = None if token is None else find_invitation(session, token, now=now)
        if find_account(session, address) is not None:
            raise InputError(EMAIL_TAKEN)
        account = save_account(
            session, email=address, password_hash=hashed, created_at=now, is_operator=is_operator
        )
        if invited is not None:
            _take_up(session, invited, account.id, now)
    return account


def require_new_email(store: Store, email: str) -> None:
    """Refuse an address that cannot be an account's, before a password is asked for.

    Raises
    ------
    InputError
        When it is no address, or has an account already.
    """
    address = normalise_email(email)
    with store.read() as session:
        if find_account(session, address) is not None:
            raise InputError(EMAIL_TAKEN)


def take_up_invitation(session: Session, account_id: int, token: str, *, now: datetime) -> None:
    """Give a signed-in account what an invitation gives.

    Raises
    ------
    NotFoundError
        When the invitation is none, or one for a new password.
    """
    _take_up(session, find_invitation(session, token, now=now), account_id, now)


def invite(
    session: Session, *, kind: str, tank_id: int | None = None, invited_by: int | None = None, now: datetime
) -> str:
    """Make an invitation to an account, or to share in a tank; its token, which is kept nowhere."""
    token = new_token()
    save_invitation(
        session,
        token=token,
        kind=kind,
        tank_id=tank_id,
        invited_by=invited_by,
        now=now,
        expires_at=now + INVITED,
    )
    return token


def invite_new_password(session: Session, account_id: int, *, now: datetime) -> str:
    """Make an address at which somebody chooses a new password, for a day; its token."""
    token = new_token()
    save_invitation(
        session, token=token, kind="password", account_id=account_id, now=now, expires_at=now + NEW_PASSWORD
    )
    return token


def choose_password(store: Store, clock: Clock, token: str, password: str) -> None:
    """Set a new password by an address made for that; every session ends, and failures are forgotten.

    Raises
    ------
    NotFoundError
        When the address is none, or was used.
    InputError
        When the password cannot be used.
    """
    now = clock.now()
    with store.read() as session:
        invited = find_invitation(session, token, now=now)
        account = _account_of(session, invited)
    has_factor = account.totp_secret is not None
    hashed = hash_password(check_password(password, has_second_factor=has_factor, context=(account.email,)))
    with store.write() as session:
        use_invitation(session, invited.id, account.id, now=now)
        set_password(session, account.id, hashed)
        end_sessions(session, account.id, now=now)
        forget_failures(session, SIGN_IN, account.email)


def change_password(store: Store, clock: Clock, account: Account, password: str, *, session_id: int) -> None:
    """Set a new password for somebody who has proved the old one; their other sessions end.

    Raises
    ------
    InputError
        When the password cannot be used.
    """
    has_factor = account.totp_secret is not None
    hashed = hash_password(check_password(password, has_second_factor=has_factor, context=(account.email,)))
    with store.write() as session:
        set_password(session, account.id, hashed)
        end_sessions(session, account.id, now=clock.now(), but=session_id)


def _account_of(session: Session, invited: Invitation) -> Account:
    if invited.kind != "password" or invited.account_id is None:
        raise NotFoundError
    return get_account(session, invited.account_id)


def _take_up(session: Session, invited: Invitation, account_id: int, now: datetime) -> None:
    if invited.kind == "password":
        raise NotFoundError
    use_invitation(session, invited.id, account_id, now=now)
    if invited.tank_id is None:
        return
    match invited.kind:
        case "owner" | "member":
            if not owns(session, account_id, invited.tank_id):  # an invitation takes nothing from an owner
                add_to_household(session, account_id, invited.tank_id, invited.kind, now=now)
        case "installer":
            open_job(session, account_id, invited.tank_id, now=now, until=now + JOB_LASTS)
        case "distributor":
            link_supply(session, account_id, invited.tank_id, now=now, accepted=True)
