"""Litres paths ahead: draws of the posterior, weather years, and day-to-day noise.

Every path takes one draw of what is known of the house, one year of weather, and its own chance
departures; the same table of random numbers serves every tank and every day, so that an answer moves
only when something has been learnt.

Flow     posterior, outlook -> **litres paths** -> run-dry dates, order advice
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from forecaster.burn_model import Drivers, Posterior, Settings
from forecaster.calibration import Calibration, recalibrate_burn
from forecaster.fuel import to_bulk_litres
from forecaster.levels import OIL_DAYS, PLACES
from forecaster.surprise import extra_spread

Floats = npt.NDArray[np.float64]
Singles = npt.NDArray[np.float32]

SEED = 1
"""Every door makes its generator from this: same inputs, same answer."""
STATES = 6
SLOW_DAYS = Settings().slow_days
"""Time in which a slow departure fades, as the burn model has it. [d]"""
PATHS = 2_000
"""Paths of a forecast: the 5 % point then wanders by less than a day between draws."""


def daily_oil_c(air_c: Floats, *, location: str) -> Floats:
    """Temperature of the oil at the end of each day, from daily air temperatures.

    Parameters
    ----------
    air_c : float array, shape (..., day)
        Outdoor air; the first day begins with the oil as warm as its air. [C]
    location : str
        Where the tank stands; decides how much of the air's swing reaches the oil.

    Examples
    --------
    >>> daily_oil_c(np.array([10.0, 4.0, 4.0]), location="outdoors").round(1)
    array([10. ,  8.3,  7.1])
    """
    place = PLACES[location]
    kept = np.exp(-1.0 / OIL_DAYS)
    # days first, so that each step runs over neighbouring numbers
    by_day = np.array(np.moveaxis(air_c, -1, 0), order="C")  # a copy: the caller keeps its air
    for day in range(1, len(by_day)):
        by_day[day] = kept * by_day[day - 1] + (1.0 - kept) * by_day[day]
    followed = np.ascontiguousarray(np.moveaxis(by_day, 0, -1))
    return place.mean_c + place.share * (followed - place.mean_c)


@dataclass(frozen=True, slots=True)
class Paths:
    """Simulated futures of one tank.

    Attributes
    ----------
    date
        Civil days ahead; the first is the day of as-of, of which only the rest lies ahead: (day,).
    now_l
        Bulk litres at the as-of instant, shape (path,). [L]
    litres
        Bulk litres at the end of each civil day, shape (path, day). [L]
    burned_l
        Litres at 15 C burned on each day, shape (path, day). [L]
    scenario_of, temp_c
        The weather year of each path, and the outdoor temperature of each weather year by day:
        (path,), (scenario, day). [-, C]
    """

    date: npt.NDArray[np.datetime64]
    now_l: Floats
    litres: Floats
    burned_l: Floats
    scenario_of: npt.NDArray[np.int64]
    temp_c: Floats


@dataclass(frozen=True, slots=True)
class Chances:
    """The random numbers of a forecast: drawn once, shared by every tank and every day.

    ``order`` shuffles scenarios among paths, ``stratum`` places the draws of grid points; ``state`` and
    ``offset`` are standard normals of the state and of the levels' common error; ``slow``, slow departures of
    unit size that begin at nothing and fade in ``slow_days``, and ``day``, positive factors with mean 1, are of
    every path and day: in single precision, since reading them is most of a path's work. ``surprise``, standard
    normals, are by how much each path's house departs for good from what is known of it.
    """

    stratum: float
    order: npt.NDArray[np.int64]
    state: Floats
    offset: Floats
    slow: Singles
    day: Singles
    slow_days: float
    surprise: Floats


def draw_chances(
    *,
    paths: int,
    days: int,
    day_noise: float,
    rng: np.random.Generator,
    slow_days: float = SLOW_DAYS,
) -> Chances:
    """Draw the random numbers of a forecast.

    Parameters
    ----------
    paths, days : int
    day_noise : float
        Relative standard deviation of a day's burn about its expectation. [-]
    rng : Generator
    slow_days : float
        Time in which a slow departure fades to 1/e. [d]

    Notes
    -----
    A day's factor is lognormal with mean 1: never negative, so that colder is never less.
    """
    from forecaster.burn_model import paths as loops

    log_sd = np.sqrt(np.log1p(day_noise**2))
    return Chances(
        stratum=rng.random(),
        order=rng.permutation(paths),
        state=rng.standard_normal((paths, STATES)),
        offset=rng.standard_normal(paths),
        slow=loops.wander(rng.standard_normal((paths, days)), float(np.exp(-1.0 / slow_days))).astype(
            np.float32
        ),
        day=np.exp(log_sd * rng.standard_normal((paths, days)) - 0.5 * log_sd**2).astype(np.float32),
        slow_days=slow_days,
        surprise=rng.standard_normal(paths),
    )


def draw_states(
    posterior: Posterior, chances: Chances, *, spread: float | None = None
) -> tuple[npt.NDArray[np.int64], Floats]:
    """Draw grid points by their weight and states from each point's Gaussian.

    Parameters
    ----------
    posterior : Posterior
    chances : Chances
    spread : float, optional
        Extra spread of the intensities; without it, that which houses kept aside taught. [-]

    Returns
    -------
    point : int array, shape (path,)
    state : float array, shape (path, 6)
        (V, base, slope, sun, stove, m); the intensities clipped at zero and departed from, see
        `forecaster.surprise`.
    """
    from forecaster.burn_model import paths as loops

    paths = len(chances.order)
    edges = np.cumsum(posterior.weight)
    at = (np.arange(paths) + chances.stratum) / paths * edges[-1]
    point = np.minimum(np.searchsorted(edges, at, side="left"), len(edges) - 1)
    return point, _depart(
        loops.states_of(posterior.mean, posterior.cov, point, chances.state), posterior, chances, spread
    )


def _depart(state: Floats, posterior: Posterior, chances: Chances, spread: float | None) -> Floats:
    """Let the intensities of each path depart by what no burn model knows; changes ``state``, shape (path, 6)."""
    extra = extra_spread().at(posterior.history_days) if spread is None else spread
    state[:, 1:5] *= np.exp(extra * chances.surprise - 0.5 * extra**2)[:, None]
    return state


def simulate_litres(
    posterior: Posterior,
    ahead: Drivers,
    *,
    day_share: Floats,
    oil_c: Floats,
    oil_now_c: float,
    density_15c: float,
    promised_l: Floats,
    offset_sd_l: float = 0.0,
    chances: Chances,
    settings: Settings | None = None,
    calibration: Calibration | None = None,
    spread: float | None = None,
) -> Paths:
    """Simulate the tank from the as-of instant on.

    Parameters
    ----------
    posterior : Posterior
        At the as-of instant.
    ahead : Drivers
        Drivers of the days ahead, scenario arrays with shape (scenario, day).
    day_share : float array, shape (day,)
        Part of each day that lies ahead: below 1 for the day of as-of only.
    oil_c : float array, shape (scenario, day)
        Temperature of the oil at the end of each day. [C]
    oil_now_c : float
        Temperature of the oil at the as-of instant. [C]
    density_15c : float
        Of the oil. [kg/m3]
    promised_l : float array, shape (day,)
        Bulk litres promised for each day. [L]
    offset_sd_l : float
        What all levels of this tank may be off by together: its table, the sensor's height. [L]
    chances : Chances
        At least as many days as ``ahead``.
    settings : Settings, optional
    calibration : Calibration, optional
        What forecasts with weather years have shown of their bands; None: the paths stay as they are simulated.
    spread : float, optional
        See `draw_states`.
    """
    from forecaster.burn_model import paths as loops

    s = settings or Settings()
    scenarios, days = ahead.temp_c.shape
    point, state = draw_states(posterior, chances, spread=spread)
    scenario_of = _scenario_of(scenarios, chances)
    # no number of readings averages away what they share
    offset = offset_sd_l * chances.offset
    bulk_per_15c = to_bulk_litres(1.0, oil_c, density_15c)
    burned, litres = loops.litres_paths(
        ahead.temp_c, ahead.sun_kwh_m2, ahead.stove_kwh, ahead.stove_rate, ahead.base_factor,
        ahead.heat_factor, day_share, scenario_of, posterior.base_c[point], posterior.inertia[point],
        posterior.season_c[point], posterior.smooth_c[point], posterior.mild_c, state,
        posterior.slow_sd[point], chances.slow, _fade(days, chances), chances.day, promised_l,
        bulk_per_15c, offset, s.rounding_k,
        posterior.kappa, posterior.omega, np.argsort(scenario_of, kind="stable"),
    )  # fmt: skip
    if calibration is not None:
        told = recalibrate_burn(burned, ahead.date, calibration=calibration)
        litres += np.cumsum(burned - told, axis=1) * bulk_per_15c[scenario_of]
        burned = told
    now = state[:, 0] * to_bulk_litres(1.0, np.asarray(oil_now_c), density_15c)
    return Paths(ahead.date, np.asarray(now) + offset, litres, burned, scenario_of, ahead.temp_c)


def _scenario_of(scenarios: int, chances: Chances) -> npt.NDArray[np.int64]:
    """Weather year of each path: each serves as many as any other, in an order unrelated to the grid's."""
    return np.resize(np.arange(scenarios), len(chances.order))[chances.order]


