"""Learn the recalibration on houses of the tuning world, and show on others what it does.

    python -m tests.accuracy.calibration --houses 120 --seed 4201 --held-out 40

Nothing of the reporting world is looked at. Houses are asked through the engine's whole pipeline, as the service
calls it, uncalibrated; at most two processes. What is learnt goes to the engine's table with its provenance.

Flow     world, seed -> uncalibrated forecasts -> **outcomes among their paths** -> calibration.csv
         other houses -> **cover of the bands before and after**
"""

import argparse
import csv
import io
import subprocess
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from functools import partial
from multiprocessing import get_context
from pathlib import Path
from typing import TypeVar

import numpy as np

from forecaster.backtest import LEVELS, end_of_day, open_window, season_of
from forecaster.burn_model import Settings
from forecaster.burn_model.stored import settings_digest
from forecaster.calibration import (
    Calibration,
    Learnt,
    Outcomes,
    learn_calibration,
    packaged_calibration,
    recalibrate_burn,
    scores_of,
    to_rows,
)
from forecaster.calibration.table import LEADS_D
from forecaster.pipeline import Inputs, work_out
from forecaster.scores import crps, pit
from tests.accuracy.data import Floats
from tests.accuracy.simulated.houses import DAYS_AHEAD, SEED, SimulatedHouse, shared_chances
from tests.accuracy.simulated.run import houses_of
from tests.accuracy.simulated.tables import head, over, row
from tests.accuracy.simulated.trials import HISTORIES, as_of_days
from tests.accuracy.world import TUNING

T = TypeVar("T")
Outcome = tuple[str, int, np.datetime64, float]
"""Tank, lead, middle of the span, score."""

ROOT = Path(__file__).parents[2]
TABLE = ROOT / "forecaster" / "tables" / "calibration.csv"
HOUSES, SEED_OF_HOUSES, HELD_OUT = 120, 4201, 40
HELD_OUT_SEED = 5303
PROCESSES = 2
MODEL_CODE = (
    "forecaster/burn_model", "forecaster/climate", "forecaster/dwelling", "forecaster/forecast.py",
    "forecaster/surprise.py", "forecaster/tables/extra_spread.csv",
)  # fmt: skip
"""Where a change may make other bands."""


@dataclass(frozen=True, slots=True, eq=False)
class Forecasted:
    """One uncalibrated forecast: its paths' burn on each day, and what came, by lead. [L]"""

    tank: str
    as_of: np.datetime64
    history_days: int
    date: np.ndarray
    burned_l: Floats
    came_l: dict[int, float]


def forecasts_of(house: SimulatedHouse) -> Iterator[Forecasted]:
    """Ask the engine, uncalibrated, on the days on which a house is asked."""
    record = house.record(receipts=True)
    for day in as_of_days(record.date):
        window = open_window(record.inputs, end_of_day(day.item(), "UTC"))
        paths = work_out(_asked(window.inputs, house, window.today), rng=np.random.default_rng(SEED)).paths
        came = {lead: record.burned_over_l(window.today, lead) for lead in LEADS_D}
        yield Forecasted(
            house.name, day, window.history_days, paths.date, paths.burned_l,
            {lead: litres for lead, litres in came.items() if np.isfinite(litres)},
        )  # fmt: skip


def _asked(inputs: Inputs, house: SimulatedHouse, today: np.datetime64) -> Inputs:
    return replace(
        inputs, weather_ahead=house.years(today), horizon_days=DAYS_AHEAD - 1, calibration=None,
        chances=shared_chances(Settings().day_noise),
    )  # fmt: skip


def outcomes_of(forecasts: Iterator[Forecasted]) -> Iterator[Outcome]:
    """Where outcomes fell: tank, lead, middle of the span, score."""
    for f in forecasts:
        for lead, came in f.came_l.items():
            samples = f.burned_l[:, :lead].sum(axis=1)
            yield f.tank, lead, f.date[0] + lead // 2, scores_of(came, samples)


@dataclass(frozen=True, slots=True)
class Seen:
    """One held-out outcome: its place among the paths and its score, before and after. [-, L]"""

    history_days: int
    season: str
    lead_days: int
    pit: tuple[float, float]
    crps_l: tuple[float, float]


def seen_of(forecasts: Iterator[Forecasted], calibration: Calibration) -> Iterator[Seen]:
    """Set forecasts beside what came, before and after recalibration."""
    for f in forecasts:
        after = recalibrate_burn(f.burned_l, f.date, calibration=calibration)
        for lead, came in f.came_l.items():
            both = [burned[:, :lead].sum(axis=1) for burned in (f.burned_l, after)]
            yield Seen(
                f.history_days, str(season_of(np.array([f.as_of]))[0]), lead,
                (float(pit(came, both[0])), float(pit(came, both[1]))),
                (float(crps(came, both[0])), float(crps(came, both[1]))),
            )  # fmt: skip


def cover_table(seen: Sequence[Seen]) -> str:
    """Share of outcomes within the 50, 80 and 95 % bands before -> after, and the ratio of the scores."""
    lines = [head("held-out houses: in the 50 / 80 / 95 % band, %", *(f"{lead} days" for lead in LEADS_D))]
    groups = {
        name: [s for s in seen if first <= s.history_days <= last]
        for name, (first, last) in HISTORIES.items()
    }
    groups |= {f"as of {name}": [s for s in seen if s.season == name] for name in _seasons(seen)}
    for name, group in (groups | {"all": list(seen)}).items():
        cells = [_cell([s for s in group if s.lead_days == lead]) for lead in LEADS_D]
        lines.append(row(f"{name} ({len(group) // len(LEADS_D)})", *cells))
    return "\n".join(lines)


