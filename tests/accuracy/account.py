"""The account held against simulated houses that are not the model: do its intervals hold the truth?

    python -m tests.accuracy.account 36

The spread of the split was set on the world `TUNING`; the figures printed are of `REPORTING`.
"""

import sys
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta

import numpy as np

from forecaster.account import Account, Entry, make_account
from forecaster.pipeline import Inputs, work_out
from tests.accuracy.world import REPORTING, Life, draw_life
from tests.accuracy.world.physics import OUT

NAMES = ("burned", "hot_water", "heating")
LENGTHS = (120, 400, 730)
"""Days watched, in turn."""


@dataclass(frozen=True, slots=True)
class Held:
    """One figure against the truth."""

    name: str
    whole: bool
    inside: bool
    error: float


def account_of(life: Life) -> Account:
    """Account for a life, on the evening of its last day."""
    as_of = datetime.fromisoformat(str(life.date[-1])).replace(tzinfo=UTC) + timedelta(days=1)
    inputs = Inputs(
        tank=life.tank, as_of=as_of, readings=life.readings, weather=life.weather, deliveries=life.deliveries,
        receipts=life.receipts, survey=life.survey, horizon_days=30, paths=100,
    )  # fmt: skip
    working = work_out(inputs, rng=np.random.default_rng(1))
    return make_account(inputs, working, rng=np.random.default_rng(1))


def truth(life: Life, entry: Entry) -> dict[str, float]:
    """Litres of an entry's days, split as boiler and cooker gave their heat."""
    per_l = life.tank.fuel.gross_kwh_per_l
    cooker, water, heating = (
        life.sums[:, OUT.index(name)] for name in ("cooker_kwh", "hot_water_kwh", "heating_kwh")
    )
    both = water + heating
    share = np.divide(water, both, out=np.full_like(both, 0.5), where=both > 1e-9)
    base = cooker / per_l + (life.burned_l - cooker / per_l) * share
    weight = np.where(
        (life.date >= np.datetime64(entry.first)) & (life.date <= np.datetime64(entry.last)), 1.0, 0.0
    )
    begun = life.readings.at[0] - life.date[0].astype("datetime64[s]")
    if np.datetime64(entry.first) == life.date[0]:
        weight[0] -= begun / np.timedelta64(1, "D")
    burned = float(life.burned_l @ weight)
    return {"burned": burned, "hot_water": float(base @ weight), "heating": burned - float(base @ weight)}


def hold(life: Life) -> list[Held]:
    """Hold every month, and the whole, against the truth."""
    account = account_of(life)
    held = []
    for entry in (*account.months, *([account.total] if account.total else [])):
        true = truth(life, entry)
        for name in NAMES:
            figure = getattr(entry, name)
            inside = figure.low <= true[name] <= figure.high
            error = (figure.mean - true[name]) / max(true["burned"], 1.0)
            held.append(Held(name, entry is account.total, inside, error))
    return held


def report(held: Iterable[Held]) -> list[str]:
    """Give, for each part, how often the interval held the truth, and the mean error over the burn."""
    everything = list(held)
    lines = []
    for name in NAMES:
        months, whole = (
            [h for h in everything if h.name == name and h.whole is is_whole] for is_whole in (False, True)
        )
        lines.append(
            f"{name:10} held the truth: months {np.mean([h.inside for h in months]):.2f} of {len(months)}, "
            f"whole {np.mean([h.inside for h in whole]):.2f} of {len(whole)} (nominal 0.80); "
            f"mean error {np.mean([abs(h.error) for h in whole]):.3f} of the burn"
        )
    return lines


def main(houses: int) -> None:
    """Print the report of some houses."""
    held: list[Held] = []
    for seed in range(houses):
        rng = np.random.default_rng(9000 + seed)
        held += hold(draw_life(REPORTING, rng, days=LENGTHS[seed % len(LENGTHS)]))
    print("\n".join(report(held)))


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 36)
