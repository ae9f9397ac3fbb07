"""What the worlds are like, in figures, beside measured houses.

Flow     lives, measured houses -> **figures** -> a table (``python -m tests.accuracy.world``)
Formula  scatter: sd of the sums of 30 days about the best of a degree-day line with base by best fit, over the
         mean of 30 days;  base load in K: litres a day without heating over litres a degree-day
"""

from collections.abc import Callable, Iterable, Iterator, Sequence

import numpy as np

from forecaster.degree_days import mean_degree_days
from forecaster.scores import crps
from tests.accuracy.data import belgian_houses
from tests.accuracy.world.homes import World
from tests.accuracy.world.life import Life, draw_life, weather_years_for
from tests.accuracy.world.oracle import oracle_litres
from tests.accuracy.world.records import Floats

DAYS = 1095
HORIZONS = (14, 30, 60)
BLOCK_D = 30
BASES_C = np.arange(9.0, 22.0, 0.5)
SAMPLES, EVERY_D, FIRST_D = 300, 120, 90
QUANTILES = (0.1, 0.5, 0.9)


def degree_day_line(temp_c: Floats, burned: Floats) -> tuple[float, float, Floats]:
    """Fit burn a day = base load + slope x degree-days, the base temperature by best fit.

    Returns
    -------
    base load, slope, rest
        In the unit of ``burned``, a day and a K·d; the rest of shape (day,).

    Examples
    --------
    >>> temp = np.linspace(-5.0, 25.0, 400)
    >>> load, slope, rest = degree_day_line(temp, 2.0 + 0.5 * mean_degree_days(temp, base_c=15.0))
    >>> round(load, 3), round(slope, 3), bool(np.abs(rest).max() < 1e-9)
    (2.0, 0.5, True)
    """
    best: tuple[float, float, float, Floats] | None = None
    for base_c in BASES_C:
        columns = np.column_stack([np.ones_like(temp_c), mean_degree_days(temp_c, base_c=float(base_c))])
        load, slope = np.linalg.lstsq(columns, burned, rcond=None)[0]
        rest = burned - columns @ np.array([load, slope])
        squares = float(rest @ rest)
        if best is None or squares < best[0]:
            best = squares, float(load), float(slope), rest
    assert best is not None
    return best[1:]


def scatter_of_months(temp_c: Floats, burned: Floats) -> float:
    """Sd of 30 days' burn about the degree-day line, over the mean burn."""
    rest = degree_day_line(temp_c, burned)[2]
    months = rest[: rest.size // BLOCK_D * BLOCK_D].reshape(-1, BLOCK_D).mean(axis=1)
    return float(months.std() / burned.mean())


def base_load_k(temp_c: Floats, burned: Floats) -> float:
    """Base load over slope. [K]"""
    load, slope, _ = degree_day_line(temp_c, burned)
    return load / slope


FIGURES: dict[str, Callable[[Life], float]] = {
    "litres a year": lambda v: 365.25 * float(v.burned_l.mean()),
    "floor, m²": lambda v: v.house.floor_m2,
    "heat loss, W/K": lambda v: v.house.loss_w_per_k,
    "heating, kWh a m² and year": lambda v: 365.25 * float(v.sums[:, 1].mean()) / v.house.floor_m2,
    "hot water, kWh a year": lambda v: 365.25 * float(v.sums[:, 2].mean()),
    "capacity, l": lambda v: v.tank.capacity_l,
    "deliveries a year": lambda v: 365.25 * len(v.deliveries) / v.date.size,
    "readings a day": lambda v: len(v.readings) / v.date.size,
    "base load, K": lambda v: base_load_k(v.weather.temp_c, v.burned_l),
    "scatter of 30 days": lambda v: scatter_of_months(v.weather.temp_c, v.burned_l),
}
"""One number a life; the table gives its quantiles."""


def lives_of(world: World, *, houses: int, seed: int) -> tuple[Life, ...]:
    """Draw some lives of a world."""
    return tuple(draw_life(world, np.random.default_rng([seed, i]), days=DAYS) for i in range(houses))


def table(worlds: Sequence[World], *, houses: int, seed: int) -> str:
    """Print the figures of some worlds as Markdown: 10 %, 50 % and 90 % of their houses, and the oracle's scores."""
    lives = [lives_of(world, houses=houses, seed=seed) for world in worlds]
    rows = [_row("", *(world.name for world in worlds)), "|---" * (len(worlds) + 1) + "|"]
    for name, figure in FIGURES.items():
        rows.append(_row(name, *(_quantiles(figure(life) for life in of) for of in lives)))
    scored = [oracle_scores(of) for of in lives]
    for horizon in HORIZONS:
        cells = [f"{s[horizon][0]:.1f} l; 50 / 80 / 95 % bands hold {s[horizon][1]}" for s in scored]
        rows.append(_row(f"oracle, {horizon} days: CRPS", *cells))
    rows.append("")
    rows.extend(measured_rows())
    return "\n".join(rows)


def measured_rows() -> Iterator[str]:
    """The same two figures of the measured houses."""
    yield "Measured (package opengrid), base load in K and scatter of 30 days: " + "; ".join(
        f"{r.name} {base_load_k(r.temp_c, r.kwh):.1f}, {scatter_of_months(r.temp_c, r.kwh):.2f}"
        for r in belgian_houses()
    )


def oracle_scores(lives: Iterable[Life]) -> dict[int, tuple[float, str]]:
    """Mean CRPS of the oracle with the engine's weather years, and how often its bands hold, by horizon."""
    scores: dict[int, list[tuple[float, float]]] = {horizon: [] for horizon in HORIZONS}
    for number, life in enumerate(lives):
        for day in range(FIRST_D + 7 * (number % 17), life.date.size - max(HORIZONS) - 1, EVERY_D):
            temp, ghi = weather_years_for(
                life, start=life.date[day] + 1, days=max(HORIZONS), scenarios=SAMPLES,
                rng=np.random.default_rng([1, number, day]),
            )  # fmt: skip
            litres = oracle_litres(
                life, as_of_day=day, temp_c=temp, ghi_wh_m2=ghi, rng=np.random.default_rng([2, number, day]),
                samples=SAMPLES,
            )  # fmt: skip
            came = np.cumsum(life.burned_l[day + 1 : day + 1 + max(HORIZONS)])
            for horizon in HORIZONS:
                sample, actual = litres[:, horizon - 1], came[horizon - 1]
                scores[horizon].append(
                    (
                        float(crps(np.array([actual]), sample[None, :])[0]),
                        float(0.5 * ((sample < actual).mean() + (sample <= actual).mean())),
                    )
                )
    return {horizon: _score(np.array(found)) for horizon, found in scores.items()}


def _score(found: Floats) -> tuple[float, str]:
    apart = np.abs(found[:, 1] - 0.5)
    return float(found[:, 0].mean()), " / ".join(
        f"{100.0 * (apart <= c / 2.0).mean():.0f}" for c in (0.5, 0.8, 0.95)
    )


def _quantiles(values: Iterable[float]) -> str:
    return " / ".join(f"{q:.3g}" if q < 1000 else f"{q:,.0f}" for q in np.quantile(list(values), QUANTILES))


def _row(*cells: str) -> str:
    return "| " + " | ".join(cells) + " |"
