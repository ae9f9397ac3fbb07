"""A burn model kept and gone on from says what a full run says; what is kept is small and tells when it fits not."""

from dataclasses import fields, replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from forecaster.burn_model import (
    Additions,
    Changes,
    Drivers,
    Grid,
    Observations,
    Posterior,
    Settings,
    Stored,
    Updated,
    from_bytes,
    go_on,
    must_replay,
    to_bytes,
    update_burn_model,
)
from forecaster.burn_model.stored import MOST_BYTES, UNKNOWN
from forecaster.errors import StoredStateError
from tests.forecaster.test_burn_model import CAPACITY_L, DAY, FIRST, YEAR_C, prior, weather_c
from tests.strategies import few

DAYS = 40
STEP_L = 10.0
MIDNIGHTS = FIRST + np.arange(DAYS + 1) * DAY


def house(seed: int) -> Drivers:
    """Weather, sun, logged fires and a diary of some days."""
    rng = np.random.default_rng(seed)
    temp = weather_c(DAYS, seed=seed)
    return Drivers(
        FIRST.astype("datetime64[D]") + np.arange(DAYS), temp, rng.uniform(0.0, 3.0, DAYS),
        rng.uniform(0.5, 1.2, DAYS), rng.choice([0.3, 1.0], DAYS), rng.choice([0.0, 15.0], DAYS),
        np.full(DAYS, 0.1),
    )  # fmt: skip


SURVEY = prior(solar_l_per_kwh_m2=0.3, stove_l_per_kwh=0.05)

Record = tuple[Drivers, Observations, Additions, Changes]


@st.composite
def records(draw: st.DrawFn) -> Record:
    """Readings at any second, with runs of equal values, jumps, lower bounds and gaps; tickets, some at a reading."""
    rng = np.random.default_rng(draw(st.integers(0, 10_000)))
    second = np.sort(rng.choice(DAYS * 86_400, draw(st.integers(2, 90)), replace=False))
    gap = draw(st.integers(0, DAYS - 12)) * 86_400
    second = second[(second < gap) | (second > gap + draw(st.integers(0, 10)) * 86_400)]
    if len(second) < 2:
        second = np.array([3_600, 30 * 86_400])
    n = len(second)
    poured = rng.choice(DAYS * 86_400, draw(st.integers(0, 4)))
    with_reading = rng.random(len(poured)) < 0.5
    poured = np.sort(np.where(with_reading, second[rng.integers(0, n, len(poured))], poured))
    litres = rng.uniform(-50.0, 700.0, len(poured))
    level = 1500.0 - 6.0 * second / 86_400 + (litres[None] * (poured[None] <= second[:, None])).sum(axis=1)
    level = np.round((level + rng.normal(0.0, 4.0, n)) / STEP_L) * STEP_L
    # not the first: a lower bound sixty spreads above what it made sure is no arithmetic but cancellation
    level[1:][rng.random(n - 1) < 0.05] -= 300.0
    repeats = np.zeros(n, bool)
    stays = draw(st.sampled_from([0.0, 0.3, 0.85]))
    for i in range(1, n):
        if rng.random() < stays:
            level[i] = level[i - 1]
        repeats[i] = level[i] == level[i - 1]
    seen = Observations(
        FIRST + second.astype("timedelta64[s]"), level, rng.uniform(2.0, 9.0, n), rng.uniform(0.98, 1.02, n),
        np.full(n, STEP_L), rng.random(n) < 0.1, repeats, rng.random(n) < 0.9,
    )  # fmt: skip
    added = Additions(FIRST + poured.astype("timedelta64[s]"), litres, 0.015 * np.abs(litres))
    moved = np.sort(
        np.where(rng.random(2) < 0.5, second[rng.integers(0, n, 2)], rng.choice(DAYS * 86_400, 2))
    )
    changes = Changes(FIRST + moved.astype("timedelta64[s]"), rng.uniform(0.0, 0.4, (2, 4)))
    return house(int(rng.integers(100))), seen, added, changes


def known_at(record: Record, at: np.datetime64) -> Record:
    """What was known at an instant; the day that is not over yet has other weather."""
    drivers, seen, added, changes = record
    unfinished = MIDNIGHTS[1:] > at
    guessed = replace(drivers, temp_c=np.where(unfinished, 8.0, drivers.temp_c))
    poured = added.at <= at
    return (
        guessed,
        seen.where(seen.at <= at),
        Additions(*(getattr(added, f.name)[poured] for f in fields(Additions))),
        changes,
    )


