"""Where each grid point stands among the filter's lanes.

A point is a (base, inertia, season) triple and a (slow, noise) combination. Triples stand side by side, so that one row
of weather serves them all; combinations follow each other. Lanes that no point fills run along unused.
"""

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]
Index = npt.NDArray[np.int64]

STATES = 6
UPPER = np.triu_indices(STATES)
"""Rows and columns of a packed covariance."""
_PLACE = np.zeros((STATES, STATES), np.int64)
_PLACE[UPPER] = np.arange(len(UPPER[0]))
_PLACE = np.maximum(_PLACE, _PLACE.T)


@dataclass(frozen=True, slots=True)
class Grid:
    """Values of the five parameters that stand on the grid.

    Attributes
    ----------
    base_c
        Base temperature of the degree-days. [C]
    inertia_d
        Time constant of the smoothed outdoor temperature, 0 for none. [d]
    season_c
        Mean of mild days at which the heating is switched off, inf for never. [C]
    slow_sd
        Standard deviation of the slow relative departure. [-]
    noise
        Factor on the sensor's standard deviation. [-]
    """

    base_c: tuple[float, ...] = (13.0, 15.0, 17.0, 19.0, 21.0, 23.0)
    inertia_d: tuple[float, ...] = (0.0, 2.5)
    season_c: tuple[float, ...] = (math.inf, 14.5)
    slow_sd: tuple[float, ...] = (0.08, 0.25)
    noise: tuple[float, ...] = (1.0, 1.7)


@dataclass(frozen=True, slots=True, eq=False)
class Points:
    """The grid spread out, and where its points stand.

    ``base_c``, ``inertia`` (exp(-1/tau)), ``season_c``, ``slow_sd``, ``noise``, ``inertia_index`` and
    ``prior_index`` (which (base, season), seasons fastest) have shape (grid,). ``pair_base_c``,
    ``pair_inertia``, ``pair_season_c``, ``pair_inertia_index``: (row, pair). ``row``, ``lane``: row of weather of
    each point and its place there, (grid,). ``place``, shape (grid, number): index of each number of
    each point in the flat lanes, of which there are ``blocks``; ``middle`` the grid's middle point.
    """

    base_c: Floats
    inertia: Floats
    season_c: Floats
    slow_sd: Floats
    noise: Floats
    prior_index: Index
    inertia_index: Index
    pair_base_c: Floats
    pair_inertia: Floats
    pair_season_c: Floats
    pair_inertia_index: Index
    row: Index
    lane: Index
    place: Index
    blocks: int
    middle: int


@lru_cache(maxsize=16)
def spread_out(grid: Grid) -> Points:
    """Spread the grid out over points and lanes."""
    from forecaster.burn_model.filtering import ROWS, SIDE
    from forecaster.burn_model.weather_rows import PAIRS

    shape = (len(grid.base_c), len(grid.inertia_d), len(grid.season_c), len(grid.slow_sd), len(grid.noise))
    j, k, c, m, n = (i.ravel() for i in np.indices(shape))
    base_c, season_c = np.asarray(grid.base_c, float), np.asarray(grid.season_c, float)
    inertia = np.exp(-1.0 / np.maximum(np.asarray(grid.inertia_d, float), 1e-3))
    pairs, combinations = shape[0] * shape[1] * shape[2], shape[3] * shape[4]
    rows, each = -(-pairs // PAIRS), -(-combinations // SIDE)
    pair, combination = (j * shape[1] + k) * shape[2] + c, m * shape[4] + n
    row, lane = pair // PAIRS, pair % PAIRS
    block = row * each + combination // SIDE
    within = (combination % SIDE) * PAIRS + lane
    width = SIDE * PAIRS
    place = (block * ROWS * width + within)[:, None] + width * np.arange(ROWS)
    every = np.minimum(np.arange(rows * PAIRS), pairs - 1).reshape(rows, PAIRS)
    every_k = every // shape[2] % shape[1]
    return Points(
        base_c=base_c[j], inertia=inertia[k], season_c=season_c[c], slow_sd=np.asarray(grid.slow_sd, float)[m],
        noise=np.asarray(grid.noise, float)[n], prior_index=j * shape[2] + c, inertia_index=k,
        pair_base_c=base_c[every // (shape[1] * shape[2])], pair_inertia=inertia[every_k],
        pair_season_c=season_c[every % shape[2]], pair_inertia_index=every_k, row=row, lane=lane, place=place,
        blocks=rows * each, middle=int(np.ravel_multi_index(tuple((size - 1) // 2 for size in shape), shape)),
    )  # fmt: skip


def to_lanes(numbers: Floats, points: Points) -> Floats:
    """Lay the points' numbers, shape (grid, number), into lanes, shape (block, number * lane)."""
    from forecaster.burn_model.filtering import NOISE, ROWS, SIDE
    from forecaster.burn_model.weather_rows import PAIRS

    width = SIDE * PAIRS
    lanes = np.zeros((points.blocks, ROWS * width))
    lanes[:, NOISE * width : (NOISE + 1) * width] = 1.0  # of unused lanes too: their variance is not zero
    lanes.ravel()[points.place] = numbers
    return lanes


def unpack(packed: Floats) -> Floats:
    """Full symmetric matrices, shape (..., 6, 6), from their upper triangles, shape (..., 21)."""
    return packed[..., _PLACE]
