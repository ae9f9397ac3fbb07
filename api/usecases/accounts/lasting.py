"""How long sessions, invitations and codes last, and how failures slow somebody down.

Source   NIST SP 800-63B-4, 2.1.3 (30 days at most before signing in anew), 3.2.2 (100 failures in a row
         at most); OWASP ASVS 5.0, 6.3.1 and 7.3; the other spans are ours
"""

from datetime import datetime, timedelta

from api.settings import Mode
from api.store.accounts.attempts import Failures

SIGNED_IN = timedelta(days=30)
SIGNED_IN_IDLE = timedelta(days=14)
PAIRED = timedelta(days=365)
PAIRED_IDLE = timedelta(days=90)
INVITED = timedelta(days=7)
NEW_PASSWORD = timedelta(hours=24)
PAIRING_CODE = timedelta(minutes=10)

FREE_FAILURES = 10
FIRST_WAIT = timedelta(minutes=15)
LONGEST_WAIT = timedelta(hours=24)
MOST_FAILURES = 100
"""So many failures in a row shut the password; a new one, by a link, opens again."""
FORGOTTEN = timedelta(days=30)
"""Subjects with few failures, such as made-up addresses, are forgotten after so long."""


def idle_of(mode: Mode) -> timedelta:
    """Tell after how long without use a session ends."""
    return SIGNED_IN_IDLE if mode is Mode.SERVER else PAIRED_IDLE


def wait_after(failures: Failures, now: datetime) -> timedelta | None:
    """Tell how long to wait before the next try; None: no try is left.

    The first ten failures cost nothing; then a quarter of an hour, twice as long after each further
    one, a day at most.

    Examples
    --------
    >>> from datetime import UTC
    >>> at = datetime(2026, 1, 10, tzinfo=UTC)
    >>> [str(wait_after(Failures(n, at), at)) for n in (0, 9, 10, 11, 30, 100)]
    ['0:00:00', '0:00:00', '0:15:00', '0:30:00', '1 day, 0:00:00', 'None']
    """
    if failures.count >= MOST_FAILURES:
        return None
    if failures.count < FREE_FAILURES or failures.last_at is None:
        return timedelta()
    doublings = min(failures.count - FREE_FAILURES, 10)
    wait: timedelta = min(FIRST_WAIT * 2**doublings, LONGEST_WAIT)
    return max(timedelta(), failures.last_at + wait - now)
