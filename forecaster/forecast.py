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
from forecaster.fuel import to_bulk_litres
from forecaster.levels import OIL_DAYS, PLACES

Floats = npt.NDArray[np.float64]

SEED = 1
"""Every door makes its generator from this: same inputs, same answer."""
STATES = 6
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
    ``offset`` are standard normals of the state and of the levels' common error; ``slow`` standard
    normals and ``day`` positive factors with mean 1 of every path and day.
    """

    stratum: float
    order: npt.NDArray[np.int64]
    state: Floats
    offset: Floats
    slow: Floats
    day: Floats


def draw_chances(*, paths: int, days: int, day_noise: float, rng: np.random.Generator) -> Chances:
    """Draw the random numbers of a forecast.

    Parameters
    ----------
    paths, days : int
    day_noise : float
        Relative standard deviation of a day's burn about its expectation. [-]
    rng : Generator

    Notes
    -----
    A day's factor is lognormal with mean 1: never negative, so that colder is never less.
    """
    log_sd = np.sqrt(np.log1p(day_noise**2))
    return Chances(
        stratum=rng.random(),
        order=rng.permutation(paths),
        state=rng.standard_normal((paths, STATES)),
        offset=rng.standard_normal(paths),
        slow=rng.standard_normal((paths, days)),
        day=np.exp(log_sd * rng.standard_normal((paths, days)) - 0.5 * log_sd**2),
    )


def draw_states(posterior: Posterior, chances: Chances) -> tuple[npt.NDArray[np.int64], Floats]:
    """Draw grid points by their weight and states from each point's Gaussian.

    Returns
    -------
    point : int array, shape (path,)
    state : float array, shape (path, 6)
        (V, base, slope, sun, stove, m); the intensities clipped at zero.
    """
    paths = len(chances.order)
    edges = np.cumsum(posterior.weight)
    at = (np.arange(paths) + chances.stratum) / paths * edges[-1]
    point = np.minimum(np.searchsorted(edges, at, side="left"), len(edges) - 1)
    normal = chances.state
    state = np.empty_like(normal)
    for g in np.unique(point):
        mine = point == g
        # states without variance (no stove, no sun) have zero rows: factor by eigenvalues
        values, vectors = np.linalg.eigh(posterior.cov[g])
        root = vectors * np.sqrt(np.clip(values, 0.0, None))
        state[mine] = posterior.mean[g] + normal[mine] @ root.T
    state[:, 1:5] = np.clip(state[:, 1:5], 0.0, None)
    return point, state


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
    """
    from forecaster.burn_model import kernel

    s = settings or Settings()
    scenarios, days = ahead.temp_c.shape
    point, state = draw_states(posterior, chances)
    # each weather year serves as many paths as any other, in an order unrelated to the grid's
    scenario_of = np.resize(np.arange(scenarios), len(point))[chances.order]
    # no number of readings averages away what they share
    offset = offset_sd_l * chances.offset
    burned, litres = kernel.burn_paths(
        ahead.temp_c, ahead.sun_kwh_m2, ahead.stove_kwh, ahead.stove_rate, ahead.base_factor,
        ahead.heat_factor, day_share, scenario_of, posterior.base_c[point], posterior.inertia[point],
        posterior.smooth_c[point], np.ascontiguousarray(state[:, 1:5]), np.ascontiguousarray(state[:, 5]),
        posterior.slow_sd[point], chances.slow[:, :days], chances.day[:, :days],
        np.ascontiguousarray(state[:, 0]), promised_l, to_bulk_litres(1.0, oil_c, density_15c), offset,
        s.rounding_k, posterior.kappa, posterior.omega, float(np.exp(-1.0 / s.slow_days)),
    )  # fmt: skip
    now = state[:, 0] * to_bulk_litres(1.0, np.asarray(oil_now_c), density_15c)
    return Paths(ahead.date, np.asarray(now) + offset, litres, burned, scenario_of, ahead.temp_c)
