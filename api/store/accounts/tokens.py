"""What opens something: 256 random bits, shown once, kept as a hash.

A password is guessed, so its hash is made slow; these cannot be guessed, so SHA-256 is enough.

Flow     **tokens** -> sessions, keys, invitations, calendar feeds, addresses to be confirmed
Source   OWASP ASVS 5.0, 7.2.3 (at least 128 bits), 11.5.1
"""

import hashlib
import secrets

TOKEN_BYTES = 32


def new_token() -> str:
    """Draw a token, safe in an address and in a header."""
    return secrets.token_urlsafe(TOKEN_BYTES)


def hash_token(token: str) -> str:
    """Give the form in which a token is kept.

    Examples
    --------
    >>> len(hash_token("anything"))
    64
    """
    return hashlib.sha256(token.encode("utf-8", "surrogatepass")).hexdigest()
