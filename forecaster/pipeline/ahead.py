"""All that lies ahead of the as-of instant: the place's weather, and the litres paths.

Flow     normals or a long record, outlook -> weather ahead -> **paths**
"""

from collections.abc import Mapping
from datetime import date

import numpy as np
import numpy.typing as npt

from forecaster.burn_model import Posterior, house_drivers
from forecaster.calibration import Calibration
from forecaster.civil import instant
from forecaster.climate import (
    Normals,
    WeatherYears,
    check_place,
    draw_weather_years,
    normals_for,
    normals_from_record,
    resample_weather_years,
)
from forecaster.dwelling import Survey
from forecaster.errors import Problem, WeatherError
from forecaster.forecast import Paths, daily_oil_c, draw_chances, simulate_litres
from forecaster.outlook import recent_weather, splice_outlook
from forecaster.past_weather import PastWeather
from forecaster.pipeline.behind import Behind, common_error_l
from forecaster.pipeline.inputs import Inputs

Floats = npt.NDArray[np.float64]

SCENARIOS = 1_000
"""Weather years of a forecast; fewer make the 5 and 95 % points wander by 2 % and more."""


def place_normals(inputs: Inputs) -> Normals:
    """Monthly normals for the place: of the survey's place, refined by a long record where one is given.

    Raises
    ------
    WeatherError
        When there is neither a place nor a long record, or the weather cannot be from there.
    """
    s = inputs.survey or Survey()
    placed = s.latitude is not None or bool(s.place)
    if not placed and inputs.years is None:
        mend = "give --years (a long daily record), or latitude and longitude or a place in the survey"
        raise WeatherError(Problem("no_place", "place", mend))
    if placed:
        near = normals_for(
            latitude=s.latitude, longitude=s.longitude, place=s.place, elevation_m=s.elevation_m
        )
    else:
        near = normals_for(place="UK average")
    normals = near if inputs.years is None else normals_from_record(inputs.years, like=near)
    misplaced = check_place(inputs.weather, normals) if inputs.weather is not None else None
    if misplaced is not None:
        raise WeatherError(misplaced)
    return normals


def lay_weather_ahead(
    inputs: Inputs, past: PastWeather, normals: Normals, *, start: np.datetime64, days: int,
    rng: np.random.Generator,
) -> WeatherYears:  # fmt: skip
    """Weather years from the day of as-of on, with the outlook in front."""
    if inputs.weather_ahead is not None:
        return inputs.weather_ahead
    recent = recent_weather(past, inputs.outlook)
    if inputs.years is not None:
        years = resample_weather_years(
            inputs.years, start=start, days=days, scenarios=SCENARIOS, rng=rng, recent=recent, normals=normals
        )
    else:
        years = draw_weather_years(
            normals, start=start, days=days, scenarios=SCENARIOS, rng=rng, recent=recent
        )
    return splice_outlook(years, inputs.outlook, normals, rng=rng)


def look_ahead(
    known: Inputs, behind: Behind, posterior: Posterior, normals: Normals, *, today: np.datetime64,
    rng: np.random.Generator,
) -> Paths:  # fmt: skip
    """Simulate the tank over the weather ahead.

    Parameters
    ----------
    known : Inputs
        Cut at as-of.
    behind : Behind
    posterior : Posterior
        At as-of.
    normals : Normals
    today : datetime64[D]
        Civil day of as-of, the first day ahead.
    rng : Generator
        For the weather and the chances that do not come with the inputs.
    """
    tank, days = known.tank, known.horizon_days + 1
    years = lay_weather_ahead(known, behind.past, normals, start=today, days=days, rng=rng)
    drivers = house_drivers(today + np.arange(days), years.temp_c, years.ghi_wh_m2, house=behind.house)
    oil_c = daily_oil_c(_behind_and_ahead(behind.past, years), location=tank.location)[:, -days:]
    chances = known.chances or draw_chances(
        paths=known.paths,
        days=days,
        day_noise=known.model.day_noise,
        slow_days=known.model.slow_days,
        rng=rng,
    )
    return simulate_litres(
        posterior, drivers, day_share=_day_share(known, behind, days), oil_c=oil_c,
        oil_now_c=float(behind.oil_c[-1]), density_15c=tank.fuel.density_15c,
        promised_l=_promised(known.settings.ordered, today, days),
        offset_sd_l=common_error_l(behind.levels, tank), chances=chances, settings=known.model,
        calibration=_calibration(known, normals), spread=known.spread,
    )  # fmt: skip


def _calibration(known: Inputs, normals: Normals) -> Calibration | None:
    """What is known of the bands, with the seasons of the place."""
    found = known.calibration
    return found.in_the_south() if found is not None and normals.latitude < 0.0 else found


def _day_share(known: Inputs, behind: Behind, days: int) -> Floats:
    """Part of each day that lies ahead: all of it, but for the day of as-of."""
    begin, end = behind.midnights[-2:]
    share = np.ones(days)
    share[0] = float((end - instant(known.as_of)) / (end - begin))
    return share


def _behind_and_ahead(past: PastWeather, ahead: WeatherYears) -> Floats:
    """Temperatures of the last ten known days in front of every scenario, for the oil's lag."""
    behind = np.broadcast_to(past.temp_c[-11:-1], (ahead.temp_c.shape[0], len(past.temp_c[-11:-1])))
    return np.concatenate([behind, ahead.temp_c], axis=1)


def _promised(ordered: Mapping[date, float], today: np.datetime64, days: int) -> Floats:
    out = np.zeros(days)
    for day, litres in ordered.items():
        index = (np.datetime64(day, "D") - today).astype(int)
        if 0 <= index < days:
            out[index] += litres
    return out
