"""What became of each reading: used, or set aside by screening, by the watch or by the burn model.

Flow     levels with flags, verdicts of the fit -> **used, set aside with reasons** -> explanation
"""

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from types import MappingProxyType
from typing import TYPE_CHECKING

import numpy as np

from forecaster.civil import to_datetime
from forecaster.screening import CENSORED, SET_ASIDE, Flag

if TYPE_CHECKING:
    from forecaster.burn_model import Posterior
    from forecaster.pipeline import Behind, Inputs

BY_FLAG: Mapping[Flag, str] = MappingProxyType(
    {
        Flag.NO_ECHO: "the sensor saw no echo; this does not tell whether there is oil",
        Flag.ABOVE_TANK: "more oil than the tank holds",
        Flag.BELOW_TANK: "further down than the bottom of the tank",
        Flag.SPIKE: "far from the readings before and after it, which agree with each other",
        Flag.STUCK: "the same value although oil must have been burned",
        Flag.DUPLICATE: "the same as an earlier reading of that time",
        Flag.CONFLICT: "another value for a time that already has one",
        Flag.UNIT: "changed its size at one stroke, as if the unit had changed",
        Flag.TREND: "climbs by little steps without a delivery; water may be getting in",
    }
)
"""Each flag that sets a reading aside, in words; of several the first that stands here is told."""
WAITING = "shows a rise that no ticket explains: not believed until a second reading shows it"
FAR_OFF = "too far from what was expected to be believed alone"
STANDING = "stood still while oil must have been burned"
_GATED, _STUCK = 2, 3


@dataclass(frozen=True, slots=True)
class Aside:
    """One reading that was not reckoned with; the value in the quantity's own unit (mm, litres, fraction)."""

    at: datetime
    quantity: str
    value: float | None
    reason: str


@dataclass(frozen=True, slots=True)
class ReadingsUsed:
    """What became of the readings.

    Attributes
    ----------
    known, used, at_least
        How many there are; how many were used, of which so many say only "at least so much".
    first, last
        Instants of the first and the last one, UTC; None without any.
    aside
        Those not used, the newest first.
    """

    known: int
    used: int
    at_least: int
    first: datetime | None
    last: datetime | None
    aside: tuple[Aside, ...]

    @property
    def by_reason(self) -> tuple[tuple[str, int], ...]:
        """How many were set aside for each reason, the most frequent first."""
        return tuple(Counter(one.reason for one in self.aside).most_common())


def sort_readings(inputs: "Inputs", behind: "Behind", posterior: "Posterior") -> ReadingsUsed:
    """Tell what became of each reading.

    Parameters
    ----------
    inputs
        Cut at as-of.
    behind
        Whose levels hold every reading with its flags.
    posterior
        Whose verdicts are those of the levels that came so far.
    """
    from forecaster.anomalies import held_back

    readings, levels = inputs.readings, behind.levels
    if readings is None or len(readings.at) == 0:
        return ReadingsUsed(0, 0, 0, None, None, ())
    trusted, waits = levels.trusted(), held_back(levels, behind.rises)
    verdict = np.zeros(len(trusted), np.int64)
    heard = np.flatnonzero(trusted & ~waits)
    if len(heard) == len(posterior.verdicts):  # else the levels came from tickets: no reading was heard
        verdict[heard] = posterior.verdicts
    out = ~trusted | waits | (verdict == _GATED) | (verdict == _STUCK)
    aside = tuple(
        Aside(
            to_datetime(readings.at[i]), str(readings.quantity[i]),
            float(readings.value[i]) if np.isfinite(readings.value[i]) else None,
            _reason(int(levels.flags[i]), waits=bool(waits[i]), verdict=int(verdict[i])),
        )
        for i in np.flatnonzero(out)[::-1]
    )  # fmt: skip
    at_least = ((levels.flags & int(CENSORED)) != 0) & ~out
    return ReadingsUsed(
        len(readings.at), int((~out).sum()), int(at_least.sum()),
        to_datetime(readings.at[0]), to_datetime(readings.at[-1]), aside,
    )  # fmt: skip


def _reason(flags: int, *, waits: bool, verdict: int) -> str:
    if flags & int(SET_ASIDE):
        return next(words for flag, words in BY_FLAG.items() if flags & int(flag))
    if waits:
        return WAITING
    return {_GATED: FAR_OFF, _STUCK: STANDING}.get(verdict, "not within what can be reckoned with")
