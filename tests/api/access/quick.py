"""Password hashes that cost next to nothing, for tests in which nobody guesses."""

from functools import cache

import pytest
from pwdlib import PasswordHash
from pwdlib.hashers.argon2 import Argon2Hasher

from api.usecases.accounts import passwords


def hash_quickly(monkeypatch: pytest.MonkeyPatch) -> None:
    """Let the service hash quickly for the length of a test."""
    nobodys = quick_hasher().hash("nobody")
    monkeypatch.setattr(passwords, "_hasher", quick_hasher)
    monkeypatch.setattr(passwords, "_nobodys_hash", lambda: nobodys)


@cache
def quick_hasher() -> PasswordHash:
    """Argon2id as in the service, with the least of everything."""
    return PasswordHash((Argon2Hasher(time_cost=1, memory_cost=8, parallelism=1),))
