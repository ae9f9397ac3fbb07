"""Signing in and out, and everything that asks for the password anew.

A try is counted before the password is looked at, so that many at once are all counted; a success wipes
the count. An unknown address takes as long and is told the same as a wrong password.

Flow     address, password, code -> **session token** -> browser
Source   NIST SP 800-63B-4, 3.2.2; OWASP ASVS 5.0, 6.3.1, 6.3.8, 7.2.4 (a fresh token at each sign-in)
"""

from datetime import datetime, timedelta

from api.ports import Clock
from api.store import Store
from api.store.accounts.attempts import add_failure, drop_old_failures, forget_failures, load_failures
from api.store.accounts.people import Account, find_account, get_account, spend_code
from api.store.accounts.sessions import open_session
from api.store.accounts.tokens import new_token
from api.usecases.accounts.emails import normalise_email
from api.usecases.accounts.lasting import FORGOTTEN, FREE_FAILURES, SIGNED_IN, wait_after
from api.usecases.accounts.passwords import is_password
from api.usecases.accounts.second_factor import step_of_code
from forecaster.errors import InputError

SIGN_IN = "sign_in"
"""What failures to sign in are counted under."""


class SignInRefusedError(Exception):
    """Address, password or code are not right together; not said which."""


class TooManyTriesError(Exception):
    """Too many failures in a row.

    Attributes
    ----------
    wait
        How long until the next try; None: only a new password helps.
    """

    def __init__(self, wait: timedelta | None) -> None:
        super().__init__("too many tries")
        self.wait = wait


def sign_in(store: Store, clock: Clock, *, email: str, password: str, code: str, browser: str) -> str:
    """Let a browser in for an account; its session token.

    Parameters
    ----------
    code
        The second factor's, where the account has one.
    browser
        What the browser calls itself, for the list of sessions.

    Raises
    ------
    SignInRefusedError
        When they are not right together.
    TooManyTriesError
        When there were too many failures.
    """
    try:
        subject = normalise_email(email)
    except InputError:
        subject = email[:300]
    account = _prove(store, clock, subject, password, code)
    now = clock.now()
    token = new_token()
    with store.write() as session:
        open_session(
            session, token=token, account_id=account.id, browser=browser, now=now, ends_at=now + SIGNED_IN
        )
    return token


def prove_again(store: Store, clock: Clock, account_id: int, *, password: str, code: str) -> Account:
    """Ask a signed-in person for password and code anew, before something that matters.

    Raises
    ------
    SignInRefusedError, TooManyTriesError
        As for signing in.
    """
    with store.read() as session:
        email = get_account(session, account_id).email
    return _prove(store, clock, email, password, code)


def _prove(store: Store, clock: Clock, subject: str, password: str, code: str) -> Account:
    now = clock.now()
    _count_try(store, subject, now)
    with store.read() as session:
        account = find_account(session, subject)
    is_right = is_password(password, account.password_hash if account else None)
    if account is None or not is_right or account.disabled_at is not None:
        raise SignInRefusedError
    with store.write() as session:
        if account.totp_secret is not None:
            step = step_of_code(account.totp_secret, code, now)
            if step is None or not spend_code(session, account.id, step):
                raise SignInRefusedError
        forget_failures(session, SIGN_IN, subject)
    return account


def _count_try(store: Store, subject: str, now: datetime) -> None:
    """Count a try as failed until it has succeeded."""
    with store.write() as session:
        wait = wait_after(load_failures(session, SIGN_IN, subject), now)
        if wait is None or wait > timedelta():
            raise TooManyTriesError(wait)
        add_failure(session, SIGN_IN, subject, now=now)
        drop_old_failures(session, before=now - FORGOTTEN, fewer_than=FREE_FAILURES)
