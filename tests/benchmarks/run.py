"""What takes how long: the one-shot command, a tank in a running service, and the parts of both.

Each figure is the median of several runs after a warm-up. Machines differ and drift: read the ratios.
"""

import json
import os
import platform
import shutil
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from pathlib import Path

import numpy as np

from api.sources.valley import make_valley
from forecaster.burn_model import Drivers, Posterior, fit_burn_model, house_drivers
from forecaster.burn_model.reference import state_space_model
from forecaster.civil import civil_date, instant, zone_of
from forecaster.deliveries import parse_deliveries
from forecaster.dwelling import parse_survey
from forecaster.forecast import draw_chances, lay_degrees_ahead, simulate_passages
from forecaster.pipeline import Inputs, known_at, lay_weather_ahead, place_normals, work_out
from forecaster.pipeline.behind import additions, look_behind, observations
from forecaster.readings import parse_readings
from forecaster.tanks import parse_tank
from forecaster.weather import parse_weather

RESULTS = Path(__file__).parent / "results.json"
HOUSE = "old-forge"
SEED = 20240601


@dataclass(frozen=True, slots=True)
class Figure:
    """One measured time: ``name`` what was timed, ``median_ms`` and ``least_ms`` over ``runs``."""

    name: str
    median_ms: float
    least_ms: float
    runs: int


def timed(name: str, job: Callable[[], object], *, runs: int = 9, warm: int = 1) -> Figure:
    """Time a job within this process."""
    for _ in range(warm):
        job()
    times = []
    for _ in range(runs):
        start = time.perf_counter()
        job()
        times.append(1e3 * (time.perf_counter() - start))
    return Figure(name, round(statistics.median(times), 2), round(min(times), 2), runs)


def command(name: str, *words: str, runs: int = 5, cache: Path | None = None) -> Figure:
    """Time a whole process; with ``cache``, one that finds that folder empty each time."""
    found = {"PYTHONHASHSEED": "0"} | ({"XDG_CACHE_HOME": str(cache)} if cache else {})

    def job() -> None:
        if cache:
            shutil.rmtree(cache, ignore_errors=True)
        subprocess.run(words, check=True, capture_output=True, env={**os.environ, **found})

    return timed(name, job, runs=runs)


def valley_inputs() -> tuple[Inputs, dict[str, str]]:
    """Two years of daily readings of the plain house of the invented valley, and its files."""
    valley = make_valley()
    house = valley.house(HOUSE)
    files = {
        "tank.toml": house.tank_toml,
        "survey.toml": house.survey_toml,
        "readings.csv": house.readings_csv,
        "deliveries.csv": house.deliveries_csv,
        "weather.csv": valley.weather_csv,
    }
    inputs = Inputs(
        tank=parse_tank(house.tank_toml),
        as_of=valley.as_of,
        timezone=valley.timezone,
        readings=parse_readings(house.readings_csv).readings,
        weather=parse_weather(valley.weather_csv).weather,
        survey=parse_survey(house.survey_toml),
        deliveries=parse_deliveries(house.deliveries_csv, tz=valley.timezone)[0],
    )
    return inputs, files


def one_shot(files: dict[str, str], as_of: str) -> list[Figure]:
    """The command from files to JSON, and what of it is only start-up."""
    with tempfile.TemporaryDirectory() as folder:
        for name, text in files.items():
            (Path(folder) / name).write_text(text, encoding="utf-8")
        words = [str(Path(sys.executable).with_name("dipcast")), "forecast", "--as-of", as_of, "--json"]
        for option in ("tank", "survey", "readings", "deliveries", "weather"):
            suffix = "toml" if option in ("tank", "survey") else "csv"
            words += [f"--{option}", str(Path(folder) / f"{option}.{suffix}")]
        return [
            command("one-shot forecast, whole process", *words),
            command("the same, of a place and plane never met", *words, cache=Path(folder) / "cache"),
            command("start-up: Python alone", sys.executable, "-c", "pass"),
            command(
                "start-up: numpy, numba kernel", sys.executable, "-c", "import forecaster.burn_model.kernel"
            ),
            command("start-up: pvlib (with pandas, scipy)", sys.executable, "-c", "import pvlib"),
        ]


