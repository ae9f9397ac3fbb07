"""A reading is stored once under its key, and what is stored never changes, on both databases."""

import threading
from datetime import UTC, datetime, timedelta

import numpy as np
import pytest
import sqlalchemy as sa
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from sqlalchemy.exc import DBAPIError, StatementError

from api.store import Store, tables
from api.store.readings import NewReading, Outcome, count_readings, load_readings, save_readings
from api.store.tanks import StoredTank, save_tank

T0 = datetime(2026, 1, 1, 6, 0, tzinfo=UTC)
NOW = datetime(2026, 1, 10, 12, 0, tzinfo=UTC)


@pytest.fixture
def tank(store: Store) -> StoredTank:
    """A tank with its three sensors."""
    with store.write() as session:
        return save_tank(session, name="Byre", zone="Europe/Dublin", toml="", created_at=NOW)


def _dip(tank: StoredTank, hours: float, value: float, **more: object) -> NewReading:
    return NewReading(tank.sensors[1].id, T0 + timedelta(hours=hours), "dip_mm", value, **more)  # type: ignore[arg-type]


def _save(store: Store, *readings: NewReading) -> list[Outcome]:
    with store.write() as session:
        return [s.outcome for s in save_readings(session, readings, received_at=NOW, source="test")]


def _all(store: Store, tank: StoredTank) -> list[tuple[str, str, float]]:
    with store.read() as session:
        readings = load_readings(session, tank.id, since=T0, until=NOW)
    if readings is None:
        return []
    return list(
        zip(
            readings.at.astype(str).tolist(), readings.quantity.tolist(), readings.value.tolist(), strict=True
        )
    )


def test_readings_come_back_in_order(store: Store, tank: StoredTank) -> None:
    """Readings of several sensors come back by time, in UTC, with unknown temperatures as NaN."""
    gauge = NewReading(tank.sensors[2].id, T0 + timedelta(hours=1), "litres", 812.0, air_c=4.5)
    _save(store, _dip(tank, 2, 640.0), gauge, _dip(tank, 0, 650.0))
    with store.read() as session:
        readings = load_readings(session, tank.id, since=T0, until=NOW)
    assert readings is not None
    assert readings.at.astype(str).tolist() == [
        "2026-01-01T06:00:00",
        "2026-01-01T07:00:00",
        "2026-01-01T08:00:00",
    ]
    assert readings.quantity.tolist() == ["dip_mm", "litres", "dip_mm"]
    assert readings.value.tolist() == [650.0, 812.0, 640.0]
    assert np.array_equal(readings.air_c, [np.nan, 4.5, np.nan], equal_nan=True)


def test_time_is_kept_whatever_its_offset(store: Store, tank: StoredTank) -> None:
    """The same instant under another offset is the same reading."""
    one = _dip(tank, 0, 650.0)
    same = NewReading(
        one.sensor_id,
        datetime.fromisoformat("2026-01-01T11:45:00+05:45"),
        "dip_mm",
        650.0,
    )
    assert _save(store, one) == [Outcome.NEW]
    assert _save(store, same) == [Outcome.KNOWN]
    assert len(_all(store, tank)) == 1


def test_same_again_is_known(store: Store, tank: StoredTank) -> None:
    """Sending a reading again, in the same batch or later, adds no row."""
    one = _dip(tank, 0, 650.0)
    assert _save(store, one, one) == [Outcome.NEW, Outcome.KNOWN]
    assert _save(store, one) == [Outcome.KNOWN]
    assert len(_all(store, tank)) == 1


def test_other_value_is_a_conflict_and_the_first_stays(store: Store, tank: StoredTank) -> None:
    """Another value under the same key is put aside, once, and the first is kept."""
    assert _save(store, _dip(tank, 0, 650.0), _dip(tank, 0, 651.0)) == [Outcome.NEW, Outcome.CONFLICT]
    assert _save(store, _dip(tank, 0, 651.0)) == [Outcome.CONFLICT]
    assert _all(store, tank) == [("2026-01-01T06:00:00", "dip_mm", 650.0)]
    with store.read() as session:
        aside = session.execute(sa.select(tables.reading_aside)).one()
    assert (aside.value, aside.code, aside.at) == (651.0, "conflict", T0)


def test_a_clock_ahead_is_still_known_later(store: Store, tank: StoredTank) -> None:
    """A reading stored under our time is recognised by the sender's time, also when that has come."""
    ahead = _dip(tank, 0, 650.0, device_at=T0 + timedelta(hours=3))
    assert _save(store, ahead) == [Outcome.NEW]
    assert _save(store, _dip(tank, 1, 650.0, device_at=T0 + timedelta(hours=3))) == [Outcome.KNOWN]
    assert _save(store, _dip(tank, 3, 650.0)) == [Outcome.KNOWN]
    assert _save(store, _dip(tank, 3, 655.0)) == [Outcome.CONFLICT]
    assert len(_all(store, tank)) == 1


