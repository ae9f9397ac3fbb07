"""Weather and tickets come back as they went in, gaps and unknowns included, on both databases."""

from datetime import UTC, date, datetime, timedelta
from itertools import pairwise

import numpy as np
import pytest

from api.store import Store
from api.store.deliveries import load_deliveries, load_receipts, save_deliveries, save_receipts
from api.store.tanks import (
    TextKind,
    load_tank,
    load_tank_version,
    load_text,
    save_tank,
    save_tank_version,
    save_text,
    use_stations,
)
from api.store.weather import load_outlook, load_weather, save_outlook, save_station, save_weather
from forecaster.deliveries import Deliveries, Receipts
from forecaster.weather import Outlook, Weather

NOW = datetime(2026, 1, 10, 12, 0, tzinfo=UTC)
NAN = float("nan")


def _weather(temp_c: list[float]) -> Weather:
    n = len(temp_c)
    nothing = np.full(n, NAN)
    return Weather(
        date=np.datetime64("2026-01-01") + np.arange(n),
        temp_c=np.array(temp_c),
        tmin_c=nothing,
        tmax_c=nothing,
        ghi_wh_m2=nothing,
        kind="mean",
    )


def test_weather_with_gaps(store: Store) -> None:
    """Days without a value and days that are missing come back as NaN; a day again replaces the old one."""
    with store.write() as session:
        station = save_station(session, name="Fell", kind="mean")
        save_weather(session, station, _weather([1.0, NAN, 3.0]))
        late = _weather([9.0])
        save_weather(
            session, station, Weather(late.date + 4, late.temp_c, late.tmin_c, late.tmax_c, late.ghi_wh_m2)
        )
        save_weather(session, station, _weather([1.5]))
    with store.read() as session:
        weather = load_weather(session, station, before=date(2026, 1, 10))
        earlier = load_weather(session, station, before=date(2026, 1, 3))
        nothing = load_weather(session, station, before=date(2026, 1, 1))
    assert weather is not None
    assert weather.date.astype(str).tolist() == [f"2026-01-0{d}" for d in range(1, 6)]
    assert np.array_equal(weather.temp_c, [1.5, NAN, 3.0, NAN, 9.0], equal_nan=True)
    assert earlier is not None
    assert earlier.date.size == 2
    assert nothing is None


def test_kinds_of_temperature_are_not_mixed(store: Store) -> None:
    """A station keeps the kind of its temperatures."""
    with store.write() as session:
        first = save_station(session, name="Fell", kind="mean")
        assert save_station(session, name="Fell", kind="mean") == first
        with pytest.raises(ValueError, match="are mean, not midrange"):
            save_station(session, name="Fell", kind="midrange")


def test_latest_outlook_in_the_span(store: Store) -> None:
    """The latest outlook of a span comes back, and none from outside it."""

    def outlook(issued_at: datetime, temp_c: float) -> Outlook:
        return Outlook(
            issued_at, np.array(["2026-01-10"], "datetime64[D]"), np.array([temp_c]), np.array([NAN])
        )

    with store.write() as session:
        station = save_station(session, name="Fell", kind="mean")
        for hours, temp_c in ((30, 1.0), (12, 2.0), (6, 3.0), (-1, 4.0)):
            save_outlook(session, station, outlook(NOW - timedelta(hours=hours), temp_c))
        found = load_outlook(session, station, since=NOW - timedelta(hours=24), until=NOW)
        none = load_outlook(session, station, since=NOW - timedelta(hours=5), until=NOW)
    assert found is not None
    assert (found.issued_at, found.temp_c.tolist()) == (NOW - timedelta(hours=6), [3.0])
    assert none is None


def test_tickets_and_bills(store: Store) -> None:
    """Tickets and bills come back in order, each once, with unknown dips as NaN; none from the future."""
    tickets = Deliveries(
        at=np.array(["2025-11-02T10:00", "2026-01-12T10:00"], "datetime64[s]"),
        litres=np.array([900.0, 500.0]),
        filled=np.array(["yes", "unknown"]),
        removed=np.array([False, False]),
        basis=np.array(["15c", "unknown"]),
        dip_before_mm=np.array([210.0, NAN]),
        dip_after_mm=np.array([900.0, NAN]),
    )
    bills = Receipts(np.array(["2025-11-02"], "datetime64[D]"), np.array([900.0]), np.array(["yes"]))
    with store.write() as session:
        tank = save_tank(session, name="Byre", zone="UTC", toml="", created_at=NOW)
        saved = [save_deliveries(session, tank.id, tickets, received_at=NOW, source="test") for _ in range(2)]
        assert saved == [2, 0]
        assert [save_receipts(session, tank.id, bills, received_at=NOW) for _ in range(2)] == [1, 0]
        back = load_deliveries(session, tank.id, until=NOW)
        paid = load_receipts(session, tank.id, until=date(2026, 1, 10))
        later = load_deliveries(session, tank.id, until=NOW + timedelta(days=9))
    assert back is not None
    assert paid is not None
    assert later is not None
    assert (back.litres.tolist(), back.filled.tolist(), back.basis.tolist()) == ([900.0], ["yes"], ["15c"])
    assert back.at.astype(str).tolist() == ["2025-11-02T10:00:00"]
    assert np.array_equal(later.dip_before_mm, [210.0, NAN], equal_nan=True)
    assert (paid.date.astype(str).tolist(), paid.litres.tolist()) == (["2025-11-02"], [900.0])


def test_versions_of_a_tank_and_its_texts(store: Store) -> None:
    """A changed description holds from its instant on, and what was before stays as it was (D9)."""
    change = NOW - timedelta(days=5)
    with store.write() as session:
        tank = save_tank(session, name="Byre", zone="UTC", toml="old", created_at=NOW)
        save_tank_version(session, tank.id, toml="new", valid_from=change, created_at=NOW)
        save_text(session, tank.id, TextKind.DIARY, body="a", valid_from=change, created_at=NOW)
        save_text(session, tank.id, TextKind.DIARY, body="b", valid_from=NOW, created_at=NOW)
        before = load_tank_version(session, tank.id, as_of=change - timedelta(seconds=1))
        after = load_tank_version(session, tank.id, as_of=change)
        assert (before.toml, before.is_first) == ("old", True)
        assert (after.toml, after.is_first, after.valid_from) == ("new", False, change)
        texts = [
            load_text(session, tank.id, TextKind.DIARY, as_of=NOW - timedelta(days=d)) for d in (9, 3, 0)
        ]
        assert texts == [None, "a", "b"]


def test_every_change_is_counted(store: Store) -> None:
    """Whatever a forecast would feel raises the tank's revision; the same text again does not."""
    with store.write() as session:
        tank = save_tank(session, name="Byre", zone="UTC", toml="", created_at=NOW)
        station = save_station(session, name="Fell", kind="mean")
        seen = [tank.revision]
        for change in (
            lambda: save_text(session, tank.id, TextKind.SURVEY, body="a", valid_from=NOW, created_at=NOW),
            lambda: use_stations(session, tank.id, station_id=station),
            lambda: save_tank_version(session, tank.id, toml="x", valid_from=NOW, created_at=NOW),
        ):
            change()
            seen.append(load_tank(session, tank.public_id).revision)
        assert all(a < b for a, b in pairwise(seen))
        save_text(session, tank.id, TextKind.SURVEY, body="a", valid_from=NOW, created_at=NOW)
        assert load_tank(session, tank.public_id).revision == seen[-1]
