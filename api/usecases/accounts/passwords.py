"""Passwords: long rather than odd, none that are guessed first, and kept so that guessing is slow.

Fifteen characters where the password is all there is, eight with a second factor; any characters, every
one of them counted; no rule about digits or signs, and none that it must be changed from time to time.
A password is refused where nothing but much-used words, rows of keys, numbers and repetitions make it
up. The list of such words is ours: a few dozen from memory, the words of this trade, and what the person
is called; a password of real words, as a phrase of four, passes.

Flow     what was typed -> **checked, hashed** -> accounts
Source   NIST SP 800-63B-4, 3.1.1 and 3.2.2; OWASP ASVS 5.0, 6.2.1 to 6.2.12, 11.4.2; RFC 9106 (Argon2)
"""

import re
import unicodedata
from functools import cache
from typing import TYPE_CHECKING

from forecaster.errors import InputError, Problem

if TYPE_CHECKING:
    from pwdlib import PasswordHash

LEAST_ALONE = 15
LEAST_WITH_SECOND_FACTOR = 8
MOST = 1_024
"""More is refused before it is hashed. [characters]"""

# from memory: words that head every list of passwords that were found out, and the words of this trade
_COMMON = """
password passwort passwd pass login letmein welcome admin administrator root user guest default changeme
secret iloveyou love monkey dragon sunshine princess football baseball soccer hockey master shadow superman
batman michael jordan charlie daniel thomas george jessica ashley andrew joshua summer winter spring autumn
monday tuesday wednesday thursday friday saturday sunday hello freedom whatever trustno test testing qwerty
qwertz azerty asdf zxcv abc abcd trust internet computer google apple samsung access hunter killer pepper
ginger cheese cookie flower purple orange yellow starwars pokemon liverpool chelsea arsenal england ireland
london dublin the and my is a i you me please open sesame nothing
dipcast oil tank oiltank heating boiler kerosene litres level fuel home house family
"""
_ROWS = (
    "qwertyuiop",
    "asdfghjkl",
    "zxcvbnm",
    "qwertzuiop",
    "yxcvbnm",
    "azertyuiop",
    "abcdefghijklmnopqrstuvwxyz",
)
_PLAIN = str.maketrans("@4301!$57", "aaeoiisst")
_SHORTEST_RUN = 3


def check_password(typed: str, *, has_second_factor: bool, context: tuple[str, ...] = ()) -> str:
    """Bring a new password into the form that is hashed.

    Parameters
    ----------
    has_second_factor
        Whether a second factor is in force, so that eight characters do.
    context
        Words that an attacker would try first, such as the person's address.

    Raises
    ------
    InputError
        When it is too short, too long, only blanks, or guessed first.

    Examples
    --------
    >>> check_password("a phrase of my own", has_second_factor=False)
    'a phrase of my own'
    >>> check_password("Password123456789!", has_second_factor=False)
    Traceback (most recent call last):
    forecaster.errors.InputError: ...
    """
    least = LEAST_WITH_SECOND_FACTOR if has_second_factor else LEAST_ALONE
    if len(typed) > MOST:
        raise _refused("password_long", f"take at most {MOST:,} characters")
    password = normalise_password(typed)
    if len(password) < least or not password.strip():
        raise _refused("password_short", f"take {least} characters or more; a phrase of some words is good")
    if is_guessed_first(password, context):
        raise _refused("password_guessed", "take another: this one is made of what is tried first")
    return password


def normalise_password(typed: str) -> str:
    """Bring a password into one form, however its letters were typed; nothing is cut off."""
    return unicodedata.normalize("NFKC", typed)


def is_guessed_first(password: str, context: tuple[str, ...] = ()) -> bool:
    """Tell whether nothing but common words, rows of keys, numbers and repetitions make up a password.

    Examples
    --------
    >>> [is_guessed_first(p) for p in ("iloveyouiloveyou", "qwertyuiop123456", "correct horse battery staple")]
    [True, True, False]
    """
    words = _common_words() | {
        w for c in context for w in re.split(r"[^a-z0-9]+", c.casefold()) if len(w) > 2
    }
    folded = password.casefold()
    return any(_is_made_of(words, re.sub(r"[\W_]+", "", text)) for text in (folded, folded.translate(_PLAIN)))


def hash_password(password: str) -> str:
    """Hash a checked password, slowly, with a salt of its own."""
    return _hasher().hash(password)


def is_password(typed: str, kept: str | None) -> bool:
    """Tell whether a password is the one whose hash is kept; as slow where there is none (None)."""
    text = normalise_password(typed[: MOST + 1])
    matches = _hasher().verify(text, kept if kept is not None else _nobodys_hash())
    return matches and kept is not None and len(typed) <= MOST


def _is_made_of(words: frozenset[str], text: str) -> bool:
    """Go through the text from its start, keeping every place that such pieces lead to."""
    reached = {0}
    for start in range(len(text)):
        if start in reached:
            reached |= {start + length for length in _pieces(words, text, start)}
    return len(text) in reached


def _pieces(words: frozenset[str], text: str, start: int) -> set[int]:
    rest = text[start:]
    found = {len(w) for w in words if rest.startswith(w)}
    number = re.match(r"\d+", rest)
    if number:
        found.add(number.end())
    repeated = re.match(r"(.{1,4}?)\1{2,}", rest)
    if repeated:
        found.add(repeated.end())
    for row in _ROWS:
        for keys in (row, row[::-1]):
            at = keys.find(rest[:_SHORTEST_RUN]) if len(rest) >= _SHORTEST_RUN else -1
            run = 0 if at < 0 else _common_length(keys[at:], rest)
            found |= set(range(_SHORTEST_RUN, run + 1))
    return found


def _common_length(a: str, b: str) -> int:
    return next((i for i, (x, y) in enumerate(zip(a, b, strict=False)) if x != y), min(len(a), len(b)))


@cache
def _common_words() -> frozenset[str]:
    return frozenset(_COMMON.split())


@cache
def _hasher() -> "PasswordHash":
    from pwdlib import PasswordHash
    from pwdlib.hashers.argon2 import Argon2Hasher

    return PasswordHash((Argon2Hasher(),))


@cache
def _nobodys_hash() -> str:
    return _hasher().hash("the password of nobody")


def _refused(code: str, mend: str) -> InputError:
    return InputError(Problem(code, "password", mend))
