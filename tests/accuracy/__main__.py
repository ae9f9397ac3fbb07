"""``python -m tests.accuracy``: run the replays and print their tables; DIPCAST_DATA names a data folder.

Two parts: ``real`` (open data of real buildings) and ``simulated`` (houses whose truth is known, on fresh
seeds). Without a name both are run.
"""

import argparse
import os
from pathlib import Path

from tests.accuracy import run, tables
from tests.accuracy.calibration import out_of_date
from tests.accuracy.simulated import run as simulated
from tests.accuracy.simulated import tables as simulated_tables


def on_real_buildings() -> None:
    """Replay real buildings, and print."""
    folder = os.environ.get("DIPCAST_DATA", "")
    run.main(Path(folder) if folder else None)
    results = tables.load(run.RESULTS)
    for table in (
        tables.error_table, tables.command_table, tables.telling_table, tables.paired_table, tables.ahead_table,
    ):  # fmt: skip
        print(table(results), end="\n\n")
    print("\n".join(tables.losses(results)), end="\n\n")
    print("\n".join(tables.command_losses(results)))


def on_simulated_houses(*, world: str, houses: int, seed: int | None, workers: int) -> None:
    """Try every method on simulated houses, and print."""
    simulated.main(world=world, houses=houses, seed=seed, workers=workers)
    results = tables.load(simulated.RESULTS)
    print(simulated_tables.caption(results), end="\n\n")
    print(simulated_tables.score_table(results), end="\n\n")
    print(simulated_tables.score_table(results, receipts=False), end="\n\n")
    print(simulated_tables.cover_table(results), end="\n\n")
    print(simulated_tables.day_table(results), end="\n\n")
    print("\n".join(simulated_tables.losses(results)))


if __name__ == "__main__":
    asked = argparse.ArgumentParser(prog="python -m tests.accuracy")
    asked.add_argument("part", nargs="?", choices=("real", "simulated"))
    asked.add_argument("--houses", type=int, default=int(os.environ.get("HOUSES") or 100))
    asked.add_argument("--world", choices=tuple(simulated.WORLDS), default="reporting")
    asked.add_argument("--seed", type=int, help="of the simulated houses; without it, the hour's own")
    asked.add_argument("--workers", type=int, default=os.cpu_count() or 1, help="houses tried at a time")
    given = asked.parse_args()
    if warning := out_of_date():
        print(warning, end="\n\n")
    if given.part != "simulated":
        on_real_buildings()
    if given.part != "real":
        on_simulated_houses(world=given.world, houses=given.houses, seed=given.seed, workers=given.workers)