@pytest.mark.parametrize("value", [float("nan"), float("inf"), -float("inf")])
@pytest.mark.parametrize("field", ["value", "air_c"])
def test_not_finite_never_reaches_the_database(
    store: Store, tank: StoredTank, field: str, value: float
) -> None:
    """NaN and the infinities are refused before either database can treat them its own way."""
    wrong = _dip(tank, 0, **{"value": 650.0, field: value})
    with pytest.raises((StatementError, ValueError), match="not finite"):
        _save(store, wrong)
    assert _all(store, tank) == []


def test_naive_time_never_reaches_the_database(store: Store, tank: StoredTank) -> None:
    """A time without offset is refused."""
    naive = NewReading(tank.sensors[0].id, datetime(2026, 1, 1), "dip_mm", 1.0)  # noqa: DTZ001
    with pytest.raises((StatementError, ValueError), match="without offset"):
        _save(store, naive)


@pytest.mark.parametrize(("text", "match"), [("a\0b", "NUL"), ("\ud800", "surrogate")])
def test_text_that_one_database_refuses_is_refused_on_both(store: Store, text: str, match: str) -> None:
    """NUL and lone surrogates in a text are refused before the database."""
    with pytest.raises(StatementError, match=match), store.write() as session:
        save_tank(session, name=text, zone="UTC", toml="", created_at=NOW)


def test_minus_zero_is_zero(store: Store, tank: StoredTank) -> None:
    """Minus zero and zero are one value."""
    assert _save(store, _dip(tank, 0, -0.0), _dip(tank, 0, 0.0)) == [Outcome.NEW, Outcome.KNOWN]
    assert str(_all(store, tank)[0][2]) == "0.0"


def test_a_stored_reading_cannot_be_changed(store: Store, tank: StoredTank) -> None:
    """The database itself refuses to change a reading."""
    _save(store, _dip(tank, 0, 650.0))
    with pytest.raises(DBAPIError, match="never changes"), store.write() as session:
        session.execute(sa.update(tables.reading).values(value=1.0))
    assert _all(store, tank)[0][2] == 650.0


@pytest.mark.parametrize("value", [-1.0, 1e7])
def test_out_of_bounds_is_refused_by_the_database_too(store: Store, tank: StoredTank, value: float) -> None:
    """A value below zero or beyond any tank is refused by a check of the table."""
    with pytest.raises(DBAPIError, match="value_bounded"):
        _save(store, _dip(tank, 0, value))


def test_more_than_a_chunk(store: Store, tank: StoredTank) -> None:
    """A long history goes in and is known when it comes again."""
    history = [_dip(tank, h / 60, float(h % 700)) for h in range(1_234)]
    assert _save(store, *history) == [Outcome.NEW] * 1_234
    assert _save(store, *reversed(history)) == [Outcome.KNOWN] * 1_234
    with store.read() as session:
        assert count_readings(session, tank.id) == 1_234


def test_many_clients_each_several_times(store: Store, tank: StoredTank) -> None:
    """Of readings sent one to three times by four clients at once, each is stored once and new once."""
    rng = np.random.default_rng(3)
    readings = [_dip(tank, h / 60, float(h)) for h in range(200)]
    outcomes: list[Outcome] = []

    def send(seed: int) -> None:
        order = np.random.default_rng(seed).permutation(200)
        for part in np.array_split(order, 10):
            outcomes.extend(_save(store, *(readings[i] for i in part)))

    threads = [threading.Thread(target=send, args=(int(s),)) for s in rng.integers(1_000, size=4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert len(outcomes) == 800
    assert outcomes.count(Outcome.NEW) == 200
    assert outcomes.count(Outcome.KNOWN) == 600
    assert [value for _, _, value in _all(store, tank)] == [float(h) for h in range(200)]


@settings(
    max_examples=15, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture], database=None
)
@given(
    batches=st.lists(
        st.lists(st.tuples(st.integers(0, 6), st.integers(0, 2)), min_size=1, max_size=8),
        min_size=1,
        max_size=5,
    )
)
def test_outcomes_agree_with_a_dictionary(store: Store, batches: list[list[tuple[int, int]]]) -> None:
    """Whatever is sent in whatever batches, the store answers as a dictionary that keeps the first."""
    with store.write() as session:
        tank = save_tank(session, name="Model", zone="UTC", toml="", created_at=NOW)
    kept: dict[int, int] = {}
    for batch in batches:
        expected = []
        for hour, value in batch:
            if hour not in kept:
                kept[hour] = value
                expected.append(Outcome.NEW)
            else:
                expected.append(Outcome.KNOWN if kept[hour] == value else Outcome.CONFLICT)
        assert _save(store, *(_dip(tank, hour, float(value)) for hour, value in batch)) == expected
    assert [(int(at[11:13]) - 6, value) for at, _, value in _all(store, tank)] == sorted(kept.items())
