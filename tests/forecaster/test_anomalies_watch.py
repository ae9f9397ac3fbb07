"""The watch: levels foretold from some time before them, losses and changes of use by their scores."""

from dataclasses import replace
from datetime import date, timedelta

import numpy as np
import pytest

from forecaster.anomalies import Evidence, Watch, WatchSettings, find_reasons
from forecaster.anomalies.watch import KINDS, Departure, find_departure, passes
from forecaster.diary import DeclaredChange, DiaryEntry
from forecaster.phrases import litres_text
from forecaster.pipeline import Inputs, work_out
from tests.forecaster.homes import MILD, Home, codes

STEADY = Home(days=150, week_c=MILD, start_l=850.0, poured={60: 500.0})
FIRST = 90
"""The day from which steady homes begin to lose oil."""


def evidence(losses: tuple[tuple[int, float], ...], days: int = 150, home: Home = STEADY) -> Evidence:
    """All that the finders see of the steady home with some losses."""
    seen: list[Evidence] = []

    def look(found: Evidence):
        seen.append(found)
        return find_reasons(found)

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("forecaster.pipeline.find_reasons", look)
        work_out(replace(home, days=days, leak=dict(losses)).inputs(), rng=np.random.default_rng(1))
    return seen[0]


def scores(losses: dict[int, float], *, days: int = 150, home: Home = STEADY) -> Watch:
    """Scores of the steady home with some losses."""
    found = evidence(tuple(losses.items()), days, home).watch
    assert found is not None
    return found


def leak(litres: float, *, days: int) -> dict[int, float]:
    """A leak from `FIRST` on for so many days."""
    return dict.fromkeys(range(FIRST, FIRST + days), litres)


def test_a_sound_home_scores_within_chance() -> None:
    """No score of a home that burns by the weather comes near a threshold."""
    assert np.nanmax(scores({}).score / np.array(WatchSettings().thresholds)) < 0.8


def test_a_loss_shows_in_its_litres() -> None:
    """Eighty litres at once are what is missing by the best guess three days later, and since the day they went."""
    found = find_departure(scores({FIRST: 80.0}, days=FIRST + 3), sign=1)
    assert found is not None
    assert found.until - found.since <= np.timedelta64(3, "D")
    assert found.missing_l == pytest.approx(80.0, abs=25.0)
    assert abs(float((found.since - scores({}).at[0]) / np.timedelta64(1, "D")) - (FIRST - 80.0)) <= 1.0


def test_no_score_looks_ahead() -> None:
    """Scores of a day stay the same when more levels come, as long as the same grid point is watched."""
    short, long = scores({}, days=120), scores({}, days=121)
    same = np.isin(long.at, short.at)
    kept = np.isin(short.at, long.at)
    off = np.abs(long.missing_l[same] - short.missing_l[kept])
    assert np.nanmax(off) < 1.0


@pytest.mark.parametrize(("litres", "at_most"), [(4.0, 28), (6.0, 14)])
def test_a_larger_leak_is_found_sooner(litres: float, at_most: int) -> None:
    """In a steady home a leak of most of its use is found within four weeks, one of more than all within two."""
    for days in range(3, 40, 3):
        found = find_departure(scores(leak(litres, days=days), days=FIRST + days), sign=1)
        if found is not None:
            break
    assert days <= at_most


def test_a_leak_is_told_by_its_own_figures() -> None:
    """The litres and the day that are told are those of the window in which the leak shows most."""
    seen = evidence(tuple(leak(6.0, days=20).items()), FIRST + 20)
    found = seen.more_used
    assert found is not None
    (told,) = [r for r in find_reasons(seen) if r.code == "slow_loss"]
    assert (
        f"Since {seen.day(found.since)} about {litres_text(found.missing_l, sd=found.sd_l)} more" in told.text
    )
    assert f"about {litres_text(found.burn_l, sd=found.sd_l)} were to be expected" in told.text
    days = float((found.until - found.since) / np.timedelta64(1, "D"))
    assert found.missing_l == pytest.approx(6.0 * min(days - 2.0, 18.0), abs=30.0)


def test_back_from_less_use_is_no_loss() -> None:
    """A home that used next to nothing for two weeks and goes on as before raises no alarm."""
    away = dict.fromkeys(range(FIRST, FIRST + 14), -4.0)
    for days in range(15, 40, 6):
        assert find_departure(scores(away, days=FIRST + days), sign=1) is None, days


def test_oil_said_to_be_taken_out_is_not_lost() -> None:
    """A ticket that is off by less than a tank's table may be gives no loss: deliveries are doubted so far."""
    home = replace(STEADY, days=120, poured={60: 500.0, 110: 485.0}, tickets={60: 500.0, 110: 500.0})
    assert "loss" not in codes(home.inputs())


def burning_more(litres: float, *, days: int) -> Home:
    """The steady home burning so much more a day since `FIRST`."""
    return replace(STEADY, days=FIRST + days, leak=leak(litres, days=days))