def _fade(days: int, chances: Chances) -> Floats:
    """What is left of today's slow departure on each day ahead."""
    fade: Floats = np.exp(-np.arange(days) / chances.slow_days)
    return fade


@dataclass(frozen=True, slots=True)
class DegreesAhead:
    """Degree-days ahead at every pair of a grid, for all tanks of a place: shape (scenario, pair, day). [K d]

    ``base_c``, ``inertia`` (exp(-1/tau)) and ``season_c`` of each, shape (pair,).
    """

    degree_days: Singles
    base_c: Floats
    inertia: Floats
    season_c: Floats


def lay_degrees_ahead(
    temp_c: Floats, posterior: Posterior, *, settings: Settings | None = None
) -> DegreesAhead:
    """Lay the degree-days ahead of a place once, for all tanks there that share a grid and a past.

    Parameters
    ----------
    temp_c : float array, shape (scenario, day)
        [C]
    posterior : Posterior
        Of any of these tanks at the same instant: its grid and smoothed temperatures are theirs too.
    settings : Settings, optional
    """
    from forecaster.burn_model import paths as loops

    pairs = np.stack([posterior.base_c, posterior.inertia, posterior.season_c, posterior.smooth_c])
    base_c, inertia, season_c, smooth_c = np.ascontiguousarray(np.unique(pairs, axis=1))
    out = np.empty((len(temp_c), len(base_c), temp_c.shape[1]), np.float32)
    loops.lay_degree_days(
        temp_c,
        base_c,
        inertia,
        season_c,
        smooth_c,
        posterior.mild_c,
        (settings or Settings()).rounding_k,
        out,
    )
    return DegreesAhead(out, base_c, inertia, season_c)


