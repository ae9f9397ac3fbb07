"""What is learnt, and what is not, while the watch has an alarm pending."""

from dataclasses import replace
from datetime import timedelta
from functools import cache

import numpy as np
import pytest

from forecaster.burn_model import Posterior, update_burn_model
from forecaster.civil import civil_date, instant, to_datetime, zone_of
from forecaster.deliveries import parse_receipts
from forecaster.diary import DeclaredChange
from forecaster.pipeline import Inputs, known_at, place_normals
from forecaster.pipeline.behind import additions, learn_behind, observations, past_litres
from forecaster.pipeline.learning import learn_house, normal_year_c, suspect_since
from forecaster.states import State
from tests.forecaster.homes import Home, work

BEGUN = 150
"""Day from which more oil, or less, is gone."""
BILLS = parse_receipts("date,litres,filled\n2021-07-20,1000,yes\n2022-07-22,1000,yes\n2023-07-21,900,yes\n")[
    0
]


@cache
def changed(litres: float, *, days: int) -> Home:
    """A home on whose last days so much more leaves the tank every day."""
    rng = np.random.default_rng(0)
    temp_c = 8.0 + 5.0 * np.sin(np.arange(300) / 40.0) + rng.normal(0.0, 2.5, 300)
    gone = dict.fromkeys(range(BEGUN, BEGUN + days), litres)
    return Home(
        days=BEGUN + days, first="2023-08-01", week_c=tuple(temp_c), start_l=1000.0,
        poured={60: 200.0, 110: 400.0}, leak=gone,
    )  # fmt: skip


def learn(inputs: Inputs) -> tuple[Posterior, np.datetime64 | None]:
    """What the house is learnt to be, and from when on nothing was learnt."""
    known = known_at(inputs)
    today = np.datetime64(civil_date(known.as_of, zone_of(known.timezone)), "D")
    normals = place_normals(known)
    known, behind = learn_behind(known, normals, today=today)
    posterior, watch = learn_house(known, behind, normals)
    return posterior, suspect_since(watch)


def intensities(posterior: Posterior) -> np.ndarray:
    """Means of base, slope and sun over the whole grid."""
    return posterior.moments()[0][1:4]


@pytest.mark.parametrize(("litres", "days"), [(5.0, 8), (-5.0, 16)], ids=["leak", "away"])
def test_what_an_alarm_is_about_is_not_learnt(litres: float, days: int) -> None:
    """A leak of 5 l a day, or an empty house, leaves the intensities where they were before; the level is followed."""
    home = changed(litres, days=days)
    now, since = learn(home.inputs())
    assert since is not None
    before, quiet = learn(home.inputs(as_of=to_datetime(since)))
    assert quiet is None
    assert intensities(now) == pytest.approx(intensities(before), rel=0.01)
    assert abs(now.moments()[0][5]) < 0.05
    assert now.moments()[0][0] == pytest.approx(home.litres()[-1], abs=15.0)


def test_without_an_alarm_everything_is_learnt() -> None:
    """The same home without its leak has no alarm, and is learnt: on a day of 8 °C it burns 1 l and half one per K."""
    posterior, since = learn(changed(0.0, days=8).inputs())
    assert since is None
    at_8_c = posterior.mean[:, 1] + posterior.mean[:, 2] * (posterior.base_c - 8.0)
    assert posterior.weight @ at_8_c == pytest.approx(1.0 + 0.5 * 7.0, rel=0.05)


def test_no_date_is_told_while_a_leak_is_not_learnt() -> None:
    """Frozen, the forecast would be too late: it is withheld for as long."""
    forecast = work(changed(5.0, days=8).inputs()).forecast
    assert forecast.state is State.CHECK


def test_a_habit_of_a_month_is_learnt() -> None:
    """Seven weeks after it began, a use of 5 l a day more is the home's: the slope burns at least a third more."""
    home = changed(5.0, days=50)
    before, _ = learn(home.inputs(as_of=replace(home, days=BEGUN).as_of()))
    now, since = learn(home.inputs())
    assert since is None
    assert intensities(now)[1] > 1.33 * intensities(before)[1]


def test_the_next_day_is_an_update() -> None:
    """What lies behind a house is the same a day later, so that a service goes on from where it was."""
    home = changed(0.0, days=12)
    stored, replayed = None, []
    for days in range(8, 13):
        inputs = home.inputs(as_of=replace(home, days=BEGUN + days).as_of(), receipts=BILLS)
        known = known_at(inputs)
        today = np.datetime64(civil_date(known.as_of, zone_of(known.timezone)), "D")
        normals = place_normals(known)
        known, behind = learn_behind(known, normals, today=today)
        found = update_burn_model(
            stored, behind.drivers, behind.midnights, observations(behind, known.tank),
            additions(behind, known.tank), behind.house.prior, as_of=instant(known.as_of),
            normal_temp_c=normal_year_c(normals), capacity_l=known.tank.capacity_l,
            past_litres=past_litres(known, behind, normals),
        )  # fmt: skip
        stored = found.stored
        replayed.append(found.replayed)
    assert replayed == [True, False, False, False, False]


def test_a_declared_change_is_learnt_though_the_watch_sees_it() -> None:
    """What the household declared is no leak: the alarm freezes nothing, and the burn follows."""
    home = changed(5.0, days=8)
    on = (np.datetime64(home.first, "D") + BEGUN).item()
    silent, since = learn(home.inputs())
    spoken, _ = learn(home.inputs(changes=(DeclaredChange(on, "occupants"),)))
    assert since is not None
    assert intensities(spoken)[0] > 1.5 * intensities(silent)[0]


def test_a_change_still_to_come_is_not_used() -> None:
    """A boiler that comes next week changes nothing today."""
    home = changed(0.0, days=8)
    on = home.as_of().date()
    later = DeclaredChange(on + timedelta(days=7), "new boiler")
    assert known_at(home.inputs(changes=(later,))).changes == ()
    assert known_at(home.inputs(changes=(replace(later, date=on),))).changes != ()