def changed(home: Home, what: str, *, on: int = FIRST) -> Inputs:
    """What a household gives that declares a change for good on a day."""
    day = date.fromisoformat(home.first) + timedelta(days=on)
    return home.inputs(changes=(DeclaredChange(day, what),))


@pytest.mark.parametrize("what", ["new boiler", "occupants"])
def test_a_declared_change_explains_a_use(what: str) -> None:
    """More use that is told of as a loss is no longer when the household says what changed, also a few days late."""
    home = burning_more(3.0, days=22)
    assert "slow_loss" in codes(home.inputs())
    assert "slow_loss" not in codes(changed(home, what))
    assert "slow_loss" not in codes(changed(home, what, on=FIRST + 5))


def test_a_declared_change_explains_no_more_than_it_may() -> None:
    """People more do not explain six litres a day, nor a new boiler eighty litres at one stroke."""
    assert "slow_loss" in codes(changed(burning_more(6.0, days=14), "occupants"))
    stroke = replace(STEADY, days=FIRST + 3, leak={FIRST: 80.0})
    assert "fast_loss" in codes(changed(stroke, "new boiler"))


def test_a_change_long_before_explains_nothing() -> None:
    """A leak is told of although the household changed two months before it began."""
    assert "slow_loss" in codes(changed(burning_more(4.0, days=28), "occupants", on=FIRST - 60))


def test_dates_away_explain_less_use() -> None:
    """Two weeks of little use are told of, and not where the diary has them."""
    home = replace(STEADY, days=FIRST + 16, leak=dict.fromkeys(range(FIRST, FIRST + 14), -4.0))
    first = date.fromisoformat(home.first) + timedelta(days=FIRST)
    away = (DiaryEntry(first, first + timedelta(days=13), "away"),)
    assert "less_use" in codes(home.inputs())
    assert "less_use" not in codes(home.inputs(diary=away))


def made_up(score: list[float], *, kind: str = "leak") -> Watch:
    """Scores of one kind, a day each."""
    at = np.datetime64("2024-01-01T06:00:00") + np.arange(len(score)) * np.timedelta64(86_400, "s")
    table = np.zeros((len(score), len(KINDS)))
    table[:, KINDS.index(kind)] = score
    since = np.repeat(at[:, None] - np.timedelta64(7, "D"), len(KINDS), axis=1)
    return Watch(at, table, 5.0 * table, 70.0 + 0.0 * table, since)


def departure_of(score: list[float], *, watch: WatchSettings) -> Departure | None:
    """What is found of scores of a leak, a day each."""
    return find_departure(made_up(score), sign=1, watch=watch)


ONE = WatchSettings(thresholds=(4.0, 4.0, 4.0), patience_d=10.0)


@pytest.mark.parametrize(
    ("score", "alarmed"),
    [
        ([5.0], False),
        ([5.0, 5.0], True),
        ([5.0, 1.0, 5.0], True),
        ([5.0, 5.0, 1.0, 1.0], False),
        ([np.nan, 9.0], False),
    ],
)
def test_an_alarm_needs_two_of_three_days(score: list[float], alarmed: bool) -> None:
    """One day above the threshold is no alarm, and one quiet day does not end it."""
    assert (departure_of(score, watch=ONE) is not None) == alarmed


def test_a_use_that_lasts_becomes_the_habit() -> None:
    """A departure that goes on for longer than the patience is no longer pending."""
    short, long = departure_of(8 * [5.0], watch=ONE), departure_of(14 * [5.0], watch=ONE)
    assert short is not None
    assert long is not None
    assert (short.pending, long.pending) == (True, False)


def test_less_use_and_losses_are_looked_for_apart() -> None:
    """A score of less use raises no alarm of a loss, nor one of a loss an alarm of less use."""
    less, loss = made_up([5.0, 5.0], kind="less"), made_up([5.0, 5.0], kind="stroke")
    assert passes(less, sign=-1, watch=ONE).any(axis=1).all()
    assert not passes(less, sign=1, watch=ONE).any()
    assert passes(loss, sign=1, watch=ONE).any(axis=1).all()
    assert not passes(loss, sign=-1, watch=ONE).any()


def test_what_went_at_one_stroke_is_told_by_its_own_days() -> None:
    """A loss that showed most as one stroke keeps its day and litres when later days see it less sharply."""
    scores = made_up([0.0, 8.0, 9.0, 5.0, 4.5], kind="stroke")
    found = find_departure(scores, sign=1, watch=ONE)
    assert found is not None
    assert (found.at_once, found.until, found.missing_l) == (True, scores.at[2], 45.0)


def test_without_two_levels_there_is_nothing_to_watch() -> None:
    """One level, or none, gives no scores and no alarm."""
    for days in (1, 2):
        seen = scores({}, days=days, home=Home(days=days))
        assert find_departure(seen, sign=1) is None
        assert np.isnan(seen.score).all()
