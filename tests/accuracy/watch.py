"""``python -m tests.accuracy.watch``: how soon losses are found, and how often a sound house is alarmed.

Flow     world, seed -> lives, sound and with one fault -> **scores by day; what is told on the day** -> watch.json

Scores by day come from one pass over a whole life: what is foretold at a day uses only what was read before it,
but for the grid point, which is that of the life's end. What a household is told (``told``) is worked out anew
for each as-of day by the whole engine, with nothing later. Lives with the same number differ by the fault alone.

Beside the engine stands what could be reached at all: the same test with an ideal sensor, with sensors that lack
their faults and then also their coarse steps, and with the real one but with the true house known, so that only its
people's chance is left (the mean burn of many drawn habits in the weather that came).
"""

import argparse
import json
import platform
from collections.abc import Iterator, Mapping
from dataclasses import asdict, dataclass, replace
from datetime import UTC, datetime
from importlib.metadata import version
from pathlib import Path

import numpy as np
import numpy.typing as npt

from forecaster.anomalies import Watch, WatchSettings, watch_level
from forecaster.anomalies.watch import raised
from forecaster.anomalies.watch_rows import Terms
from forecaster.burn_model import Posterior, fit_burn_model
from forecaster.civil import instant
from forecaster.climate import normal_day
from forecaster.deliveries import find_rises
from forecaster.fuel import to_bulk_litres
from forecaster.pipeline import Inputs, known_at, place_normals
from forecaster.pipeline.behind import Behind, additions, learn_behind, observations, past_litres
from forecaster.readings import Quantity, Readings
from tests.accuracy.watch_faults import QUIET_D, inputs_at, measure_delays, measure_geometry, measure_told
from tests.accuracy.world import REPORTING, TUNING, Faults, Life, World, draw_life
from tests.accuracy.world.oracle import oracle_litres

Floats = npt.NDArray[np.float64]
RESULTS = Path(__file__).with_suffix(".json")
WORLDS = {"tuning": TUNING, "reporting": REPORTING}
LIFE_D, AFTER_D = 1095, 75
"""Length of a sound life; days that a life goes on after its fault. [d]"""
FAULT_FIRST_D, FAULT_LAST_D = 370, 735
LEAKS_L_PER_DAY, THEFTS_L = (1.0, 2.0, 5.0, 10.0), (30.0, 50.0, 100.0)
WITHIN_D = (3.0, 7.0, 14.0, 30.0, 60.0)
"""Counted from the midnight at which a leak begins, and from the end of the day of a theft. [d]"""
AS_THEY_ARE, IDEAL, ORACLE = "as they are", "ideal", "as they are, the true house known"
SOUND, FINE = "never silent, stuck or wrong", "never silent, stuck or wrong, a step of 1 mm"
HABITS = 60
"""So many drawn habits stand for the people of a house whose truth is known otherwise."""
DAY = np.timedelta64(1, "D")


@dataclass(frozen=True, slots=True)
class Found:
    """How soon losses of one kind are found: share of them by days, and the median (inf: fewer than half)."""

    sensor: str
    kind: str
    losses: int
    median_d: float
    within_d: dict[str, float]
    within_se: dict[str, float]


@dataclass(frozen=True, slots=True)
class Quiet:
    """How often sound houses are alarmed by the watch."""

    sensor: str
    tank_years: float
    alarms_in_10_years: float
    se: float
    alarm_days_a_year: float


def with_ideal_sensor(life: Life) -> Life:
    """The same life read to a millimetre at the end of each day by a sensor that errs in nothing."""
    shape = life.house.shape
    dip = shape.dip_mm(np.clip(life.level_l, 0.0, shape.capacity_l))
    ullage = np.round((life.tank.sensor_height_mm or 0.0) - dip)
    at = np.asarray((life.date + 1).astype("datetime64[s]") - np.timedelta64(60, "s"), "datetime64[s]")
    unknown = np.full(len(at), np.nan)
    readings = Readings(at, np.full(len(at), Quantity.ULLAGE_MM.value), ullage, unknown, life.oil_c)
    tank = replace(
        life.tank, shape=shape, resolution_mm=1.0, sensor_assumed_air_c=None, table_sd_fraction=0.0
    )
    return replace(life, readings=readings, tank=tank)


