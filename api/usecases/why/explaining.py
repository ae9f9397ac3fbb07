"""Take an answer apart: its inputs again, its fit again, and the account that follows from it.

Flow     kept forecast, store -> work_out, make_account -> **explanation**
"""

from collections import OrderedDict
from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

import numpy as np

from api.ports import Clock
from api.store import Store
from api.store.forecasts import load_forecast
from api.store.tanks import load_tank
from api.usecases.fetch_weather import weather_words
from api.usecases.order_settings import settings_of_tank
from api.usecases.refresh_forecast import gather_inputs, refresh_forecast
from api.usecases.why.rates import Rate, compare_rates
from api.usecases.why.readings import ReadingsUsed, sort_readings
from api.usecases.why.weather import WeatherUsed, sort_days
from forecaster.civil import civil_date, zone_of
from forecaster.confidence import Forecast, ToldForecast

if TYPE_CHECKING:
    from forecaster.account import Account
    from forecaster.pipeline import Inputs


@dataclass(frozen=True, slots=True)
class Explanation:
    """What an answer was made from.

    ``account`` is None and ``rates`` is empty where the forecast is withheld: its last level is doubted,
    and with it whatever was learnt from it.
    """

    name: str
    zone: ZoneInfo
    forecast: Forecast
    inputs: "Inputs"
    readings: ReadingsUsed
    weather: WeatherUsed
    rests_on: tuple[str, ...]
    rates: tuple[Rate, ...]
    account: "Account | None"


KEPT = 8
"""So many explanations are kept: each takes seconds to make, and holds for as long as its forecast does."""
_kept: OrderedDict[tuple[str, datetime, int], Explanation] = OrderedDict()


def explain(store: Store, clock: Clock, public_id: str) -> Explanation:
    """Explain the answer that a tank has now.

    Raises
    ------
    NotFoundError
        When there is no such tank.
    InputError
        When too little is known to forecast at all.
    """
    from forecaster.account import make_account
    from forecaster.dwelling import Survey, burn_prior
    from forecaster.forecast import SEED
    from forecaster.pipeline import known_at, work_out
    from forecaster.pipeline.behind import learn_behind

    forecast = refresh_forecast(store, clock, public_id)
    with store.read() as session:
        tank = load_tank(session, public_id)
        made = (public_id, forecast.as_of, tank.revision)
        if made in _kept:
            return _kept[made]
        today = civil_date(forecast.as_of, zone_of(tank.zone))
        inputs = gather_inputs(
            session, tank, as_of=forecast.as_of, kept=load_forecast(session, tank.id, as_of=forecast.as_of),
            settings=settings_of_tank(session, tank.id, today=today),
        )  # fmt: skip
        source = weather_words(session, tank, now=clock.now())
    working = work_out(inputs, rng=np.random.default_rng(SEED))
    known = known_at(inputs)
    zone = zone_of(known.timezone)
    day = np.datetime64(civil_date(known.as_of, zone), "D")
    known, behind = learn_behind(known, working.normals, today=day)
    is_told = isinstance(forecast, ToldForecast)
    prior = burn_prior(known.survey or Survey(), known.tank.fuel)
    _kept[made] = Explanation(
        tank.name, zone, forecast, known,
        sort_readings(known, behind, working.posterior),
        sort_days(known, behind, working, source=source),
        working.rests_on,
        compare_rates(prior, working.posterior) if is_told else (),
        make_account(inputs, working, rng=np.random.default_rng(SEED)) if is_told else None,
    )  # fmt: skip
    if len(_kept) > KEPT:
        _kept.popitem(last=False)
    return _kept[made]
