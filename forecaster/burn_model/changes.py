"""Days on which a house changed for good: what was learnt counts less from then on.

Flow     diary's changes -> **instants and spreads** -> variance of the intensities in each step -> filter
Formula  Var theta += (spread * prior theta)^2 in the step in which the day begins
Source   intervention in a state-space model: West & Harrison, Bayesian Forecasting and Dynamic Models, 1989,
         ch. 11, from memory
"""

from collections.abc import Iterable
from dataclasses import dataclass
from zoneinfo import ZoneInfo

import numpy as np
import numpy.typing as npt

from forecaster.burn_model.steps import Steps
from forecaster.civil import midnights
from forecaster.diary import MOVES, DeclaredChange

Floats = npt.NDArray[np.float64]
Seconds = npt.NDArray[np.datetime64]


@dataclass(frozen=True, slots=True, eq=False)
class Changes:
    """Changes for good.

    ``at``, shape (change,), is when they came; ``spread``, shape (change, 4), how far each intensity may have
    moved: standard deviation relative to its prior. [-]
    """

    at: Seconds
    spread: Floats

    @staticmethod
    def none() -> "Changes":
        """No change."""
        return Changes(np.empty(0, "datetime64[s]"), np.empty((0, 4)))


def declared(changes: Iterable[DeclaredChange], *, zone: ZoneInfo) -> Changes:
    """Take changes as the household declared them: from the midnight that begins their day.

    Examples
    --------
    >>> from datetime import date
    >>> found = declared([DeclaredChange(date(2024, 6, 1), "occupants")], zone=ZoneInfo("Europe/Dublin"))
    >>> found.at, found.spread.shape
    (array(['2024-05-31T23:00:00'], dtype='datetime64[s]'), (1, 4))
    """
    known = sorted(changes, key=lambda c: c.date)
    at = [midnights(c.date, 1, zone)[0] for c in known]
    moves = [(m.base, m.slope, m.sun, m.stove) for m in (MOVES[c.what] for c in known)]
    return Changes(np.array(at, "datetime64[s]"), np.array(moves, np.float64).reshape(-1, 4))


def opened(steps: Steps, start: np.datetime64, changes: Changes, *, drift: float) -> Floats:
    """What each intensity's variance grows by in each step, relative to the square of its prior; (step, 4).

    Parameters
    ----------
    steps : Steps
    start : datetime64[s]
        Beginning of the first step; a change up to here is in the state already.
    changes : Changes
    drift : float
        Random walk over 30 days, relative to the prior. [-]
    """
    out = np.repeat(drift**2 / 30.0 * steps.days[:, None], 4, axis=1)
    for at, spread in zip(changes.at, changes.spread, strict=True):
        if start < at <= steps.end[-1]:
            out[np.searchsorted(steps.end, at, side="left")] += spread**2
    return out
