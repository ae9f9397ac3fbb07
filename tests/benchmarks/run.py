"""What takes how long: the one-shot command, a tank in a running service, the parts of both, and rivals.

Each figure is the median and the least of several runs after a warm-up. Machines differ and drift: read the
ratios.
"""

import json
import os
import platform
import sys
import tempfile
from dataclasses import asdict, replace
from datetime import UTC, datetime
from pathlib import Path

import numpy as np

from api.sources.valley import make_valley
from forecaster.burn_model import house_drivers
from forecaster.burn_model.fleet import FleetTank
from forecaster.civil import civil_date, instant, zone_of
from forecaster.deliveries import parse_deliveries
from forecaster.dwelling import parse_survey
from forecaster.forecast import draw_chances
from forecaster.pipeline import Inputs, known_at, lay_weather_ahead, place_normals, work_out
from forecaster.pipeline.behind import additions, look_behind, observations
from forecaster.readings import parse_readings
from forecaster.tanks import parse_tank
from forecaster.weather import parse_weather
from tests.benchmarks.fleet import SEED, fleet_figures
from tests.benchmarks.rivals import AUTO_ETS, LIGHTGBM, STATSMODELS, rival_figures
from tests.benchmarks.timing import Figure, command, timed

RESULTS = Path(__file__).parent / "results.json"
HOUSE = "old-forge"


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
    tank = FleetTank(
        behind.drivers, observations(behind, known.tank), additions(behind, known.tank), behind.house.prior,
        known.tank.capacity_l,
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
        *fleet_figures(tank, behind.midnights, as_of=instant(known.as_of)),
    ]


def ratios_of(figures: list[Figure]) -> list[dict[str, object]]:
    """How many times as long a rival takes, by the least times of this run."""
    least = {f.name: f.least_ms for f in figures}
    ours = {name.split(":")[0]: name for name in least}
    fit, paths = ours["fit"], "run-dry days: 500 paths, 180 days"
    points = int(fit.split(", ")[1].split()[0])
    pairs = (
        (f"{STATSMODELS}, {points} times, to our fit", STATSMODELS, fit, points),
        (f"{AUTO_ETS}, to our fit", AUTO_ETS, fit, 1),
        (f"{LIGHTGBM}, to our run-dry days of 500 paths", LIGHTGBM, paths, 1),
    )
    return [
        {"what": what, "times": round(times * least[rival] / least[own], 1)}
        for what, rival, own, times in pairs
        if rival in least
    ]


def main() -> None:
    """Measure, print, write."""
    inputs, files = valley_inputs()
    before = os.getloadavg()[0]
    figures = [*one_shot(files, inputs.as_of.isoformat()), *in_process(inputs), *rival_figures()]
    found = {
        "date": datetime.now(UTC).date().isoformat(),
        "python": platform.python_version(),
        "processors": os.cpu_count(),
        "load_before": round(before, 1),
        "figures": [asdict(f) for f in figures],
        "ratios": ratios_of(figures),
    }
    RESULTS.write_text(json.dumps(found, indent=1) + "\n", encoding="utf-8")
    print(table(found))


def table(found: dict[str, object]) -> str:
    """Render results as Markdown tables."""
    figures, ratios = found["figures"], found["ratios"]
    assert isinstance(figures, list)
    assert isinstance(ratios, list)
    rows = ["| what | median, ms | least, ms | a second, at the least |", "|---|---|---|---|"]
    rows += [
        f"| {f['name']} | {_ms(f['median_ms'])} | {_ms(f['least_ms'])} | {_rate(f['least_ms'])} |"
        for f in figures
    ]
    rows += ["", "| rival | times as long |", "|---|---|"]
    rows += [f"| {r['what']} | {r['times']:,} |" for r in ratios]
    rows += ["", f"Other work on the machine when it began: a load of {found['load_before']}."]
    return "\n".join(rows)


def _ms(ms: float) -> str:
    """Three figures that count."""
    return f"{ms:,.0f}" if ms >= 100 else f"{ms:.3g}"


def _rate(ms: float) -> str:
    """How many a second."""
    return f"{1e3 / ms:,.0f}" if ms < 100 else f"{1e3 / ms:.2g}"
