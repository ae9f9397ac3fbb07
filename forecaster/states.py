"""How much may be said of a tank, and why: the states and reasons that finders give and the gate weighs."""

from collections.abc import Sequence
from dataclasses import dataclass
from enum import IntEnum


class State(IntEnum):
    """How much may be said; the worst reason wins."""

    OK = 0
    WIDE = 1
    CHECK = 2
    STALE = 3
    BLIND = 4
    URGENT = 5

    @property
    def is_told(self) -> bool:
        """Whether litres, dates and an order may leave any door."""
        return self <= State.WIDE


@dataclass(frozen=True, slots=True)
class Reason:
    """Why a forecast is in its state: a stable code, the state it asks for, a sentence for people."""

    code: str
    state: State
    text: str


def worst_state(reasons: Sequence[Reason]) -> State:
    """Find the state that the reasons ask for together.

    Examples
    --------
    >>> worst_state([Reason("wide_band", State.WIDE, ""), Reason("stuck", State.CHECK, "")]).name
    'CHECK'
    """
    return max((r.state for r in reasons), default=State.OK)
