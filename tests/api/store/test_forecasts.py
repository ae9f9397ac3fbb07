"""A forecast comes back from the database as it went in, and a withheld one carries no number out."""

import json
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta

import pytest

from api.schemas.forecasts import ForecastOut, forecast_json
from api.store import Store
from api.store.forecasts import StoredForecast, load_forecast, save_forecast
from api.store.tanks import save_tank
from forecaster.confidence import (
    Appointment,
    DayOutlook,
    Forecast,
    LastTrusted,
    LitresBand,
    OrderAdvice,
    Reason,
    RunDryDates,
    State,
    ToldForecast,
    WithheldForecast,
)
from forecaster.document import from_document, to_document

NOW = datetime(2026, 1, 10, 12, 0, tzinfo=UTC)
TOLD = ToldForecast(
    as_of=NOW,
    state=State.WIDE,
    reasons=(Reason("short_history", State.WIDE, "From your survey, not yet from your tank."),),
    horizon_days=365,
    litres=LitresBand(700.0, 740.25, 780.0),
    run_dry=RunDryDates(date(2026, 3, 1), date(2026, 3, 4), date(2026, 3, 8), date(2026, 4, 2), None, None),
    order=OrderAdvice(date(2026, 1, 20), date(2026, 2, 14), 900.0, "window", "Order between …"),
    daily=(DayOutlook(date(2026, 1, 10), 690.0, 735.0, 778.0, 0.0, 680.0, 715.0, 755.0, 790.0),),
    last_trusted=LastTrusted(NOW - timedelta(hours=6), 742.0),
    appointment=Appointment(date(2026, 2, 14), NOW),
)
WITHHELD = WithheldForecast(
    as_of=NOW,
    state=State.CHECK,
    reasons=(Reason("stuck", State.CHECK, "The sensor has shown exactly 742 mm since 3 January."),),
    horizon_days=365,
    last_trusted=None,
    appointment=Appointment(date(2026, 2, 10), NOW - timedelta(days=3)),
    order_below_l=310.0,
)
BLIND = WithheldForecast(NOW, State.BLIND, (), 365, None, None)
EACH = pytest.mark.parametrize("forecast", [TOLD, WITHHELD, BLIND], ids=["told", "withheld", "blind"])


@EACH
def test_document_and_back(forecast: Forecast) -> None:
    """A forecast survives its JSON form, and the form is the documented one."""
    text = json.dumps(to_document(forecast), allow_nan=False)
    assert from_document(json.loads(text)) == forecast
    answered = ForecastOut.model_validate(forecast_json(forecast))
    assert set(ForecastOut.model_fields) == set(forecast_json(forecast))
    assert answered.state == forecast.state.name


@EACH
def test_kept_and_loaded(store: Store, forecast: Forecast) -> None:
    """A forecast is loaded from either database as it was kept."""
    stored = StoredForecast(forecast, NOW, 3)
    with store.write() as session:
        tank = save_tank(session, name="Byre", zone="UTC", toml="", created_at=NOW)
        save_forecast(session, tank.id, stored)
    with store.read() as session:
        assert load_forecast(session, tank.id, as_of=NOW) == stored
        assert load_forecast(session, tank.id, as_of=NOW - timedelta(seconds=1)) is None


def test_the_newest_counts(store: Store) -> None:
    """Of several forecasts the one with the newest as-of is loaded, the last made among equals."""
    with store.write() as session:
        tank = save_tank(session, name="Byre", zone="UTC", toml="", created_at=NOW)
        save_forecast(session, tank.id, StoredForecast(TOLD, NOW, 1))
        save_forecast(session, tank.id, StoredForecast(WITHHELD, NOW, 2))
        earlier = replace(TOLD, as_of=NOW - timedelta(days=1))
        save_forecast(session, tank.id, StoredForecast(earlier, NOW, 3))
        found = load_forecast(session, tank.id, as_of=NOW)
    assert found is not None
    assert found.tank_revision == 2


@pytest.mark.parametrize("forecast", [WITHHELD, BLIND], ids=["withheld", "blind"])
def test_withheld_members_are_null(forecast: Forecast) -> None:
    """A withheld forecast has litres, run-dry dates and order as null, and no days."""
    document = to_document(forecast)
    assert [document[name] for name in ("litres", "run_dry", "order")] == [None, None, None]
    assert document["daily"] == []
    told = forecast_json(forecast)
    assert told["appointment"] is None
    assert "order_below_l" not in told
