"""Password hashes that cost next to nothing, for tests in which nobody guesses."""

from functools import cache

from pwdlib import PasswordHash
from pwdlib.hashers.argon2 import Argon2Hasher


@cache
def quick_hasher() -> PasswordHash:
    """Argon2id as in the service, with the least of everything."""
    return PasswordHash((Argon2Hasher(time_cost=1, memory_cost=8, parallelism=1),))