def _seasons(seen: Sequence[Seen]) -> list[str]:
    return list(dict.fromkeys(s.season for s in seen))


def _cell(seen: Sequence[Seen]) -> str:
    if not seen:
        return "–"
    before, after = (
        over(f"{100.0 * np.mean([abs(s.pit[i] - 0.5) <= level / 2.0 for s in seen]):.0f}" for level in LEVELS)
        for i in (0, 1)
    )
    ratio = sum(s.crps_l[1] for s in seen) / sum(s.crps_l[0] for s in seen)
    return f"{before} → {after}; CRPS × {ratio:.3f}"


def out_of_date(calibration: Calibration | None = None) -> str:
    """Say in a sentence what has changed since the packaged calibration was learnt; empty where nothing has."""
    learnt = (calibration or packaged_calibration()).learnt
    if learnt.settings != settings_digest(Settings()).hex():
        return f"The calibration of {learnt.on} was learnt with other settings of the model: make calibrate."
    changed = subprocess.run(
        ["git", "diff", "--quiet", learnt.revision, "--", *MODEL_CODE], cwd=ROOT, check=False,
        capture_output=True,
    ).returncode  # fmt: skip
    if changed:
        return f"The model's code has changed since the calibration of {learnt.on} ({learnt.revision}): make calibrate."
    return ""


def collect(*, seed: int, count: int, processes: int = PROCESSES) -> tuple[tuple[Outcome, ...], ...]:
    """Outcomes of some houses of the tuning world, house by house, in several processes."""
    return _in_processes(partial(_outcomes_of_house, seed), count, processes)


def held_out(
    calibration: Calibration, *, seed: int, count: int, processes: int = PROCESSES
) -> tuple[Seen, ...]:
    """Outcomes of houses from which nothing was learnt, before and after."""
    found = _in_processes(partial(_seen_of_house, seed, calibration), count, processes)
    return tuple(s for seen in found for s in seen)


def learn(found: Sequence[Sequence[Outcome]], *, seed: int, revision: str) -> Calibration:
    """Learn from the outcomes of some houses, with their provenance."""
    tank, lead, middle, score = zip(*(outcome for of_house in found for outcome in of_house), strict=True)
    learnt = Learnt(
        TUNING.name,
        seed,
        len(found),
        len(score),
        datetime.now(UTC).date(),
        settings_digest(Settings()).hex(),
        revision,
    )
    outcomes = Outcomes(
        np.array(tank), np.array(lead, np.int64), np.array(middle, "datetime64[D]"), np.array(score)
    )
    return learn_calibration(outcomes, learnt)


def to_csv(calibration: Calibration) -> str:
    """Write the table as it is packaged."""
    rows = to_rows(calibration)
    text = io.StringIO()
    writer = csv.DictWriter(text, list(rows[0]), lineterminator="\n")
    writer.writeheader()
    writer.writerows(rows)
    return text.getvalue()


def main(*, houses: int, seed: int, check: int, processes: int = PROCESSES) -> None:
    """Learn, write the table, and print what it does on other houses."""
    calibration = learn(
        collect(seed=seed, count=houses, processes=processes), seed=seed, revision=_revision()
    )
    TABLE.write_text(to_csv(calibration), encoding="utf-8")
    if check:
        print(cover_table(held_out(calibration, seed=HELD_OUT_SEED, count=check, processes=processes)))


def _revision() -> str:
    told = subprocess.run(
        ["git", "rev-parse", "--short=12", "HEAD"], cwd=ROOT, check=True, capture_output=True, text=True
    )
    return told.stdout.strip()


def _in_processes(ask: Callable[[int], T], count: int, processes: int) -> tuple[T, ...]:
    if processes < 2:
        return tuple(ask(number) for number in range(count))
    with ProcessPoolExecutor(processes, mp_context=get_context("spawn")) as pool:
        return tuple(pool.map(ask, range(count)))


def _house(seed: int, number: int) -> SimulatedHouse:
    return next(houses_of(TUNING, seed=seed, count=1, first=number))


def _outcomes_of_house(seed: int, number: int) -> tuple[Outcome, ...]:
    return tuple(outcomes_of(forecasts_of(_house(seed, number))))


def _seen_of_house(seed: int, calibration: Calibration, number: int) -> tuple[Seen, ...]:
    return tuple(seen_of(forecasts_of(_house(seed, number)), calibration))


if __name__ == "__main__":
    asked = argparse.ArgumentParser(prog="python -m tests.accuracy.calibration")
    asked.add_argument("--houses", type=int, default=HOUSES)
    asked.add_argument("--seed", type=int, default=SEED_OF_HOUSES)
    asked.add_argument("--held-out", type=int, default=HELD_OUT, help="other houses on which it is shown")
    asked.add_argument("--processes", type=int, default=PROCESSES)
    given = asked.parse_args()
    main(houses=given.houses, seed=given.seed, check=given.held_out, processes=given.processes)
