"""The watch on simulated houses: its counts on made-up scores, and a gate on a few houses of the tuning world."""

import numpy as np
import pytest

from forecaster.anomalies import Watch, WatchSettings
from forecaster.anomalies.watch import KINDS
from tests.accuracy.watch import (
    AS_THEY_ARE,
    FINE,
    LIFE_D,
    LOSSES,
    alarm_times,
    count_alarms,
    delay_d,
    found,
    measure_losses,
    quiet,
    scores_of,
    with_ideal_sensor,
    with_sensors,
)
from tests.accuracy.world import TUNING, Faults, draw_life

ONE = WatchSettings(thresholds=(4.0, 4.0, 4.0))
FIRST = np.datetime64("2024-01-01T06:00:00")
DAY = np.timedelta64(86_400, "s")
SEED, HOUSES = 5, 3


def made_up(score: list[float]) -> Watch:
    """Scores of a leak, a day each."""
    table = np.zeros((len(score), len(KINDS)))
    table[:, 0] = score
    at = FIRST + np.arange(len(score)) * DAY
    return Watch(at, table, table, table, np.repeat(at[:, None] - 7 * DAY, len(KINDS), axis=1))


def test_alarms_close_together_are_one() -> None:
    """Two runs of alarms three weeks apart count as two, two a week apart as one."""
    run, weeks = [5.0, 5.0], [0.0] * 21
    assert count_alarms(alarm_times(made_up(run + weeks + run), ONE)) == 2
    assert count_alarms(alarm_times(made_up(run + weeks[:7] + run), ONE)) == 1


def test_rates_are_those_of_a_count() -> None:
    """One alarm in a year of days is ten in ten years, give or take ten."""
    year = quiet([made_up([5.0, 5.0] + [0.0] * 364)], ONE, sensor="made up")
    assert (year.alarms_in_10_years, year.se) == (pytest.approx(10.0, abs=0.1), pytest.approx(10.0, abs=0.1))


def test_a_delay_runs_from_the_loss_to_its_alarm() -> None:
    """It is none where an alarm is on already, and never comes where no alarm follows."""
    scores = made_up([0.0] * 20 + [5.0, 5.0] + [0.0] * 5)
    assert delay_d(scores, FIRST + 15 * DAY, ONE) == 6.0
    assert delay_d(scores, FIRST + 24 * DAY, ONE) is None
    assert delay_d(made_up([0.0] * 30), FIRST, ONE) == np.inf


def test_shares_leave_out_what_was_on_already() -> None:
    """Of two losses that count, one is found within a week, the other never; the third does not count."""
    told = found([5.0, np.inf, None], sensor="made up", kind="leak of 5 l/d")
    assert (told.losses, told.within_d["7"], told.median_d) == (2, 0.5, np.inf)


def test_an_ideal_sensor_shows_the_true_level() -> None:
    """Its readings follow the true litres to a millimetre, a day each."""
    life = draw_life(TUNING, np.random.default_rng(3), days=60)
    ideal = with_ideal_sensor(life)
    dip = (ideal.tank.sensor_height_mm or 0.0) - ideal.readings.value
    assert ideal.tank.shape.litres(dip) == pytest.approx(life.level_l, abs=5.0)


def test_fine_sensors_change_the_readings_alone() -> None:
    """A house with fine sensors burns, buys and stands as it does with its own; only what is read differs."""
    own, fine = (
        draw_life(with_sensors(TUNING, sensor), np.random.default_rng(3), days=60)
        for sensor in (AS_THEY_ARE, FINE)
    )
    assert np.array_equal(own.level_l, fine.level_l)
    assert fine.tank.resolution_mm == 1.0 < own.tank.resolution_mm
    assert len(fine.readings.at) >= len(own.readings.at)


def test_few_sound_houses_are_alarmed() -> None:
    """Twenty-four tank-years of the tuning world hold at most two false alarms: 1.7 are expected."""
    watch = WatchSettings()
    lives = [draw_life(TUNING, np.random.default_rng([SEED, n]), days=LIFE_D) for n in range(8)]
    assert sum(count_alarms(alarm_times(scores_of(life), watch)) for life in lives) <= 2


def test_more_of_the_large_losses_are_found() -> None:
    """Within two weeks all hundred-litre thefts of a few houses are found, and no fewer large leaks than small."""
    _, delays = measure_losses(TUNING, seed=SEED, houses=HOUSES, watch=WatchSettings())
    shares = {f.kind: f.within_d["14"] for f in delays}
    assert set(shares) == set(LOSSES)
    assert shares["100 l at once"] == 1.0
    assert shares["leak of 10 l/d"] >= shares["leak of 1 l/d"]


def test_a_leak_raises_the_scores_of_the_same_house() -> None:
    """The same life with a leak of ten litres a day scores higher some weeks after it."""
    sound = scores_of(draw_life(TUNING, np.random.default_rng([SEED, 0]), days=440), last=100)
    leaking = scores_of(
        draw_life(TUNING, np.random.default_rng([SEED, 0]), days=440, faults=Faults(leak=(410, 10.0))),
        last=100,
    )
    began = sound.at[-1] - 29 * DAY
    largest = [np.nanmax(s.score[s.at > began + 20 * DAY, 0]) for s in (sound, leaking)]
    assert largest[1] > largest[0] + 2.0
