"""An e-mail address as it is kept: one address, plain, in one form.

Flow     what was typed -> **address** -> accounts
Source   RFC 5321 (64 and 254 characters), RFC 5322 dot-atom; quoted local parts are refused on purpose
"""

import re
import unicodedata

from forecaster.errors import InputError, Problem

LONGEST = 254
_LOCAL = re.compile(r"[^\s\x00-\x20\x7f\"(),:;<>@\[\\\].]+(\.[^\s\x00-\x20\x7f\"(),:;<>@\[\\\].]+)*")
_DOMAIN = re.compile(r"[a-z0-9]([a-z0-9-]{0,61}[a-z0-9])?(\.[a-z0-9]([a-z0-9-]{0,61}[a-z0-9])?)+")


def normalise_email(typed: str) -> str:
    """Bring an address into the form in which accounts are kept: NFKC, lower case, the domain in ASCII.

    Raises
    ------
    InputError
        When it is not one plain address.

    Examples
    --------
    >>> normalise_email(" Ann.Dale@Example.ORG ")
    'ann.dale@example.org'
    """
    text = unicodedata.normalize("NFKC", typed).strip().casefold()
    local, _, domain = text.rpartition("@")
    try:
        domain = domain.encode("idna").decode("ascii")
    except UnicodeError:
        domain = ""
    is_plain = _LOCAL.fullmatch(local) and _DOMAIN.fullmatch(domain) and text.isprintable()
    if not is_plain or len(local.encode()) > 64 or len(local) + 1 + len(domain) > LONGEST:
        raise InputError(Problem("email", "email", "give one e-mail address, such as name@example.org"))
    return f"{local}@{domain}"
