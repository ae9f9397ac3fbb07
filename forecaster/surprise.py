"""How much wider than the burn model says: what houses kept aside taught of its bands.

A house differs from any model in ways that last: a band that takes the model at its word holds the truth less often
than it says. Forecasts of houses that neither settings nor priors were chosen on are pooled, the place of what
came among their samples (PIT) is looked at, and the bands are widened until they hold what they say. Never the
other way: where they are too wide already, they stay.

Flow     pooled forecasts of houses kept aside -> **extra spread by length of history** (a packaged table)
         -> states of the paths -> forecast
Formula  every intensity of a path times exp(s z - s²/2), z standard normal, s from the table, linear in log(1 + days)
         s = argmin over leads and levels of sum (share held by the central band - level)²
Source   PIT and pooled calibration: Dawid, J. R. Stat. Soc. A 147 (1984) 278; Gneiting, Balabdaoui & Raftery,
         J. R. Stat. Soc. B 69 (2007) 243; both from memory
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import cache

import numpy as np
import numpy.typing as npt

from forecaster.scores import coverage
from forecaster.tables import read_table

Floats = npt.NDArray[np.float64]

LEVELS = (0.5, 0.8, 0.95)
"""Bands that are to hold what they say. [-]"""
SPREADS = tuple(round(0.01 * n, 2) for n in range(31))
"""Extra spreads that are tried. [-]"""
DEPARTURES = 41
"""Departures that stand for the normal distribution where a spread is tried."""


@dataclass(frozen=True, slots=True)
class Pooled:
    """Forecasts of one lead, over many houses and days.

    ``samples_l`` has shape (case, sample), ``actual_l``, what was burned, (case,). [L]
    """

    samples_l: Floats
    actual_l: Floats

    def widened(self, spread: float) -> "Pooled":
        """The same with so much extra spread."""
        if spread <= 0.0:
            return self
        factor = np.exp(spread * _normal_quantiles() - 0.5 * spread**2)
        many = (self.samples_l[:, :, None] * factor).reshape(len(self.samples_l), -1)
        return Pooled(many, self.actual_l)

    def covers(self) -> Floats:
        """Shares that the bands of `LEVELS` hold."""
        return np.array([coverage(self.actual_l, self.samples_l, level=level) for level in LEVELS])


def spread_needed(leads: Iterable[Pooled], *, spreads: Sequence[float] = SPREADS) -> float:
    """Find the extra spread with which the bands hold what they say.

    Parameters
    ----------
    leads : iterable of Pooled
        Forecasts by lead; each lead counts the same.
    spreads : sequence of float
        Those tried, from none on.

    Returns
    -------
    float
        The least of those that come as near. [-]

    Examples
    --------
    >>> rng = np.random.default_rng(1)
    >>> forecasts = 100.0 * np.exp(0.10 * rng.standard_normal((400, 60)))
    >>> came = 100.0 * np.exp(0.20 * rng.standard_normal(400))
    >>> 0.13 < spread_needed([Pooled(forecasts, came)]) < 0.21
    True
    """
    pooled = list(leads)

    def off(spread: float) -> float:
        return sum(float(((p.widened(spread).covers() - LEVELS) ** 2).sum()) for p in pooled)

    return min(spreads, key=off)


@dataclass(frozen=True, slots=True)
class ExtraSpread:
    """Extra spread by days since a tank's first level: shape (knot,), in between linear in log(1 + days).

    ``made_with`` is the digest of the burn model's settings that the forecasts were made with.
    """

    history_days: Floats
    spread: Floats
    made_with: str

    def at(self, history_days: float) -> float:
        """Extra spread of a house so long observed. [-]

        Examples
        --------
        >>> curve = ExtraSpread(np.array([2.0, 365.0]), np.array([0.12, 0.04]), "")
        >>> curve.at(0.0), round(curve.at(30.0), 3), curve.at(900.0)
        (0.12, 0.081, 0.04)
        """
        return float(np.interp(np.log1p(history_days), np.log1p(self.history_days), self.spread))


@cache
def extra_spread() -> ExtraSpread:
    """Read the packaged table."""
    rows = read_table("extra_spread")
    return ExtraSpread(
        np.array([float(row["history_days"]) for row in rows]),
        np.array([float(row["spread"]) for row in rows]),
        rows[0]["settings"],
    )


@cache
def _normal_quantiles() -> Floats:
    """Standard normal quantiles in the middle of equal shares, shape (DEPARTURES,)."""
    from scipy.special import ndtri

    middle = (np.arange(DEPARTURES) + 0.5) / DEPARTURES
    return np.asarray(ndtri(middle), np.float64)
