"""The optional second factor: six digits from an app, each good once.

Flow     secret, code, clock -> **time step** -> accounts
Source   RFC 6238 (time-based one-time passwords), 5.2: a code is accepted once; ASVS 5.0, 6.5.1
"""

from datetime import datetime

import pyotp

STEP_S = 30
SLACK_STEPS = 1
"""So many steps an app's clock may be off, either way."""


def new_secret() -> str:
    """Draw a secret of 160 bits, in base32."""
    return pyotp.random_base32()


def address_for_app(secret: str, email: str) -> str:
    """Write the address that an app takes in, as text or picture."""
    return pyotp.TOTP(secret).provisioning_uri(name=email, issuer_name="Dipcast")


def step_of_code(secret: str, code: str, now: datetime) -> int | None:
    """Tell for which time step a code is good now; None where it is for none.

    Examples
    --------
    >>> from datetime import UTC
    >>> at = datetime(2026, 1, 10, 12, 0, tzinfo=UTC)
    >>> secret = new_secret()
    >>> step_of_code(secret, pyotp.TOTP(secret).at(at), at) == int(at.timestamp()) // STEP_S
    True
    """
    digits = "".join(code.split())
    if not (digits.isascii() and digits.isdigit()):
        return None
    factor = pyotp.TOTP(secret, interval=STEP_S)
    present = int(now.timestamp()) // STEP_S
    good = [
        step
        for step in range(present - SLACK_STEPS, present + SLACK_STEPS + 1)
        if pyotp.utils.strings_equal(factor.at(step * STEP_S), digits)
    ]
    return good[0] if good else None
