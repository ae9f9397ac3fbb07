"""The burn model and the paths, tank by tank, where a place's weather is laid out once for all tanks there."""

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import numpy.typing as npt

from forecaster.burn_model import Drivers, Posterior, degrees_of, filtering
from forecaster.burn_model.changes import Changes, opened
from forecaster.burn_model.fleet import FleetTank, Station, fit_fleet, station_of
from forecaster.burn_model.lanes import spread_out, to_lanes
from forecaster.burn_model.laying import step_rows
from forecaster.burn_model.prior import first_known, spared_ratios
from forecaster.burn_model.running import _numbers
from forecaster.burn_model.steps import cut_steps, place_in_days
from forecaster.burn_model.updating import go_on, update_burn_model
from forecaster.forecast import draw_chances, lay_degrees_ahead, simulate_passages
from tests.benchmarks.timing import Figure, timed

Floats = npt.NDArray[np.float64]

SEED = 20240601
FEW = 20
"""Tanks fitted together."""


def fleet_figures(
    tank: FleetTank, midnights: npt.NDArray[np.datetime64], *, as_of: np.datetime64
) -> list[Figure]:
    """Times of one tank with two years of daily readings, each part by itself and all together."""
    year = np.full(365, 10.0)
    station = station_of(tank.drivers.temp_c, midnights, year)
    grid = station.settings.grid
    points = len(spread_out(grid).base_c)
    posterior = next(fit_fleet(station, [tank], as_of=as_of))
    return [
        timed(
            "degree-days of a place, two years",
            lambda: degrees_of(tank.drivers.temp_c, grid=grid, rounding_k=station.settings.rounding_k),
            runs=30,
        ),
        timed("preparation of a tank: steps, weather rows", lambda: prepare(tank, station, as_of=as_of), runs=50),
        timed(f"filter: two years, {points} grid points", _filter_of(tank, station, as_of=as_of), runs=50),
        timed(
            f"fit: two years, {points} grid points", lambda: list(fit_fleet(station, [tank], as_of=as_of)), runs=50
        ),
        timed(
            f"fit of {FEW} tanks of a place, each",
            lambda: list(fit_fleet(station, [tank] * FEW, as_of=as_of)), jobs=FEW,
        ),
        *_of_one_reading(tank, station, as_of=as_of),
        *(
            timed(f"run-dry days: {paths:,} paths, {days} days", _passages(posterior, paths, days), runs=30)
            for paths, days in ((500, 180), (2_000, 180))
        ),
    ]  # fmt: skip


def prepare(tank: FleetTank, station: Station, *, as_of: np.datetime64) -> tuple[Floats, Floats]:
    """All that comes before a tank's first step: time cut into steps, weather summed over them, steps laid out."""
    s, seen, drivers = station.settings, tank.observations, tank.drivers
    start = np.datetime64(seen.at[0], "s")
    steps = cut_steps(start, as_of, seen.at, tank.additions)
    x = step_rows(
        station.degrees.degree_days, drivers.sun_kwh_m2, drivers.stove_kwh, drivers.stove_rate, drivers.base_factor,
        drivers.heat_factor, *spared_ratios(tank.prior), place_in_days(steps, start, station.midnights),
    )  # fmt: skip
    table = filtering.lay_steps(
        steps.days, steps.added_l, steps.added_var, steps.reading, seen.litres, seen.sd_l, seen.bulk_per_15c,
        seen.at_least, seen.learnt(), opened(steps, start, Changes.none(), drift=s.drift), s.slow_days, s.day_noise,
        s.floor_sd_l, s.forgetting,
    )  # fmt: skip
    return x, table


def _filter_of(tank: FleetTank, station: Station, *, as_of: np.datetime64) -> Callable[[], object]:
    """The compiled filter alone."""
    s, points = station.settings, spread_out(station.settings.grid)
    x, table = prepare(tank, station, as_of=as_of)
    known = first_known(
        tank.prior, start=np.datetime64(tank.observations.at[0], "s"), first_temp_c=float(tank.drivers.temp_c[0]),
        normal_temp_c=station.normal_temp_c, capacity_l=tank.capacity_l, past_litres=None, settings=s,
    )  # fmt: skip
    lanes = to_lanes(_numbers(known, points), points)
    return lambda: filtering.run_grid(
        lanes.copy(), x, table, s.gate, s.gate_cost, s.escape_after, s.escape_sd_l**2
    )


def _of_one_reading(tank: FleetTank, station: Station, *, as_of: np.datetime64) -> list[Figure]:
    """A new reading: the filter's step, as a part of two years' steps, and the whole update of a kept state."""
    steps = len(prepare(tank, station, as_of=as_of)[1])
    seen, last = tank.observations, tank.observations.at[-1]
    before = seen.at[np.flatnonzero(~seen.repeats)[-2]]
    kept = update_burn_model(
        None, tank.drivers, station.midnights, seen.where(seen.at < last), tank.additions, tank.prior,
        as_of=last, normal_temp_c=station.normal_temp_c, capacity_l=tank.capacity_l, settled=before,
        degrees=station.degrees,
    ).stored  # fmt: skip
    assert kept is not None
    day = int(np.searchsorted(station.midnights, kept.known.at, side="right")) - 1
    drivers = replace(
        tank.drivers, **{name: getattr(tank.drivers, name)[day:] for name in Drivers.__dataclass_fields__}
    )
    new, midnights = seen.where(seen.at > kept.known.at), station.midnights[day:]

    def update() -> object:
        return go_on(kept, drivers, midnights, new, tank.additions, as_of=last, settings=station.settings)

    arithmetic = timed("", _filter_of(tank, station, as_of=as_of), runs=50, jobs=steps)
    return [
        replace(arithmetic, name="a new reading: arithmetic of the filter"),
        timed("a new reading: update of a kept state", update, runs=50),
    ]


def _passages(posterior: Posterior, paths: int, days: int) -> Callable[[], object]:
    """One tank of a fleet, half as many weather years as paths."""
    rng = np.random.default_rng(SEED)
    temp_c, none = rng.normal(6.0, 5.0, (paths // 2, days)), np.zeros(days)
    ahead = Drivers(
        np.datetime64("2024-01-01") + np.arange(days), temp_c,
        # of the place too, so laid once in the precision in which the paths take them
        rng.uniform(0.0, 3.0, temp_c.shape).astype(np.float32),  # type: ignore[arg-type]
        np.ones_like(temp_c, np.float32),  # type: ignore[arg-type]
        none + 1.0, none, none,
    )  # fmt: skip
    degrees = lay_degrees_ahead(temp_c, posterior)
    chances = draw_chances(paths=paths, days=days, day_noise=0.3, rng=rng)
    return lambda: simulate_passages(
        posterior, ahead, degrees, day_share=none + 1.0, bulk_per_15c=np.ones_like(temp_c), bulk_per_15c_now=1.0,
        promised_l=none, heel_l=50.0, told=np.array([14, 30, 60]), chances=chances,
    )  # fmt: skip
