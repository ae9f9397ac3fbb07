"""A tank's table learnt from tickets: what was poured in, against how far the level rose.

A ribbed or waisted tank, or one whose dimensions are not sure, holds more or less at a height than its table
says. Each delivery tells it for the heights that it filled: litres of the ticket over litres of the rise.

Flow     tank, pours -> factor by height -> **tank with a corrected table**
Formula  litres(h) = ∫₀^h S(z)·F(z) dz, F linear between nodes, F ~ N(1, C), C = σ²(ρ + (1 − ρ)·e^(−d²/2ℓ²));
         σ such that the litres of the full tank have the table's own relative sd
Source   Gaussian linear regression; a ticket far off is weighed down as by Huber, Annals of Mathematical
         Statistics 35 (1964) 73-101, from memory
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from forecaster.errors import OutOfRangeError
from forecaster.tanks.shape import Shape
from forecaster.tanks.strapping import StrappingTable
from forecaster.tanks.tank import Tank
from forecaster.units import Floats

NODES = 13
"""The factor is told at so many heights, from the bottom to the top."""
SHARED, REACH = 0.5, 0.25
"""ρ, part of the variance that all heights share; ℓ, how far the rest reaches, as part of the height. [-]"""
STEP_MM = 2.0
"""Rows of the corrected table. [mm]"""
FAR_SD = 2.0
"""A ticket further off than so many standard deviations pulls no harder than one as far off as that. [-]"""
BOUND_SD = 3.0
"""No factor leaves 1 by more than so many of its prior standard deviations, nor by more than half. [-]"""
ROUNDS = 20
LEAST_SD = 0.01
"""What all tickets may be off by together, by the basis of their litres: no table is known better. [-]"""


@dataclass(frozen=True, slots=True)
class Pour:
    """One delivery against the level.

    Attributes
    ----------
    dip_before_mm, dip_after_mm
        Between which heights it filled the tank. [mm]
    rise_l
        Litres that the level rose, by the tank's table, burn in between counted. [l]
    ticket_l, sd_l
        Litres of the ticket, and the sd of ticket against rise. [l]
    """

    dip_before_mm: float
    dip_after_mm: float
    rise_l: float
    ticket_l: float
    sd_l: float


@dataclass(frozen=True, slots=True, eq=False)
class LearntTable:
    """A factor on a table by height, and what is left open of it.

    Attributes
    ----------
    height_mm, factor, factor_sd
        At the nodes, shape (node,). [mm, -, -]
    tank
        With the corrected table; its safe fill and heel stand at the dips where they stood.
    """

    height_mm: Floats
    factor: Floats
    factor_sd: Floats
    tank: Tank


def learn_table(tank: Tank, pours: Sequence[Pour]) -> LearntTable:
    """Correct a tank's table by what tickets say.

    Parameters
    ----------
    tank : Tank
        Its ``table_sd_fraction`` says how far the table may be off; at 0 nothing is learnt.
    pours : sequence of Pour

    Returns
    -------
    LearntTable

    Notes
    -----
    Litres rise with the dip whatever the tickets say, because no factor is below a half. Heights that no
    delivery filled follow their neighbours, as far as ``REACH`` goes.

    Examples
    --------
    A moulded tank that really holds 6 % more than its plate says:

    >>> from forecaster.fuel import KEROSENE
    >>> from forecaster.tanks.upright import Moulded
    >>> tank = Tank(Moulded(1300.0, 1200.0), KEROSENE, safe_fill_l=1235.0, heel_l=45.0, table_sd_fraction=0.05)
    >>> rises = [(200.0, 1000.0), (150.0, 1050.0), (300.0, 1080.0)]
    >>> pours = [
    ...     Pour(a, b, rise, 1.06 * rise, 9.0)
    ...     for a, b in rises
    ...     for rise in [float(tank.shape.litres(b) - tank.shape.litres(a))]
    ... ]
    >>> learnt = learn_table(tank, pours).tank
    >>> round(learnt.capacity_l), round(learnt.table_sd_fraction, 3)
    (1373, 0.017)
    """
    shape = tank.shape
    heights = np.linspace(0.0, shape.height_mm, NODES)
    dips, litres = _rows(shape)
    by_node = _litres_by_node(dips, litres, heights)
    cov = _prior(heights, by_node[-1], tank.table_sd_fraction)
    factor = np.ones(NODES)
    told = [p for p in pours if p.rise_l > 0 and p.sd_l > 0 and p.dip_after_mm > p.dip_before_mm]
    if not told or tank.table_sd_fraction <= 0:
        return LearntTable(heights, factor, np.sqrt(np.diag(cov)), tank)
    prior_sd = np.sqrt(np.diag(cov))
    factor, cov = _regress(cov, *_equations(told, dips, by_node))
    bound = np.minimum(BOUND_SD * prior_sd, 0.5)
    factor = np.clip(factor, 1.0 - bound, 1.0 + bound)
    corrected = StrappingTable(tuple(dips.tolist()), tuple((by_node @ factor).tolist()))
    return LearntTable(
        heights,
        factor,
        np.sqrt(np.maximum(np.diag(cov), 0.0)),
        _with_table(tank, corrected, by_node, cov, dips),
    )


def _rows(shape: Shape) -> tuple[Floats, Floats]:
    """The table in small steps, with a strapping table's own rows among them."""
    low = 0.0
    try:
        shape.litres(low)
    except OutOfRangeError as outside:
        low = outside.low
    count = max(int(np.ceil((shape.height_mm - low) / STEP_MM)), 2)
    own = shape.dips_mm if isinstance(shape, StrappingTable) else ()
    dips = np.unique(np.concatenate([np.linspace(low, shape.height_mm, count + 1), np.asarray(own, float)]))
    litres = shape.litres(dips)
    rising = np.concatenate([[True], np.diff(litres) > 0])
    return dips[rising], litres[rising]


