"""Make a tank's forecast from all that is stored of it, and keep it with its appointment.

The deciding takes a while and holds no transaction: readings come in meanwhile. A kept forecast is
given again only while nothing it rests on has changed, and not for long: one that is told is always
of this hour.

Flow     store -> **gather** -> forecaster.pipeline -> **keep** -> doors
"""

from datetime import datetime, timedelta
from typing import TYPE_CHECKING

import numpy as np

from api.ports import Clock
from api.store import Session, Store
from api.store.deliveries import load_deliveries, load_receipts
from api.store.forecasts import StoredForecast, load_forecast, save_forecast
from api.store.tanks import StoredTank, TextKind, load_tank, load_tank_version, load_text
from api.store.weather import load_outlook, load_weather
from api.usecases.moved_sensor import load_readings_as_now
from api.usecases.order_settings import settings_of_tank
from api.usecases.record_readings import describe
from forecaster.civil import civil_date, zone_of
from forecaster.confidence import Forecast
from forecaster.diary import parse_changes, parse_diary
from forecaster.dwelling import Survey, parse_survey
from forecaster.reorder import OrderSettings
from forecaster.stove import parse_stove_log

if TYPE_CHECKING:
    from forecaster.pipeline import Inputs

FRESH = timedelta(minutes=10)
"""So long a kept forecast is given again while nothing changed."""
OUTLOOK_AGE = timedelta(hours=24)
"""An older weather outlook is not used."""


def refresh_forecast(
    store: Store, clock: Clock, public_id: str, *, settings: OrderSettings | None = None
) -> Forecast:
    """Give a tank's forecast as of now, made anew where anything changed.

    Parameters
    ----------
    settings
        How oil is ordered at this place; given, the forecast is made anew. None: as this tank's own
        orders tell it.

    Raises
    ------
    NotFoundError
        When there is no such tank.
    """
    as_of = clock.now().replace(microsecond=0)
    with store.read() as session:
        tank = load_tank(session, public_id)
        kept = load_forecast(session, tank.id, as_of=as_of)
        if settings is None and kept is not None and _is_fresh(kept, tank, as_of):
            return kept.forecast
        today = civil_date(as_of, zone_of(tank.zone))
        inputs = gather_inputs(
            session, tank, as_of=as_of, kept=kept,
            settings=settings or settings_of_tank(session, tank.id, today=today),
        )  # fmt: skip
    forecast = decide(inputs)
    with store.write() as session:
        save_forecast(session, tank.id, StoredForecast(forecast, as_of, tank.revision))
    return forecast


def decide(inputs: "Inputs") -> Forecast:
    """Hand everything to the engine, with the same draws every time: same inputs, same answer."""
    from forecaster.forecast import SEED
    from forecaster.pipeline import make_forecast

    return make_forecast(inputs, rng=np.random.default_rng(SEED))


def gather_inputs(
    session: Session,
    tank: StoredTank,
    *,
    as_of: datetime,
    kept: StoredForecast | None,
    settings: OrderSettings,
) -> "Inputs":
    """Collect what is stored of a tank up to an instant.

    Where the tank's description was changed, only readings under the present one are looked at: the
    engine reckons with one shape. A sensor that was only moved keeps its past. The appointment of the
    kept forecast goes along.
    """
    from forecaster.pipeline import Inputs

    version = load_tank_version(session, tank.id, as_of=as_of)
    described = describe(version.toml)
    survey_toml = load_text(session, tank.id, TextKind.SURVEY, as_of=as_of)
    survey = parse_survey(survey_toml) if survey_toml is not None else None
    diary = load_text(session, tank.id, TextKind.DIARY, as_of=as_of)
    stove_log = load_text(session, tank.id, TextKind.STOVE_LOG, as_of=as_of)
    zone = (survey.timezone if survey else None) or described.timezone or tank.zone
    today = civil_date(as_of, zone_of(zone))
    return Inputs(
        tank=described,
        readings=load_readings_as_now(session, tank, as_of=as_of),
        weather=load_weather(session, tank.station_id, before=today) if tank.station_id else None,
        years=load_weather(session, tank.years_station_id, before=today) if tank.years_station_id else None,
        outlook=load_outlook(session, tank.station_id, since=as_of - OUTLOOK_AGE, until=as_of)
        if tank.station_id
        else None,
        deliveries=load_deliveries(session, tank.id, until=as_of),
        receipts=load_receipts(session, tank.id, until=today),
        survey=survey or Survey(),
        diary=parse_diary(diary)[0] if diary is not None else (),
        changes=parse_changes(diary) if diary is not None else (),
        stove_log=parse_stove_log(stove_log)[0] if stove_log is not None else None,
        as_of=as_of,
        timezone=zone,
        settings=settings,
        appointment=kept.forecast.appointment if kept is not None else None,
    )


def _is_fresh(kept: StoredForecast, tank: StoredTank, as_of: datetime) -> bool:
    return kept.tank_revision == tank.revision and as_of - kept.made_at < FRESH