def with_sensors(world: World, sensor: str) -> World:
    """The same world, its sensors without what `SOUND` and `FINE` leave out: each house keeps its draws."""
    if sensor not in (SOUND, FINE):
        return world
    sound = replace(world, spikes=0.0, dropouts=0.0, stuck_a_year=0.0, silent_a_year=0.0)
    return replace(sound, resolution_mm=(1.0,) * len(world.resolution_mm)) if sensor == FINE else sound


def learn(life: Life, *, day: int) -> tuple[Inputs, Behind, Posterior]:
    """The engine's stages up to the burn model, at the end of a day of a life."""
    known = known_at(inputs_at(life, day))
    normals, today = place_normals(known), life.date[day] + 1
    known, behind = learn_behind(known, normals, today=today)
    year = np.arange(today, today + 365, dtype="datetime64[D]")
    posterior = fit_burn_model(
        behind.drivers, behind.midnights, observations(behind, known.tank), additions(behind, known.tank),
        behind.house.prior, as_of=instant(known.as_of), normal_temp_c=normal_day(normals, year)[0],
        capacity_l=known.tank.capacity_l, past_litres=past_litres(known, behind, normals), settings=known.model,
    )  # fmt: skip
    return known, behind, posterior


def scores_of(
    life: Life, *, watch: WatchSettings | None = None, last: int = 10_000, oracle: bool = False
) -> Watch:
    """Scores of the days of a life, by what was learnt of the house or by the truth."""
    known, behind, posterior = learn(life, day=len(life.date) - 1)
    return watch_level(
        observations(behind, known.tank), additions(behind, known.tank), behind.drivers, behind.midnights,
        posterior, behind.house.prior, settings=known.model, watch=watch, last=last,
        terms=true_terms(life, behind) if oracle else None,
    )  # fmt: skip


def true_terms(life: Life, behind: Behind) -> Terms:
    """The true house's mean burn over its people's chance, as the one term of the burn."""
    sky = life.weather
    burned = oracle_litres(
        life, as_of_day=0, temp_c=sky.temp_c[None, 1:], ghi_wh_m2=sky.ghi_wh_m2[None, 1:],
        rng=np.random.default_rng(1), samples=HABITS,
    ).mean(axis=0)  # fmt: skip
    a_day = np.diff(burned, prepend=0.0)
    day = (behind.drivers.date - life.date[1]).astype(np.int64)
    mean = a_day[np.clip(day, 0, len(a_day) - 1)]
    # the second term stands where the heating's degree-days do, whose doubt needs none here
    return Terms(
        np.stack([mean, 0.0 * mean], axis=1), np.array([1.0, 0.0]), np.array([0.02, 0.0]), np.zeros(2)
    )


def alarm_times(scores: Watch, watch: WatchSettings) -> npt.NDArray[np.datetime64]:
    """Days with an alarm of a loss."""
    return scores.at[raised(scores, sign=1, watch=watch)]


def count_alarms(at: npt.NDArray[np.datetime64]) -> int:
    """Alarms that are further apart than `QUIET_D`."""
    apart = np.diff(at) / DAY > QUIET_D
    return int(apart.sum()) + 1 if len(at) else 0


def quiet(scores: list[Watch], watch: WatchSettings, *, sensor: str) -> Quiet:
    """Count alarms of sound houses; the standard error is that of a count."""
    years = sum(float((s.at[-1] - s.at[0]) / DAY) for s in scores if len(s.at)) / 365.25
    times = [alarm_times(s, watch) for s in scores]
    count = sum(count_alarms(t) for t in times)
    return Quiet(
        sensor, round(years, 1), round(10.0 * count / years, 2), round(10.0 * max(count, 1) ** 0.5 / years, 2),
        round(sum(len(t) for t in times) / years, 2),
    )  # fmt: skip


def delay_d(scores: Watch, began: np.datetime64, watch: WatchSettings) -> float | None:
    """Days from a loss to its alarm, inf for never; None where one was on already."""
    times = alarm_times(scores, watch)
    before = times[times < began]
    if len(before) and float((began - before[-1]) / DAY) <= QUIET_D:
        return None
    after = times[times >= began]
    return float((after[0] - began) / DAY) if len(after) else np.inf


def found(delays: list[float | None], *, sensor: str, kind: str) -> Found:
    """Summarise delays."""
    d = np.array([x for x in delays if x is not None])
    share = {f"{w:g}": float((d <= w).mean()) for w in WITHIN_D}
    return Found(
        sensor, kind, len(d), round(float(np.median(d)), 1), {k: round(v, 3) for k, v in share.items()},
        {k: round(float(np.sqrt(v * (1 - v) / len(d))), 3) for k, v in share.items()},
    )  # fmt: skip