def _litres_by_node(dips: Floats, litres: Floats, heights: Floats) -> Floats:
    """Litres at each dip that each node answers for, shape (dip, node); rows sum to the litres."""
    middle = (dips[1:] + dips[:-1]) / 2.0
    share = np.stack([np.interp(middle, heights, np.eye(NODES)[k]) for k in range(NODES)], axis=1)
    grown = np.cumsum(np.diff(litres)[:, None] * share, axis=0)
    below = litres[0] * np.array([np.interp(dips[0], heights, np.eye(NODES)[k]) for k in range(NODES)])
    return np.concatenate([below[None], below + grown])


def _prior(heights: Floats, whole: Floats, sd_fraction: float) -> Floats:
    """Covariance of the factors, such that the whole tank's litres have the relative sd."""
    away = (heights[:, None] - heights[None, :]) / (REACH * heights[-1])
    cov = SHARED + (1.0 - SHARED) * np.exp(-(away**2) / 2.0)
    weight = whole / whole.sum()
    return np.asarray(cov * sd_fraction**2 / float(weight @ cov @ weight))


def _equations(told: Sequence[Pour], dips: Floats, by_node: Floats) -> tuple[Floats, Floats, Floats]:
    """Litres of each node in each rise, the tickets, and their sd."""
    rows = []
    for pour in told:
        ends = [
            np.array([np.interp(dip, dips, by_node[:, k]) for k in range(NODES)])
            for dip in (pour.dip_before_mm, pour.dip_after_mm)
        ]
        filled = ends[1] - ends[0]
        rows.append(filled * (pour.rise_l / max(filled.sum(), 1e-9)))
    return np.array(rows), np.array([p.ticket_l for p in told]), np.array([p.sd_l for p in told])


def _regress(prior: Floats, rows: Floats, tickets: Floats, sd: Floats) -> tuple[Floats, Floats]:
    """Update the factors by all tickets, those far off weighed down; mean and covariance."""
    weight = np.ones(len(tickets))
    mean, cov = np.ones(NODES), prior
    for _ in range(ROUNDS):
        spread = rows @ prior @ rows.T + np.diag(sd**2 / weight)
        gain = np.linalg.solve(spread, rows @ prior).T
        mean = 1.0 + gain @ (tickets - rows.sum(axis=1))
        cov = prior - gain @ rows @ prior
        away = np.abs(tickets - rows @ mean) / sd
        new = np.minimum(1.0, FAR_SD / np.maximum(away, 1e-9))
        if np.allclose(new, weight, atol=1e-4):
            break
        weight = new
    return mean, (cov + cov.T) / 2.0


def _with_table(tank: Tank, corrected: StrappingTable, by_node: Floats, cov: Floats, dips: Floats) -> Tank:
    """The tank with its corrected table; limits stay at their dips, and the error is what is left."""
    var = np.einsum("dk,kl,dl->d", by_node, cov, by_node)
    litres = by_node.sum(axis=1)
    used = (litres >= tank.heel_l) & (litres <= tank.safe_fill_l)
    left = np.sqrt(np.maximum(var[used], 0.0)) / np.maximum(litres[used], 1e-9)
    sd = float(np.average(left, weights=litres[used])) if used.any() else tank.table_sd_fraction
    safe_fill, heel = (
        float(corrected.litres(np.clip(tank.shape.dip_mm(v), dips[0], dips[-1])))
        for v in (tank.safe_fill_l, tank.heel_l)
    )
    return replace(
        tank,
        shape=corrected,
        safe_fill_l=safe_fill,
        heel_l=heel,
        table_sd_fraction=min(max(sd, LEAST_SD), tank.table_sd_fraction),
    )
