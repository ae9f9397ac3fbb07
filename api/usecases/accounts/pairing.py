"""Letting the phones of a house in, without accounts: a code shown on the machine, typed on the phone.

The code has eight digits and ten minutes, and is gone after one phone or ten wrong tries, whoever made
them: at most 1 in 10 million codes is guessed so.

Flow     code -> **session token** -> phone
"""

import secrets
from dataclasses import dataclass
from datetime import datetime

from api.ports import Clock
from api.store import Session, Store
from api.store.accounts.attempts import add_failure, forget_failures, load_failures
from api.store.accounts.pairing import drop_codes, save_code, spend_code
from api.store.accounts.sessions import open_session
from api.store.accounts.tokens import new_token
from api.usecases.accounts.lasting import PAIRED, PAIRING_CODE

DIGITS = 8
MOST_WRONG = 10
_WHAT, _ANY_PHONE = "pairing", "any phone"


class WrongCodeError(Exception):
    """No such code, or no longer."""


@dataclass(frozen=True, slots=True)
class Code:
    """A code to be shown, and until when it is good."""

    digits: str
    expires_at: datetime

    @property
    def spoken(self) -> str:
        """The code in two groups, as it is read out."""
        half = DIGITS // 2
        return f"{self.digits[:half]} {self.digits[half:]}"


def make_code(session: Session, paired_as: str, *, now: datetime) -> Code:
    """Make a code in place of any earlier one, for an owner's or a member's phone."""
    code = Code(f"{secrets.randbelow(10**DIGITS):0{DIGITS}}", now + PAIRING_CODE)
    save_code(session, code.digits, paired_as, now=now, expires_at=code.expires_at)
    forget_failures(session, _WHAT, _ANY_PHONE)
    return code


def pair(store: Store, clock: Clock, typed: str, *, browser: str) -> str:
    """Let a phone in by a code; its session token.

    Raises
    ------
    WrongCodeError
        When it is no code, or no longer; after ten of them there is no code left.
    """
    now = clock.now()
    digits = "".join(typed.split())
    token = new_token()
    with store.write() as session:
        paired_as = spend_code(session, digits, now=now)
        if paired_as is not None:
            open_session(
                session, token=token, paired_as=paired_as, browser=browser, now=now, ends_at=now + PAIRED
            )
            forget_failures(session, _WHAT, _ANY_PHONE)
        else:
            add_failure(session, _WHAT, _ANY_PHONE, now=now)
            if load_failures(session, _WHAT, _ANY_PHONE).count >= MOST_WRONG:
                drop_codes(session)
    if paired_as is None:
        raise WrongCodeError
    return token
