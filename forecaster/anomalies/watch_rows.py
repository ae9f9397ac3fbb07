"""What the watch takes a home's burn to consist of: the burn model's terms, and what they leave out.

The burn model's terms foretell weeks well and seasons roughly: many homes switch their heating off in warm weeks,
and most burn a little more in some season than degree-days say. In a home's first autumn that looks like a leak, so
the watch learns such terms too, and doubts them until it has seen them.

Flow     drivers, heaviest grid point -> **regressors by day, what is known of them at first** -> watch
Formula  off(T, c) = heating / (1 + exp((c − T̄) / 0.6 K)), T̄ the mean of some five days;
         sin and cos of the year times the heating, and times the base load;
         diary = (heat factor − 1) (heating + base load), doubted anew whenever a stretch of the diary begins
Source   their spread between homes: chosen on simulated homes, see tests/accuracy/watch.json
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from forecaster.burn_model import Changes, Drivers, Posterior, Settings, reference_slope_factor
from forecaster.burn_model.changes import opened
from forecaster.burn_model.steps import Steps, place_in_days
from forecaster.dwelling import BurnPrior

Floats = npt.NDArray[np.float64]
Instants = npt.NDArray[np.datetime64]

OFF_C, OFF_SOFT_K = (13.5, 15.5), 0.6
"""Heating may be switched off when it has been warmer than that for some days (`weather_rows.mild_days`). [C], [K]"""
OFF_SHARE, OFF_SHARE_SD = 0.2, 0.3
"""Part of the heating that each of these switches off, at first. [-]"""
HEAT_SEASON_SD, BASE_SEASON_SD = 0.15, 0.3
"""Seasonal swing of the heating beyond degree-days, and of the base load, relative. [-]"""
DIARY_SD = 0.5
"""What a word of the diary spares or takes is a guess, good to that part of it. Assumption. [-]"""
ABOUT = np.timedelta64(7 * 86_400, "s")
"""People date a change of their house by memory: it may have come so much before. Assumption."""


@dataclass(frozen=True, slots=True, eq=False)
class Terms:
    """The burn's terms.

    Attributes
    ----------
    per_day
        Regressors, shape (day, term): base, heating, sun, stove, and those above.
    mean, sd, drift
        What is known of their coefficients at first, and how they wander in 30 days; shape (term,).
    begins
        On which days a stretch of the diary begins: the last term's coefficient is anyone's guess anew;
        shape (day,), None where no term stands for the diary.
    """

    per_day: Floats
    mean: Floats
    sd: Floats
    drift: Floats
    begins: npt.NDArray[np.bool_] | None = None


def burn_terms(
    drivers: Drivers, posterior: Posterior, prior: BurnPrior, *, settings: Settings, drift: float
) -> Terms:
    """Lay out the terms of a home's burn at the heaviest grid point.

    Parameters
    ----------
    drivers, posterior, prior, settings
        Of the burn model.
    drift : float
        Random walk of each coefficient over 30 days, relative.
    """
    from forecaster.burn_model import kernel

    point = int(posterior.weight.argmax())
    base = posterior.base_c[point : point + 1]
    told = drivers.heat_factor != 1.0

    def regressors(heat_factor: Floats) -> Floats:
        days: Floats = kernel.regressor_days(
            drivers.temp_c, drivers.sun_kwh_m2, drivers.stove_kwh, drivers.stove_rate, drivers.base_factor,
            heat_factor, base, posterior.inertia[point : point + 1],
            posterior.season_c[point : point + 1], settings.rounding_k, posterior.kappa, posterior.omega,
        )[0, 0, 0]  # fmt: skip
        return days

    known = regressors(drivers.heat_factor)
    usual = regressors(np.ones_like(drivers.heat_factor)) if told.any() else known
    factor = reference_slope_factor(
        base,
        drivers.temp_c,
        at_c=prior.base_temperature_c,
        rounding_k=settings.rounding_k,
        seasons_c=posterior.season_c[point : point + 1],
    )[0]
    theta = np.array(
        [prior.base_l_per_day, prior.slope_l_per_kday, prior.solar_l_per_kwh_m2, prior.stove_l_per_kwh]
    )
    theta[1:] *= factor
    rel = np.array([prior.base_rel_sd, prior.slope_rel_sd, prior.solar_rel_sd, prior.stove_rel_sd])
    heat_l = np.maximum(known[:, 1:4] @ theta[1:4], 0.0)
    others = _left_out(drivers, heat_l=heat_l, base_l=theta[0] * known[:, 0])
    seasons = np.array([HEAT_SEASON_SD] * 2 + [BASE_SEASON_SD] * 2)
    sd = np.concatenate([theta * rel, np.full(len(OFF_C), OFF_SHARE_SD), seasons, [0.0]])
    usual_l = np.maximum(usual[:, 1:4] @ theta[1:4], 0.0) + theta[0]
    return Terms(
        np.hstack([known, others, ((drivers.heat_factor - 1.0) * usual_l)[:, None]]),
        np.concatenate([theta, np.full(len(OFF_C), OFF_SHARE), np.zeros(len(seasons) + 1)]),
        sd,
        drift * np.concatenate([theta, sd[len(theta) :]]),
        np.asarray(told & ~np.r_[False, told[:-1]]),
    )


def variance_gained(
    terms: Terms, steps: Steps, midnights: Instants, start: np.datetime64, *, changes: Changes
) -> Floats:
    """What the variance of each coefficient grows by in each step, shape (step, term).

    Parameters
    ----------
    terms, steps
    midnights : datetime64[s] array, shape (day + 1,)
        The instants at which the terms' days begin, and the end of the last.
    start : datetime64[s]
        Beginning of the first step.
    changes : Changes
        A change for good may have come up to `ABOUT` before its day.
    """
    out = terms.drift**2 / 30.0 * steps.days[:, None]
    if len(changes.at):
        known = changes.spread.shape[1]
        earlier = Changes(np.maximum(changes.at - ABOUT, start + np.timedelta64(1, "s")), changes.spread)
        out[:, :known] += terms.mean[:known] ** 2 * opened(steps, start, earlier, drift=0.0)
    if terms.begins is not None:
        day = np.clip(np.flatnonzero(terms.begins), 0, len(midnights) - 2)
        step = np.searchsorted(place_in_days(steps, start, midnights), day, side="right") - 1
        np.add.at(out[:, -1], np.clip(step, 0, len(out) - 1), DIARY_SD**2)
    return out


def _left_out(drivers: Drivers, *, heat_l: Floats, base_l: Floats) -> Floats:
    """Litres a day of each further term at a coefficient of one, shape (day, term)."""
    from forecaster.burn_model import weather_rows

    warm_c = weather_rows.mild_days(drivers.temp_c, float(drivers.temp_c[0]))
    off = [-heat_l / (1.0 + np.exp((limit - warm_c) / OFF_SOFT_K)) for limit in OFF_C]
    day = (drivers.date - drivers.date.astype("datetime64[Y]")).astype(np.float64)
    angle = 2.0 * np.pi * day / 365.25
    seasons = [wave(angle) * litres for litres in (heat_l, base_l) for wave in (np.sin, np.cos)]
    return np.stack([*off, *seasons], axis=1)