@dataclass(frozen=True, slots=True)
class Passages:
    """When each path first touches the heel, and its litres on some days.

    ``now_l`` bulk litres at as-of and ``run_dry`` as `forecaster.run_dry.run_dry_days` gives it, shape (path,);
    ``litres`` at the end of the days told, shape (path, told). [L, d, L]
    """

    now_l: Floats
    run_dry: Floats
    litres: Floats


def simulate_passages(
    posterior: Posterior,
    ahead: Drivers,
    degrees: DegreesAhead,
    *,
    day_share: Floats,
    bulk_per_15c: Floats,
    bulk_per_15c_now: float,
    promised_l: Floats,
    heel_l: float,
    told: npt.NDArray[np.int64],
    offset_sd_l: float = 0.0,
    chances: Chances,
    spread: float | None = None,
) -> Passages:
    """Simulate the tank as `simulate_litres` does, but keep only when it runs dry and a few days' litres.

    For fleets: no table of paths and days is written, and degree-days and oil are those of the place. The paths are
    those of the model: recalibrating them needs each path's rank.

    Parameters
    ----------
    degrees : DegreesAhead
        Of the drivers' scenarios.
    bulk_per_15c : float array, shape (scenario, day)
        Bulk litres per litre at 15 C, by the oil's temperature at each day's end; ``bulk_per_15c_now`` at as-of.
    heel_l : float
        Litres that the boiler cannot use. [L]
    told : int array
        Days whose litres are kept, rising.
    posterior, ahead, day_share, promised_l, offset_sd_l, chances, spread
        See `simulate_litres`; sun and base factor of ``ahead`` may be in single precision.

    Raises
    ------
    ValueError
        When the degree-days are of another grid than the posterior.
    """
    from forecaster.burn_model import passage
    from forecaster.burn_model import paths as loops

    days = ahead.temp_c.shape[1]
    point, pair = passage.drawn_pairs(
        posterior.weight, chances.stratum, len(chances.order), posterior.base_c, posterior.inertia,
        posterior.season_c, degrees.base_c, degrees.inertia, degrees.season_c,
    )  # fmt: skip
    if pair.min() < 0:
        raise ValueError("degree-days ahead were laid for another grid")
    state = _depart(
        loops.states_of(posterior.mean, posterior.cov, point, chances.state), posterior, chances, spread
    )
    offset = offset_sd_l * chances.offset
    run_dry, litres = passage.first_passage(
        degrees.degree_days, np.asarray(ahead.sun_kwh_m2, np.float32), ahead.stove_kwh, ahead.stove_rate,
        np.asarray(ahead.base_factor, np.float32), ahead.heat_factor, day_share, pair, state,
        posterior.slow_sd[point], chances.slow, _fade(days, chances), chances.day, promised_l, bulk_per_15c,
        offset, posterior.kappa, posterior.omega, heel_l, told, chances.order,
    )  # fmt: skip
    return Passages(state[:, 0] * bulk_per_15c_now + offset, run_dry, litres)
