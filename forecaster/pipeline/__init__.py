"""From readings to a forecast, stage by stage: read this first.

1. readings are screened and become levels in litres      (screening, levels)
2. tickets and rises are matched                          (deliveries)
3. the weather behind us is completed                     (past_weather)
4. weather and survey become what drives the burn         (burn_model.drivers)
5. the burn model is fitted to the levels; while more or less is gone than weather and habits explain,
   nothing is learnt from the levels that say so          (burn_model, anomalies, learning)
6. weather years are laid ahead, the outlook in front     (climate, outlook)
7. litres paths are simulated                             (forecast)
8. when the tank runs dry                                 (run_dry)
9. when to order how much                                 (reorder)
10. what looks wrong, and whether a date may be told      (anomalies, confidence)
"""

from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np
import numpy.typing as npt

from forecaster.anomalies import Evidence, Watch, find_reasons, last_believed
from forecaster.burn_model import Posterior
from forecaster.civil import civil_date, zone_of
from forecaster.climate import Normals, normal_day
from forecaster.confidence import DayOutlook, Forecast, LitresBand, Numbers, RunDryDates, gate
from forecaster.forecast import Paths
from forecaster.levels import Levels
from forecaster.past_weather import PastWeather
from forecaster.pipeline.ahead import lay_weather_ahead, look_ahead, place_normals
from forecaster.pipeline.behind import Behind, learn_behind
from forecaster.pipeline.inputs import HORIZON_DAYS, Inputs, known_at
from forecaster.pipeline.learning import learn_house
from forecaster.reorder import Spells, advise_order, order_below_l
from forecaster.run_dry import chance_dry, run_dry_date, run_dry_days
from forecaster.states import Reason, State

__all__ = [
    "HORIZON_DAYS",
    "Behind",
    "Inputs",
    "Working",
    "known_at",
    "lay_weather_ahead",
    "make_forecast",
    "place_normals",
    "work_out",
]

Floats = npt.NDArray[np.float64]

DAILY_QUANTILES = (0.025, 0.1, 0.25, 0.5, 0.75, 0.9, 0.975)


@dataclass(frozen=True, slots=True, eq=False)
class Working:
    """How a forecast came about, stage by stage, for those who ask why.

    Attributes
    ----------
    forecast
        What may be said.
    levels, past, posterior, paths, p_dry
        The stages' results; `levels` holds every reading with its flags.
    normals
        The normals that stand for the place.
    rests_on
        What the prior was made from, in sentences.
    """

    forecast: Forecast
    levels: Levels
    past: PastWeather
    posterior: Posterior
    paths: Paths
    p_dry: Floats
    normals: Normals
    rests_on: tuple[str, ...]


def make_forecast(inputs: Inputs, *, rng: np.random.Generator) -> Forecast:
    """Make the forecast of one tank.

    Parameters
    ----------
    inputs : Inputs
    rng : Generator
        The same seed for every tank and every day, so that an answer moves only with what is learnt.

    Raises
    ------
    WeatherError
        When there is neither a place nor a long record to lay weather ahead from.
    """
    return work_out(inputs, rng=rng).forecast


def work_out(inputs: Inputs, *, rng: np.random.Generator) -> Working:
    """Make the forecast of one tank and keep its working."""
    known = known_at(inputs)
    today = np.datetime64(civil_date(known.as_of, zone_of(known.timezone)), "D")
    normals = place_normals(known)
    known, behind = learn_behind(known, normals, today=today)
    posterior, watch = learn_house(known, behind, normals)
    paths = look_ahead(known, behind, posterior, normals, today=today, rng=rng)
    p_dry = _chance_dry(paths, heel_l=known.tank.heel_l)
    forecast = _decide(known, behind, posterior, watch, paths, p_dry, normals)
    return Working(
        forecast, behind.levels, behind.past, posterior, paths, p_dry, normals, behind.house.prior.rests_on
    )