@dataclass(frozen=True, slots=True)
class Loss:
    """A leak that begins on a day and goes on, or a theft on that day."""

    litres: float
    at_once: bool

    def on(self, day: int) -> Faults:
        """As a fault of a life."""
        return Faults(theft=(day, self.litres)) if self.at_once else Faults(leak=(day, self.litres))


LOSSES: Mapping[str, Loss] = {
    **{f"leak of {litres:g} l/d": Loss(litres, at_once=False) for litres in LEAKS_L_PER_DAY},
    **{f"{litres:g} l at once": Loss(litres, at_once=True) for litres in THEFTS_L},
}


def lives(world: World, seed: int, number: int) -> Iterator[tuple[str, int, Life]]:
    """One house: its sound life (day -1), and one life for each loss, with the day on which it begins."""
    day = int(np.random.default_rng([seed, number, 1]).integers(FAULT_FIRST_D, FAULT_LAST_D))
    for kind, fault in {"sound": None, **LOSSES}.items():
        chance = np.random.default_rng([seed, number])
        if fault is None:
            yield kind, -1, draw_life(world, chance, days=LIFE_D)
        else:
            yield kind, day, draw_life(world, chance, days=day + AFTER_D, faults=fault.on(day))


def measure_losses(
    world: World, *, seed: int, houses: int, watch: WatchSettings, sensor: str = AS_THEY_ARE
) -> tuple[Quiet, list[Found]]:
    """Alarms of sound lives, and delays of each loss."""
    sound: list[Watch] = []
    delays: dict[str, list[float | None]] = {kind: [] for kind in LOSSES}
    world = with_sensors(world, sensor)
    for number in range(houses):
        for kind, day, drawn in lives(world, seed, number):
            seen = with_ideal_sensor(drawn) if sensor == IDEAL else drawn
            scores = scores_of(seen, watch=watch, oracle=sensor == ORACLE)
            if day < 0:
                sound.append(scores)
                continue
            # a theft is over by the end of its day, a leak begins with it
            began = drawn.date[day].astype("datetime64[s]") + int(LOSSES[kind].at_once) * DAY
            delays[kind].append(delay_d(scores, began, watch))
    return quiet(sound, watch, sensor=sensor), [found(d, sensor=sensor, kind=k) for k, d in delays.items()]


@dataclass(frozen=True, slots=True)
class Pours:
    """Deliveries without a ticket: share found three days later, and the error of their litres.

    Attributes
    ----------
    shown
        Share that the sensor showed at all by then: not silent, nor stuck.
    error_median_pct, bias_median_pct
        Against the true litres.
    table_median_pct
        What the tank's table itself errs by over the true levels before and after: no level can tell better.
    own_median_pct, own_median_l
        Against the litres that the table would have made of the true levels.
    """

    deliveries: int
    found: float
    found_se: float
    shown: float
    found_of_shown: float
    error_median_pct: float
    bias_median_pct: float
    table_median_pct: float
    own_median_pct: float
    own_median_l: float
    false_in_10_years: float