def update(
    stored: Stored | None,
    record: Record,
    at: np.datetime64,
    **changes: object,
) -> Updated:
    """The model brought up to an instant with what is known then."""
    drivers, seen, added, moved = known_at(record, at)
    given_: dict[str, object] = {
        "as_of": at, "normal_temp_c": YEAR_C, "capacity_l": CAPACITY_L, "settled": None, "changes": moved, **changes
    }  # fmt: skip
    return update_burn_model(stored, drivers, MIDNIGHTS, seen, added, SURVEY, **given_)


def assert_same(found: Posterior, whole: Posterior) -> None:
    """All members agree within 1e-9, relative; those of readings over the last ones that both have."""
    for f in fields(Posterior):
        a, b = getattr(found, f.name), getattr(whole, f.name)
        if f.name in ("innovations", "verdicts"):
            b = b[len(b) - len(a) :]
        if f.name in ("at", "observed_from"):
            assert a == b
        elif f.name == "mean":
            # a mean next to nothing is as good as its own spread
            sd = np.sqrt(np.maximum(np.einsum("gii->gi", whole.cov), 0.0))
            scale = np.maximum(np.maximum(np.abs(b), sd), 1e-12)
            np.testing.assert_allclose(a / scale, b / scale, rtol=0.0, atol=1e-9)
        elif f.name == "cov":
            # covariances relative to the spreads of both
            sd = np.sqrt(np.maximum(np.einsum("gii->gi", b), 1e-30))
            scale = sd[:, :, None] * sd[:, None, :]
            np.testing.assert_allclose(a / scale, b / scale, rtol=0.0, atol=1e-9)
        else:
            np.testing.assert_allclose(
                a, b, rtol=1e-9, atol=1e-9 if f.name == "innovations" else 1e-12, err_msg=f.name
            )


def assert_equal(one: Stored, other: Stored) -> None:
    """Every number the same, bit for bit."""
    assert one.behind == other.behind
    for f in fields(one.known):
        np.testing.assert_array_equal(getattr(one.known, f.name), getattr(other.known, f.name))


@few
@given(records(), st.lists(st.integers(1, DAYS * 86_400), min_size=1, max_size=5).map(sorted))
def test_updates_come_to_what_a_full_run_says(record, splits):
    """Wherever a record is split, going on from the kept bytes ends within 1e-9 of one run over everything."""
    stored = None
    for i, split in enumerate([*splits, DAYS * 86_400]):
        at = FIRST + np.timedelta64(split, "s")
        whole = update(None, record, at)
        found = update(stored, record, at)
        assert found.replayed == (stored is None)
        assert_same(found.posterior, whole.posterior)
        if found.stored is None:
            assert whole.stored is None
            continue
        assert found.stored.known.at == whole.stored.known.at, i
        assert found.stored.behind == whole.stored.behind
        data = to_bytes(found.stored)
        assert len(data) <= MOST_BYTES
        stored = from_bytes(data)
        assert_equal(stored, found.stored)


@pytest.fixture
def record() -> Record:
    """A plain record: a reading each morning, one ticket."""
    at = FIRST + np.arange(DAYS) * DAY + np.timedelta64(6, "h")
    level = np.round((1500.0 - 6.0 * np.arange(DAYS) + 500.0 * (np.arange(DAYS) > 20)) / STEP_L) * STEP_L
    seen = Observations(
        at, level, np.full(DAYS, 3.0), np.ones(DAYS), np.full(DAYS, STEP_L), np.zeros(DAYS, bool),
        np.r_[False, np.diff(level) == 0.0],
    )  # fmt: skip
    added = Additions(
        FIRST + np.array([20]) * DAY + np.timedelta64(10, "h"), np.array([500.0]), np.array([7.5])
    )
    return house(3), seen, added, Changes.none()


def _kept(record: Record, *, day: int = 30) -> Stored:
    stored = update(None, record, FIRST + day * DAY).stored
    assert stored is not None
    return stored


@pytest.mark.parametrize(
    "what", ["reading", "ticket", "late ticket", "weather", "diary", "survey", "tank", "frozen"]
)
def test_a_change_behind_is_a_replay(record, what):
    """A corrected reading or ticket, other weather, diary, survey or tank behind the state: everything is run anew."""
    stored = _kept(record)
    drivers, seen, added, moved = record
    changes: dict[str, object] = {}
    if what == "reading":
        seen = replace(seen, litres=np.where(np.arange(DAYS) == 4, seen.litres - 40.0, seen.litres))
    elif what == "frozen":
        seen = replace(seen, learn=np.arange(DAYS) < 20)
    elif what == "ticket":
        added = replace(added, litres_15c=added.litres_15c + 10.0)
    elif what == "late ticket":
        added = Additions(FIRST + np.array([5, 20]) * DAY, np.array([1.0, 500.0]), np.array([1.0, 7.5]))
    elif what == "weather":
        drivers = replace(drivers, temp_c=drivers.temp_c + (np.arange(DAYS) == 2))
    elif what == "diary":
        drivers = replace(drivers, heat_factor=np.where(np.arange(DAYS) == 2, 0.35, drivers.heat_factor))
    elif what == "change":
        moved = Changes(FIRST + np.array([9]) * DAY, np.full((1, 4), 0.2))
    elif what == "tank":
        changes["capacity_l"] = CAPACITY_L + 100.0
    at = FIRST + (DAYS - 1) * DAY
    changed = (drivers, seen, added, moved)
    if what == "survey":
        other = update_burn_model(
            stored, *_spread(changed, at), replace(SURVEY, slope_l_per_kday=0.4), as_of=at, normal_temp_c=YEAR_C,
            capacity_l=CAPACITY_L,
        )  # fmt: skip
        assert other.replayed
        return
    found, whole = update(stored, changed, at, **changes), update(None, changed, at, **changes)
    assert found.replayed
    assert_same(found.posterior, whole.posterior)
    assert len(found.posterior.verdicts) == len(whole.posterior.verdicts)


