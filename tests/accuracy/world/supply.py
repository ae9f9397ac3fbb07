"""Oil bought: when it comes, how much, and what the tickets and bills say of it.

Flow     burn -> **deliveries** by a rule that never lets the tank run dry -> tickets, receipts that err
"""

from dataclasses import dataclass, replace

import numpy as np

from forecaster.deliveries import Deliveries, Receipts
from forecaster.fuel import to_bulk_litres, to_litres_at_15c
from forecaster.tanks import Shape, Tank
from tests.accuracy.world.homes import Supply
from tests.accuracy.world.records import Days, Floats, Ints

DELIVERED_C = 10.0
"""Oil from the lorry. Assumption. [degC]"""
LEAST_L = 200.0
"""No lorry comes for less. Assumption. [l]"""


@dataclass(frozen=True, slots=True, eq=False)
class Bought:
    """Deliveries in the course of a life.

    ``level_l``, ``lost_l`` and ``delivered_l`` of shape (day,), litres at 15 °C; ``hour`` (day,) at which a
    delivery comes; ``day``, ``bulk_l``, ``full``, ``ticketed`` of shape (delivery,): bulk litres at
    `DELIVERED_C`, whether filled up, and whether there is a ticket at all.
    """

    level_l: Floats
    lost_l: Floats
    delivered_l: Floats
    hour: Floats
    day: Ints
    bulk_l: Floats
    full: np.ndarray
    ticketed: np.ndarray

    def where(self, kept: np.ndarray) -> "Bought":
        """Only some of the deliveries."""
        return replace(
            self, day=self.day[kept], bulk_l=self.bulk_l[kept], full=self.full[kept],
            ticketed=self.ticketed[kept],
        )  # fmt: skip


def buy(
    burned_l: Floats, lost_l: Floats, *, oil_c: Floats, shape: Shape, tank: Tank, supply: Supply,
    rng: np.random.Generator, silent: tuple[int, float] | None, quiet_until: int,
) -> Bought:  # fmt: skip
    """Run the tank through its days, ordering early enough.

    Parameters
    ----------
    burned_l, lost_l
        Each day, litres at 15 °C. [l]
    oil_c
        Of the oil in the tank. [degC]
    shape, tank
        The true inside, and the tank as on file.
    supply
        How the household buys.
    rng
        Source of chance, drawn by the day: waiting time, hour.
    silent
        (day, litres) that come without a ticket.
    quiet_until
        The tank is begun full enough not to need oil before this day.
    """
    days = burned_l.size
    wait, hour = rng.integers(1, supply.lead_d + 1, days), rng.uniform(8.0, 17.0, days)
    begin = rng.uniform(0.5, 1.0)
    density = tank.fuel.density_15c
    top = 0.95 * shape.capacity_l
    heel = max(tank.heel_l, float(shape.litres(50.0)))
    usable = top - heel
    window = supply.lead_d + 3
    out = np.cumsum(np.concatenate([[0.0], burned_l + lost_l]))
    worst = float((out[window:] - out[:-window]).max())
    order_at = heel + max(supply.spare_share * usable, 1.05 * worst)

    level, gone, delivered = np.empty(days), np.zeros(days), np.zeros(days)
    at, bulk, full, ticketed = [], [], [], []
    now = max(heel + begin * usable, min(top, order_at + float(burned_l[:quiet_until].sum())))
    due = -1
    for day in range(days):
        gone[day] = min(lost_l[day], max(0.0, now - burned_l[day] - heel - 5.0))  # what there is to lose
        after = now - burned_l[day] - gone[day]
        if silent is not None and day == silent[0]:
            litres = min(silent[1], max(0.0, float(to_litres_at_15c(top, oil_c[day], density)) - after))
            delivered[day] += litres
            at.append(day)
            bulk.append(litres)
            full.append(False)
            ticketed.append(False)
        emergency = after + delivered[day] < heel + 5.0
        if (day == due or emergency) and delivered[day] == 0.0:
            room = float(to_litres_at_15c(top, oil_c[day], density)) - now
            wanted = room if supply.fixed_l == 0.0 else min(supply.fixed_l, room)
            if wanted >= min(LEAST_L, 0.3 * usable):
                delivered[day] += wanted
                at.append(day)
                bulk.append(float(to_bulk_litres(wanted, DELIVERED_C, density)))
                full.append(wanted == room)
                ticketed.append(True)
            due = -1
        now = after + delivered[day]
        level[day] = now
        if due < day and now < order_at:
            due = day + int(wait[day])
    return Bought(
        level, gone, delivered, hour, np.array(at, np.int64), np.array(bulk), np.array(full, bool),
        np.array(ticketed, bool),
    )  # fmt: skip


def tickets_of(
    bought: Bought, date: Days, supply: Supply, rng: np.random.Generator, *, extra: tuple[int, float] | None
) -> Deliveries:
    """Write the tickets of some deliveries, as a user enters them."""
    day, litres, filled = _written(bought, supply, rng)
    hour = bought.hour[bought.day]
    order = [(int(d), float(v), str(f), float(h)) for d, v, f, h in zip(day, litres, filled, hour, strict=True)
             if v > 0.0]  # fmt: skip
    if extra is not None:
        order.append((extra[0], round(extra[1]), "unknown", 12.0))
    order = sorted(o for o in order if 0 <= o[0] < date.size)
    number = np.full(len(order), np.nan)
    return Deliveries(
        at=np.array(
            [date[d].astype("datetime64[s]") + np.timedelta64(int(3600 * h), "s") for d, _, _, h in order],
            "datetime64[s]",
        ),
        litres=np.array([o[1] for o in order], float),
        filled=np.array([o[2] for o in order], "<U8"),
        removed=np.zeros(len(order), bool),
        basis=np.full(len(order), "unknown"),
        dip_before_mm=number,
        dip_after_mm=number.copy(),
    )


def receipts_of(bought: Bought, date: Days, supply: Supply, rng: np.random.Generator) -> Receipts:
    """Write the bills of some deliveries."""
    day, litres, filled = _written(bought, supply, rng)
    kept = (litres > 0.0) & (day >= 0)
    return Receipts(date[day[kept]], litres[kept], filled[kept])


def _written(bought: Bought, supply: Supply, rng: np.random.Generator) -> tuple[Ints, Floats, np.ndarray]:
    """Day, litres and note of each ticket; 0 litres where it is missing. Draws by number of the delivery."""
    n = bought.day.size
    error, chance, shift, mentions = (
        np.empty(n), np.empty((n, 2)), np.empty(n, np.int64), np.empty(n, bool),
    )  # fmt: skip
    for i in range(n):
        error[i], chance[i], shift[i] = rng.standard_normal(), rng.random(2), rng.integers(1, 5)
    day = bought.day + np.where(chance[:, 1] < supply.misdated, shift, 0)
    litres = np.round(bought.bulk_l * (1.0 + supply.ticket_sd * error))
    litres[(chance[:, 0] < supply.missing) | ~bought.ticketed] = 0.0
    mentions[:] = supply.mentions_fill
    filled = np.where(mentions, np.where(bought.full, "yes", "no"), "unknown").astype("<U8")
    return day, litres, filled
