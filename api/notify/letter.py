"""What a way out is given, and what it says became of it.

Flow     outbox -> **letter** -> way out -> **outcome** -> outbox
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any


@dataclass(frozen=True, slots=True)
class Letter:
    """One message to one address.

    Attributes
    ----------
    message_id
        The same at every attempt, so that a receiver can tell a repetition.
    body
        ``title``, ``paragraphs``, ``page`` and what else there is to tell.
    secrets
        What it is signed with, the newest first; empty where nothing is signed.
    picture
        PNG of the fan chart; None where the forecast is not told.
    at
        When it is sent.
    """

    message_id: str
    address: str
    body: Mapping[str, Any]
    at: datetime
    secrets: tuple[str, ...] = ()
    picture: bytes | None = None


@dataclass(frozen=True, slots=True)
class Sent:
    """It was taken over by the other side."""


@dataclass(frozen=True, slots=True)
class Later:
    """It was not taken now; ``after`` where the other side said when to try again."""

    why: str
    after: timedelta | None = None


@dataclass(frozen=True, slots=True)
class Down:
    """The way itself does not work now, for any message: to this address, or (``whole``) to all."""

    why: str
    whole: bool


@dataclass(frozen=True, slots=True)
class Gone:
    """The address takes nothing, now or later."""

    why: str


Outcome = Sent | Later | Down | Gone
Way = Callable[[Letter], Outcome]
"""A way out: sends one letter and says how that went; it raises nothing."""