def _spread(record: Record, at: np.datetime64) -> tuple[object, ...]:
    drivers, seen, added, _ = known_at(record, at)
    return drivers, MIDNIGHTS, seen, added


def test_what_came_after_is_no_change_behind(record):
    """New readings, and weather of days since the state, are updates; so is the same instant asked twice."""
    stored = _kept(record)
    for day in (30, 31, DAYS - 1):
        assert not update(stored, record, FIRST + day * DAY).replayed
    assert update(stored, record, FIRST + 10 * DAY).replayed


def test_with_what_came_after_alone_it_goes_on(record):
    """A caller who knows that nothing behind changed needs no more than the days and readings since the state."""
    stored = _kept(record)
    at = FIRST + (DAYS - 1) * DAY
    drivers, seen, added, _ = known_at(record, at)
    late = MIDNIGHTS[:-1] >= stored.known.at.astype("datetime64[D]")
    few = replace(drivers, **{f.name: getattr(drivers, f.name)[late] for f in fields(Drivers)})
    posterior, onward = go_on(
        stored, few, MIDNIGHTS[np.r_[late, True]], seen.where(seen.at > stored.known.at), added, as_of=at, settled=at
    )  # fmt: skip
    assert_same(posterior, update(None, record, at).posterior)
    assert onward.known.at > stored.known.at
    assert onward.behind == UNKNOWN
    assert update(onward, record, at).replayed


def test_the_earliest_change_tells_what_is_due(record):
    """A change up to the state's reading asks for a replay, a later one does not."""
    stored = _kept(record)
    assert must_replay(stored, changed_from=stored.known.at)
    assert not must_replay(stored, changed_from=stored.known.at + np.timedelta64(1, "s"))


def test_before_a_settled_reading_nothing_is_kept(record):
    """On the day of the first reading there is no state to keep, and bytes of none are refused."""
    assert update(None, record, FIRST + np.timedelta64(7, "h")).stored is None


@pytest.mark.parametrize(
    ("spoil", "code"),
    [
        (lambda data: b"", "not_a_state"),
        (lambda data: b"PNG" + data[3:], "not_a_state"),
        (lambda data: data[:4] + b"\x09" + data[5:], "other_version"),
        (lambda data: data[:-1], "damaged"),
        (lambda data: data + b"x", "damaged"),
        (lambda data: data[:5000] + bytes([data[5000] ^ 1]) + data[5001:], "damaged"),
    ],
    ids=["empty", "other file", "version", "cut off", "too long", "flipped bit"],
)  # fmt: skip
def test_bytes_that_are_no_state_are_refused(record, spoil, code):
    """Empty, foreign, of another version, cut off or with one bit flipped: a typed error, never a wrong state."""
    with pytest.raises(StoredStateError) as refused:
        from_bytes(spoil(to_bytes(_kept(record))))
    assert refused.value.problem.code == code


@pytest.mark.parametrize("other", [Settings(drift=0.02), Settings(grid=Grid(base_c=(15.0, 18.0)))])
def test_a_state_of_other_settings_is_refused(record, other):
    """A state made with another drift, or on another grid, cannot be gone on from."""
    data = to_bytes(_kept(record))
    with pytest.raises(StoredStateError) as refused:
        from_bytes(data, settings=other)
    assert refused.value.problem.code == "other_settings"


def test_small_grids_are_kept_too(record):
    """A grid of 12 points is kept in less than 4 kB and read back bit for bit."""
    small = Settings(grid=Grid(inertia_d=(1.2,), season_c=(np.inf,), slow_sd=(0.1, 0.3), noise=(1.0,)))
    stored = update(None, record, FIRST + 30 * DAY, settings=small).stored
    data = to_bytes(stored, settings=small)
    assert len(data) < 4_000
    assert_equal(from_bytes(data, settings=small), stored)