def _run_dry(paths: Paths, *, heel_l: float) -> Floats:
    """First day on which each path is at or below the heel, inf for never."""
    # a path that is dry already at as-of was dry before the first evening
    return np.where(paths.now_l <= heel_l, 0.0, run_dry_days(paths.litres, heel_l=heel_l))


def _chance_dry(paths: Paths, *, heel_l: float) -> Floats:
    """Chance of having touched the heel by the end of each day."""
    return chance_dry(_run_dry(paths, heel_l=heel_l), days=paths.litres.shape[1])


def _decide(
    known: Inputs, behind: Behind, posterior: Posterior, watch: Watch, paths: Paths, p_dry: Floats,
    normals: Normals,
) -> Forecast:  # fmt: skip
    """Draw the advice from the paths, look for what is wrong, and let the gate decide."""
    tank, first = known.tank, paths.date[0].item()
    spells = Spells(
        _run_dry(paths, heel_l=tank.heel_l), paths.scenario_of, paths.temp_c, normal_day(normals, paths.date)[0]
    )  # fmt: skip
    order = advise_order(
        paths.litres, p_dry, now_l=paths.now_l, first=first, safe_fill_l=tank.safe_fill_l,
        settings=known.settings, spells=spells,
    )  # fmt: skip
    evidence = Evidence(
        as_of=known.as_of, zone=zone_of(known.timezone), tank=tank, levels=behind.levels,
        deliveries=behind.deliveries, rises=behind.rises, tickets=behind.tickets, posterior=posterior,
        past=behind.past, drivers=behind.drivers, midnights=behind.midnights, prior=behind.house.prior,
        now_l=paths.now_l, settings=known.model, outlook=known.outlook, watch=watch,
    )  # fmt: skip
    wide = [Reason("far_normals", State.WIDE, note) for note in normals.notes]
    wide += [Reason("confirmed", State.WIDE, note) for note in tank.notes]
    return gate(
        Numbers(_band(paths.now_l), _run_dry_dates(p_dry, first), order, _daily(paths, p_dry)),
        as_of=known.as_of, reasons=(*find_reasons(evidence), *known.notes, *wide),
        horizon_days=known.horizon_days, last_trusted=behind.level(last_believed(evidence)),
        earlier=known.appointment, filled_at=behind.last_filled,
        order_by=order.latest if posterior.observed_from is not None else None,
        order_below_l=order_below_l(
            paths.litres, now_l=paths.now_l, first=first, heel_l=tank.heel_l, settings=known.settings,
            spells=spells,
        ),
    )  # fmt: skip


def _band(now_l: Floats) -> LitresBand:
    p10, p50, p90 = (float(v) for v in np.quantile(np.maximum(now_l, 0.0), [0.1, 0.5, 0.9]))
    return LitresBand(p10, p50, p90)


def _run_dry_dates(p_dry: Floats, first: date) -> RunDryDates:
    def by(chance: float) -> date | None:
        return run_dry_date(p_dry, first=first, chance=chance)

    return RunDryDates(by(0.02), by(0.05), by(0.10), by(0.50), by(0.90), by(0.95))


def _daily(paths: Paths, p_dry: Floats) -> tuple[DayOutlook, ...]:
    # sorting whole days at once is several times faster than seven partitions of each
    ordered = np.sort(np.ascontiguousarray(paths.litres.T), axis=1)
    place = np.asarray(DAILY_QUANTILES) * (ordered.shape[1] - 1)
    below = place.astype(np.int64)
    above = np.minimum(below + 1, ordered.shape[1] - 1)
    told = ordered[:, below] + (place - below) * (ordered[:, above] - ordered[:, below])
    p025, p10, p25, p50, p75, p90, p975 = told.T.tolist()
    first: date = paths.date[0].item()
    return tuple(
        DayOutlook(
            first + timedelta(days=i),
            p10[i],
            p50[i],
            p90[i],
            float(p_dry[i]),
            p025[i],
            p25[i],
            p75[i],
            p975[i],
        )
        for i in range(len(p_dry))
    )
