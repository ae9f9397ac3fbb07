"""What the same takes by general packages: one filter pass, one series fitted, one tank's quantiles told.

They stand in a folder of their own beside the other packages (`make bench` fills it): only here is it looked at.
"""

import sys
from collections.abc import Callable
from pathlib import Path

import numpy as np

from forecaster.burn_model.reference import state_space_model
from tests.benchmarks.timing import Figure, timed

FOLDER = Path(sys.prefix) / "rivals"
SEED, DAYS = 20240601, 730
STATSMODELS = "statsmodels: one filter pass, two years"
AUTO_ETS = "statsforecast: AutoETS of two years, 102 days ahead"
LIGHTGBM = "LightGBM: quantiles of one tank, learnt before"


def rival_figures() -> list[Figure]:
    """Times of the rivals, as `tests.accuracy.rivals` uses them."""
    found = [timed(STATSMODELS, _statsmodels_pass(), runs=5)]
    if not FOLDER.exists():
        print(f"Without statsforecast and LightGBM: {FOLDER} is not there. `make bench` installs them.")
        return found
    sys.path.append(str(FOLDER))
    return [*found, timed(AUTO_ETS, _auto_ets(), runs=3), timed(LIGHTGBM, _trees(), runs=9)]


def _statsmodels_pass() -> Callable[[], object]:
    """The definition of one grid point, filtered by statsmodels over daily steps."""
    rng = np.random.default_rng(SEED)
    x = np.column_stack([np.ones(DAYS), rng.uniform(0, 12, DAYS), -rng.uniform(0, 3, DAYS), np.zeros(DAYS)])
    burn = x @ np.array([1.0, 0.5, 0.4, 0.0])
    model = state_space_model(
        x=x, days=np.ones(DAYS), burn=burn, added_l=np.zeros(DAYS), added_var=np.zeros(DAYS),
        y=4000 - np.cumsum(burn), z=np.ones(DAYS), h=np.full(DAYS, 16.0),
        a0=np.array([4000.0, 1.0, 0.5, 0.4, 0.0, 0.0]), p0=np.diag([1e4, 0.1, 0.02, 0.02, 1e-6, 0.02]),
        slow_sd=0.14, drift_sd=np.full(4, 0.01), slow_phi=0.978, day_noise=0.5, floor_sd=0.1,
    )  # fmt: skip
    return lambda: model.ssm.filter()


def _auto_ets() -> Callable[[], object]:
    """Litres burned so far, day by day, gone on with."""
    from tests.accuracy.rivals.series import FAR_D, _bands_of

    rng = np.random.default_rng(SEED)
    daily = 6.0 + 4.0 * np.cos(np.arange(DAYS) * 2 * np.pi / 365) + rng.normal(0.0, 1.0, DAYS)
    burned, bands = np.cumsum(np.maximum(daily, 0.0)), _bands_of("AutoETS")
    return lambda: bands(burned, FAR_D)


def _trees() -> Callable[[], object]:
    """All quantiles at all horizons of one tank, from trees that were grown before the clock runs."""
    import lightgbm

    from tests.accuracy.rivals.trees import LEARNT_D, LEVELS, PARAMETERS, ROUNDS

    rng = np.random.default_rng(SEED)
    x = rng.normal(size=(2_000, 22))
    y = x[:, 0] + 0.3 * rng.normal(size=len(x))
    grown = [
        lightgbm.train(
            {**PARAMETERS, "alpha": level}, lightgbm.Dataset(x, y, params={"verbosity": -1}), num_boost_round=ROUNDS
        )
        for level in LEVELS
    ]  # fmt: skip
    one = x[: len(LEARNT_D)]
    return lambda: [booster.predict(one, num_threads=1) for booster in grown]
