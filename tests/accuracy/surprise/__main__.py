"""``python -m tests.accuracy.surprise``: learn the extra spread on houses kept aside, and write its table.

The houses are of the tuning world, but others than those that settings and priors were chosen on; nothing is ever
learnt from the reporting world.

Flow     lives -> forecasts as the engine makes them, without extra spread -> pooled by history and lead
         -> **spread that each length of history needs** -> forecaster/tables/extra_spread.csv
"""

import argparse
import csv
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import replace
from datetime import UTC, datetime
from functools import partial
from pathlib import Path
from typing import NamedTuple

import numpy as np

import forecaster.tables
from forecaster.backtest import end_of_day, open_window
from forecaster.burn_model import Settings
from forecaster.burn_model.stored import settings_digest
from forecaster.pipeline import work_out
from forecaster.surprise import LEVELS, Pooled, spread_needed
from tests.accuracy.simulated.houses import DAYS_AHEAD, SEED, SimulatedHouse, shared_chances
from tests.accuracy.world import TUNING, draw_life

TABLE = Path(forecaster.tables.__file__).parent / "extra_spread.csv"
KEPT_ASIDE_SEED = 7171
"""Houses of this seed were never looked at when settings and priors were chosen."""
LEADS = (14, 30, 60)
LIFE_D = 1060
HISTORIES = {2: (2,), 8: (8,), 22: (15, 30), 60: (45, 60, 75), 120: (90, 120, 150), 240: (180, 210, 250, 300)}
LATER = tuple(range(365, LIFE_D - max(LEADS), 60))
HISTORIES[365] = LATER
"""Days of history at which the houses are asked, by the knot of the table that they speak for."""
WITHOUT_RECEIPTS = 4
"""Every so many houses has no receipts."""
SAMPLES = 100
"""Of each forecast are kept, in the middle of equal shares."""


class Case(NamedTuple):
    """One forecast: days of history, lead, samples kept, litres that came."""

    history_days: int
    lead_days: int
    samples_l: np.ndarray
    actual_l: float


def ask_house(number: int, *, seed: int) -> list[Case]:
    """Ask one house on all its days, as the engine answers without extra spread."""
    life = draw_life(TUNING, np.random.default_rng([seed, number]), days=LIFE_D)
    house = SimulatedHouse(f"kept aside {number}", life, seed + number)
    record = house.record(receipts=number % WITHOUT_RECEIPTS != 0)
    model, found = Settings(), []
    middle = (np.arange(SAMPLES) + 0.5) / SAMPLES
    for days in (d for asked in HISTORIES.values() for d in asked):
        window = open_window(record.inputs, end_of_day(life.date[days - 1].item(), "UTC"))
        inputs = replace(
            window.inputs, weather_ahead=house.years(window.today), horizon_days=DAYS_AHEAD - 1, model=model,
            chances=shared_chances(model.day_noise), spread=0.0,
        )  # fmt: skip
        burned_l = np.cumsum(work_out(inputs, rng=np.random.default_rng(SEED)).paths.burned_l, axis=1)
        for lead in LEADS:
            samples = np.quantile(burned_l[:, lead - 1], middle)
            found.append(Case(days, lead, samples, record.burned_over_l(window.today, lead)))
    return found


def pooled(cases: Sequence[Case], history: int) -> Iterator[Pooled]:
    """Pool the cases of a knot by lead."""
    for lead in LEADS:
        mine = [c for c in cases if c.history_days in HISTORIES[history] and c.lead_days == lead]
        yield Pooled(np.array([c.samples_l for c in mine]), np.array([c.actual_l for c in mine]))


def rows_of(cases: Sequence[Case], *, houses: int, seed: int, day: str) -> Iterator[dict[str, object]]:
    """Learn each knot; what came of the bands is kept beside it, by lead."""
    for history in HISTORIES:
        leads = list(pooled(cases, history))
        spread = spread_needed(leads)
        yield {
            "history_days": history, "spread": spread, "cases": len(leads[0].actual_l),
            "held_before": _told(leads), "held_with_it": _told([lead.widened(spread) for lead in leads]),
            "houses": houses, "world": TUNING.name, "seed": seed,
            "settings": settings_digest(Settings()).hex(), "made_on": day,
            "source": "houses simulated and kept aside: tests.accuracy.surprise",
        }  # fmt: skip


def _told(leads: Sequence[Pooled]) -> str:
    """Percent held by the bands, lead by lead: such as 52/78/91 50/77/90 49/76/91."""
    return " ".join("/".join(f"{100 * held:.0f}" for held in lead.covers()) for lead in leads)


def main(*, houses: int, seed: int, workers: int, say: Callable[[str], None] = print) -> None:
    """Ask the houses, learn, and write the table."""
    with ProcessPoolExecutor(workers) as pool:
        cases = [case for found in pool.map(partial(ask_house, seed=seed), range(houses)) for case in found]
    rows = list(rows_of(cases, houses=houses, seed=seed, day=datetime.now(UTC).date().isoformat()))
    with TABLE.open("w", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, list(rows[0]), lineterminator="\n")
        writer.writeheader()
        writer.writerows(rows)
    levels = "/".join(f"{100 * level:.0f}" for level in LEVELS)
    for row in rows:
        before, after = row["held_before"], row["held_with_it"]
        say(f"{row['history_days']} d: {row['spread']}; {levels} at {LEADS}: {before} -> {after}")


if __name__ == "__main__":
    asked = argparse.ArgumentParser(prog="python -m tests.accuracy.surprise")
    asked.add_argument("--houses", type=int, default=120)
    asked.add_argument("--seed", type=int, default=KEPT_ASIDE_SEED)
    asked.add_argument("--workers", type=int, default=2)
    given = asked.parse_args()
    main(houses=given.houses, seed=given.seed, workers=given.workers)