def measure_pours(world: World, *, seed: int, houses: int) -> Pours:
    """Deliver to each house once without a ticket, and look for rises three days later and over the life."""
    seen, shown, false, years = [], [], 0, 0.0
    off: list[tuple[float, float, float]] = []
    for number in range(houses):
        day = int(np.random.default_rng([seed, number, 2]).integers(60, 700))
        litres = float(np.random.default_rng([seed, number, 3]).choice([300.0, 500.0, 500.0, 700.0, 900.0]))
        fault = Faults(silent_delivery=(day, litres))
        life = draw_life(world, np.random.default_rng([seed, number]), days=day + 4, faults=fault)
        true = float(to_bulk_litres(life.delivered_l[day], life.oil_c[day], life.tank.fuel.density_15c))
        known, behind, _ = learn(life, day=day + 3)
        on = life.date[day].astype("datetime64[s]")
        years += (day + 4) / 365.25
        false += sum(
            float(life.delivered_l[max(k - 3, 0) : k + 4].sum()) == 0.0
            for r in find_rises(behind.levels, behind.deliveries) if r.confirmed
            for k in [int((r.at - life.date[0].astype("datetime64[s]")) / DAY)]
        )  # fmt: skip
        if true < 60.0 or (np.abs((behind.deliveries.at - on) / DAY) < 5).any():
            continue
        near = [r for r in behind.rises if abs(float((r.at - on) / DAY)) <= 3]
        seen.append(bool(near))
        late = behind.levels.litres[behind.levels.trusted() & (behind.levels.at >= on + DAY)]
        shown.append(bool(len(late)) and float(np.median(late)) > float(life.level_l[day - 1]) + 0.5 * true)
        if near:
            off.append((near[0].litres, true, _by_table(life, known, day)))
    share, count = float(np.mean(seen)), len(seen)
    told, truth, table = np.array(off).T
    error = 100.0 * (told / truth - 1.0)
    return Pours(
        count, round(share, 3), round(float(np.sqrt(share * (1 - share) / count)), 3),
        round(float(np.mean(shown)), 3), round(float(np.mean(np.array(seen)[np.array(shown)])), 3),
        round(float(np.median(np.abs(error))), 2), round(float(np.median(error)), 2),
        round(float(np.median(np.abs(100.0 * (table / truth - 1.0)))), 2),
        round(float(np.median(np.abs(100.0 * (told / table - 1.0)))), 2),
        round(float(np.median(np.abs(told - table))), 1), round(10.0 * false / years, 2),
    )  # fmt: skip


def _by_table(life: Life, known: Inputs, day: int) -> float:
    """Litres of a delivery by the tank's table as learnt, at the true levels of the evenings before and after."""
    dips = life.house.shape.dip_mm(life.level_l[day - 1 : day + 1])
    before, after = known.tank.shape.litres(np.clip(dips, 0.0, known.tank.shape.height_mm))
    return float(after - before + life.burned_l[day])


def main(*, world: str, houses: int, told_houses: int, seed: int | None, into: Path = RESULTS) -> None:
    """Measure, print, and keep the figures with what made them."""
    chosen = seed if seed is not None else int(datetime.now(UTC).strftime("%Y%m%d%H"))
    watch = WatchSettings()
    parts: dict[str, object] = {}
    for sensor in (AS_THEY_ARE, ORACLE, SOUND, FINE, IDEAL):
        alarm, losses = measure_losses(WORLDS[world], seed=chosen, houses=houses, watch=watch, sensor=sensor)
        parts[f"losses, sensors {alarm.sensor}"] = {
            "sound": asdict(alarm), "losses": [asdict(f) for f in losses],
        }  # fmt: skip
        print(alarm, *losses, sep="\n", flush=True)
    pours = measure_pours(WORLDS[world], seed=chosen, houses=2 * houses)
    print(pours, flush=True)
    told = measure_told(WORLDS[world], seed=chosen, houses=told_houses)
    print(told, flush=True)
    delays = measure_delays(WORLDS[world], seed=chosen, houses=told_houses)
    print(*delays, sep="\n", flush=True)
    sizes = measure_geometry(WORLDS[world], seed=chosen, houses=told_houses)
    print(sizes, flush=True)
    results = {
        "provenance": {
            "world": world, "seed": chosen, "houses": houses, "life_d": LIFE_D, "settings": asdict(watch),
            "made": datetime.now(UTC).isoformat(timespec="minutes"), "python": platform.python_version(),
            "versions": {name: version(name) for name in ("dipcast", "numpy", "numba")},
        },
        **parts, "deliveries without a ticket": asdict(pours), "told to sound houses": asdict(told),
        "told after a fault": [asdict(d) for d in delays],
        "told of a wrong size": sizes,
    }  # fmt: skip
    into.write_text(json.dumps(results, indent=1).replace("Infinity", "null") + "\n", "utf-8")


if __name__ == "__main__":
    asked = argparse.ArgumentParser(prog="python -m tests.accuracy.watch")
    asked.add_argument("--world", choices=tuple(WORLDS), default="reporting")
    asked.add_argument("--houses", type=int, default=100)
    asked.add_argument("--told-houses", type=int, default=60)
    asked.add_argument("--seed", type=int, help="without it, the hour's own")
    asked.add_argument("--into", type=Path, default=RESULTS)
    given = asked.parse_args()
    main(
        world=given.world,
        houses=given.houses,
        told_houses=given.told_houses,
        seed=given.seed,
        into=given.into,
    )
