"""How a job is timed: several runs after a warm-up, the median and the least of them."""

import os
import shutil
import statistics
import subprocess
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path


@dataclass(frozen=True, slots=True)
class Figure:
    """One measured time of one job: ``name`` what was timed, ``median_ms`` and ``least_ms`` over ``runs``."""

    name: str
    median_ms: float
    least_ms: float
    runs: int


def timed(name: str, job: Callable[[], object], *, runs: int = 9, warm: int = 1, jobs: int = 1) -> Figure:
    """Time a job within this process; one that does ``jobs`` of its kind is told as one of them."""
    for _ in range(warm):
        job()
    times = []
    for _ in range(runs):
        start = time.perf_counter()
        job()
        times.append(1e3 * (time.perf_counter() - start) / jobs)
    return Figure(name, round(statistics.median(times), 4), round(min(times), 4), runs)


def command(name: str, *words: str, runs: int = 5, cache: Path | None = None) -> Figure:
    """Time a whole process; with ``cache``, one that finds that folder empty each time."""
    found = {"PYTHONHASHSEED": "0"} | ({"XDG_CACHE_HOME": str(cache)} if cache else {})

    def job() -> None:
        if cache:
            shutil.rmtree(cache, ignore_errors=True)
        subprocess.run(words, check=True, capture_output=True, env={**os.environ, **found})

    return timed(name, job, runs=runs)