def in_process(inputs: Inputs) -> list[Figure]:
    """One tank in a running service, where weather ahead and random numbers are shared."""
    rng = np.random.default_rng(SEED)
    known = known_at(inputs)
    today = np.datetime64(civil_date(known.as_of, zone_of(known.timezone)), "D")
    normals = place_normals(known)
    behind = look_behind(known, normals, today=today)
    days = known.horizon_days + 1
    shared = replace(
        inputs,
        weather_ahead=lay_weather_ahead(known, behind.past, normals, start=today, days=days, rng=rng),
        chances=draw_chances(paths=known.paths, days=days, day_noise=known.model.day_noise, rng=rng),
    )
    year = np.full(365, 10.0)
    levels, tickets = observations(behind, known.tank), additions(behind, known.tank)

    def fit() -> Posterior:
        return fit_burn_model(
            behind.drivers, behind.midnights, levels, tickets, behind.house.prior,
            as_of=instant(known.as_of), normal_temp_c=year, capacity_l=known.tank.capacity_l,
        )  # fmt: skip

    def drivers() -> object:
        past = behind.past
        return house_drivers(past.date, past.temp_c, past.ghi_wh_m2, house=behind.house)

    return [
        timed("one tank, weather and chances shared", lambda: work_out(shared, rng=rng)),
        timed("one tank, all drawn anew", lambda: work_out(inputs, rng=rng)),
        timed(
            "readings, tickets, weather brought together", lambda: look_behind(known, normals, today=today)
        ),
        timed("drivers of two years", drivers),
        timed("fit: two years, 144 grid points", fit),
        timed("statsmodels: one filter pass, two years", _statsmodels_pass(), runs=5),
        *_fleet(fit()),
    ]


def _fleet(posterior: Posterior) -> list[Figure]:
    """Run-dry days of one tank of a fleet, where degree-days, oil and chances are those of the place."""
    return [
        timed(f"run-dry days: {paths:,} paths, {days} days", _passages(posterior, paths, days))
        for paths, days in ((500, 180), (2_000, 180))
    ]


def _passages(posterior: Posterior, paths: int, days: int) -> Callable[[], object]:
    """One tank of a fleet, half as many weather years as paths."""
    rng = np.random.default_rng(SEED)
    temp_c, none = rng.normal(6.0, 5.0, (paths // 2, days)), np.zeros(days)
    ahead = Drivers(
        np.datetime64("2024-01-01") + np.arange(days), temp_c, rng.uniform(0.0, 3.0, temp_c.shape),
        np.ones_like(temp_c), none + 1.0, none, none,
    )  # fmt: skip
    degrees = lay_degrees_ahead(temp_c, posterior)
    chances = draw_chances(paths=paths, days=days, day_noise=0.3, rng=rng)
    return lambda: simulate_passages(
        posterior, ahead, degrees, day_share=none + 1.0, bulk_per_15c=np.ones_like(temp_c), bulk_per_15c_now=1.0,
        promised_l=none, heel_l=50.0, told=np.array([14, 30, 60]), chances=chances,
    )  # fmt: skip


def _statsmodels_pass() -> Callable[[], object]:
    """The definition of one grid point, filtered by statsmodels over 730 daily steps."""
    rng = np.random.default_rng(SEED)
    n = 730
    x = np.column_stack([np.ones(n), rng.uniform(0, 12, n), -rng.uniform(0, 3, n), np.zeros(n)])
    burn = x @ np.array([1.0, 0.5, 0.4, 0.0])
    model = state_space_model(
        x=x, days=np.ones(n), burn=burn, added_l=np.zeros(n), added_var=np.zeros(n),
        y=4000 - np.cumsum(burn), z=np.ones(n), h=np.full(n, 16.0),
        a0=np.array([4000.0, 1.0, 0.5, 0.4, 0.0, 0.0]), p0=np.diag([1e4, 0.1, 0.02, 0.02, 1e-6, 0.02]),
        slow_sd=0.14, drift_sd=np.full(4, 0.01), slow_phi=0.978, day_noise=0.5, floor_sd=0.1,
    )  # fmt: skip
    return lambda: model.ssm.filter()


def main() -> None:
    """Measure, print, write."""
    inputs, files = valley_inputs()
    figures = [*one_shot(files, inputs.as_of.isoformat()), *in_process(inputs)]
    found = {
        "date": datetime.now(UTC).date().isoformat(),
        "python": platform.python_version(),
        "processors": os.cpu_count(),
        "figures": [
            {"name": f.name, "median_ms": f.median_ms, "least_ms": f.least_ms, "runs": f.runs}
            for f in figures
        ],
    }
    RESULTS.write_text(json.dumps(found, indent=1) + "\n", encoding="utf-8")
    print(table(found))


def table(found: dict[str, object]) -> str:
    """Render results as a Markdown table."""
    rows = ["| what | median, ms | least, ms |", "|---|---|---|"]
    figures = found["figures"]
    assert isinstance(figures, list)
    rows += [f"| {f['name']} | {f['median_ms']:,} | {f['least_ms']:,} |" for f in figures]
    return "\n".join(rows)
