"""Weather years drawn from 12 monthly normals: temperature and sun together.

Flow     normals (+ the last weeks' weather) -> **weather years**, shape (scenario, day) -> forecast
Formula  T = m + trend + s y;  y = (x + c (x^2 - 1)) / sqrt(1 + 2 c^2), c = skew/6;  x = fast + slow part
         clearness = Beta quantile of Phi(r x + sqrt(1 - r^2) q);  q an AR(1) with 0.2;  sun = clearness H0
Source   tables weather_months and weather_classes: measured on 23 stations. Cross-validated on ten long
         records, each left out in turn: mean of 14 to 60 days' degree-days within 1 %, their spread
         within a factor of 1.16, 5 % and 95 % points within 4 to 5 % of the mean.

Not modelled: cold spells frozen for weeks by blocking (northern winters last longer than drawn),
change of the spread with warming, wind.
"""

from dataclasses import dataclass

import numpy as np

from forecaster.climate.curves import DAYS, Floats, Ints, daily_curve, day_of_year, decimal_year
from forecaster.climate.normals import Normals, clearness_curve
from forecaster.climate.persistence import MEMORY_DAYS, follow
from forecaster.climate.sun import extraterrestrial_wh_m2
from forecaster.tables import read_table
from forecaster.weather import Weather

SUN_PERSISTENCE = 0.2
"""Autocorrelation of the part of clearness that temperature does not tell."""
DARKEST, CLEAREST = 0.03, 0.76
"""Limits of the daily clearness index; the upper one is raised where the mean comes near."""
_Z = np.linspace(-4.5, 4.5, 61)
_EVERY = 5


@dataclass(frozen=True, slots=True, eq=False)
class WeatherYears:
    """Possible weather ahead, each scenario as likely as another.

    Attributes
    ----------
    start
        First day, datetime64[D].
    temp_c
        Daily mean temperature, shape (scenario, day). [degC]
    ghi_wh_m2
        Sun on the horizontal, shape (scenario, day); nan where nothing is known of it. [Wh/m2]
    source
        Where they come from, in words.
    effective_years
        How many different years stand behind them; None where they are drawn without end.
    """

    start: np.datetime64
    temp_c: Floats
    ghi_wh_m2: Floats
    source: str
    effective_years: int | None = None


@dataclass(frozen=True, slots=True, eq=False)
class Manner:
    """How the weather of a place varies about its normals, by day of the year, shapes (365,)."""

    mean_c: Floats
    sd_c: Floats
    skew: Floats
    slow_share: Floats
    phi_fast: float
    phi_slow: float
    clearness: Floats
    clearness_sd: Floats
    sun_correlation: Floats


def manner_of(normals: Normals) -> Manner:
    """Borrow from stations of the same class how the weather varies; the spread follows the annual range."""
    months = read_table("weather_months")
    classes = {row["region_class"]: row for row in read_table("weather_classes")}
    kind = classes.get(normals.region_class, classes["unknown"])

    def monthly(column: str) -> Floats:
        return np.array([float(row[column]) for row in months])

    annual_range = float(np.ptp(normals.temp_c))
    log_sd = np.log(monthly("sd_at_range_15_c")) + monthly("ln_sd_per_c_of_range") * (annual_range - 15.0)
    if normals.region_class == "east_north_america":
        log_sd = log_sd + monthly("ln_sd_east_north_america")
    winter, spring, summer, autumn = (float(kind[f"slow_{s}"]) for s in ("djf", "mam", "jja", "son"))
    slow = np.array([winter] * 2 + [spring] * 3 + [summer] * 3 + [autumn] * 3 + [winter])
    columns = ["r_ireland", "r_england", "r_continental", "r_nordic"]
    if kind["sun_from"] == "mean":
        correlation = np.mean([monthly(c) for c in columns], axis=0)
    else:
        correlation = monthly(f"r_{kind['sun_from']}")
    return Manner(
        mean_c=daily_curve(normals.temp_c),
        sd_c=daily_curve(np.exp(log_sd)),
        skew=daily_curve(monthly("skew")),
        slow_share=np.clip(daily_curve(slow), 0.0, 0.9),
        phi_fast=float(kind["phi_fast"]),
        phi_slow=float(kind["phi_slow"]),
        clearness=clearness_curve(normals),
        clearness_sd=daily_curve(monthly("clearness_sd")),
        sun_correlation=np.clip(daily_curve(correlation), -0.9, 0.9),
    )


def draw_weather_years(
    normals: Normals,
    *,
    start: np.datetime64,
    days: int,
    scenarios: int,
    rng: np.random.Generator,
    recent: Weather | None = None,
    trend_c_per_decade: float | None = None,
) -> WeatherYears:
    """Draw possible weather from monthly normals.

    Parameters
    ----------
    normals
        Of the place.
    start, days
        First day, and how many.
    scenarios
        How many; below 1,000 the 5 % and 95 % points of degree-days wander by 2 % and more.
    rng
        Source of chance.
    recent
        Weather of the last weeks: the draws start from where it left off. Days from ``start`` on are
        not looked at.
    trend_c_per_decade
        Warming since the normals; None takes the normals' own. [degC/decade]

    Returns
    -------
    WeatherYears

    Examples
    --------
    >>> from forecaster.climate import normals_for
    >>> years = draw_weather_years(normals_for(place="Dublin Airport"), start=np.datetime64("2026-01-01"),
    ...                            days=31, scenarios=2000, rng=np.random.Generator(np.random.PCG64(1)))
    >>> years.temp_c.shape, round(float(years.temp_c.mean()), 0)
    ((2000, 31), 6.0)
    """
    trend = normals.trend_c_per_decade if trend_c_per_decade is None else trend_c_per_decade
    manner = manner_of(normals)
    date = start.astype("datetime64[D]") + np.arange(days)
    day = day_of_year(date)
    begin = np.zeros(2), np.eye(2)
    if recent is not None:
        begin = state_before(date[0], recent, manner, trend=trend, middle_year=normals.middle_year)
    x = _persistent(manner, day, scenarios, rng, begin)
    c = manner.skew[day][:, None] / 6.0
    y = (x + c * (x**2 - 1.0)) / np.sqrt(1.0 + 2.0 * c**2)
    warming = trend * (decimal_year(date) - normals.middle_year) / 10.0
    temp = (manner.mean_c[day] + warming)[:, None] + manner.sd_c[day][:, None] * y
    ghi = draw_clearness(x, day, manner, rng) * extraterrestrial_wh_m2(date, normals.latitude)[:, None]
    begun = ", starting from the last weeks' weather" if recent is not None else ""
    source = f"drawn from monthly normals: {normals.source}; warming {trend:+.2g} degC per decade{begun}"
    return WeatherYears(date[0], np.ascontiguousarray(temp.T), np.ascontiguousarray(ghi.T), source)


def state_before(
    start: np.datetime64, recent: Weather, manner: Manner, *, trend: float, middle_year: float
) -> tuple[Floats, Floats]:
    """Say where the fast and the slow component stood on the day before ``start``: mean and covariance."""
    past = recent.window(start - np.timedelta64(MEMORY_DAYS, "D"), start)
    day = day_of_year(past.date)
    warming = trend * (decimal_year(past.date) - middle_year) / 10.0
    y = (past.temp_c - manner.mean_c[day] - warming) / manner.sd_c[day]
    x = without_skew(np.clip(y, -5.0, 5.0), manner.skew[day])
    mean, cov = follow(
        x[None, :], slow_share=manner.slow_share[day], phi_fast=manner.phi_fast, phi_slow=manner.phi_slow
    )
    return mean[0], cov[0]


def without_skew(y: Floats, skew: Floats) -> Floats:
    """Undo the skew of standardised anomalies: the x of y = (x + c (x^2 - 1)) / sqrt(1 + 2 c^2).

    Examples
    --------
    >>> without_skew(np.array([0.0, 1.0]), np.array([0.0, 0.0]))
    array([0., 1.])
    """
    c = skew / 6.0
    level = y * np.sqrt(1.0 + 2.0 * c**2) + c
    root = np.sqrt(np.maximum(1.0 + 4.0 * c * level, 0.0))
    return 2.0 * level / (1.0 + root)


def draw_clearness(x: Floats, day: Ints, manner: Manner, rng: np.random.Generator) -> Floats:
    """Draw the clearness index beside given temperature anomalies, shape (day, scenario)."""
    kept = np.sqrt(1.0 - SUN_PERSISTENCE**2)
    other = rng.standard_normal(x.shape)
    for i in range(1, x.shape[0]):
        other[i] = SUN_PERSISTENCE * other[i - 1] + kept * other[i]
    r = manner.sun_correlation[day][:, None]
    z = r * x + np.sqrt(1.0 - r**2) * other
    quantile = _clearness_quantiles(manner, day)
    out = np.empty_like(z)
    for i in range(z.shape[0]):
        out[i] = np.interp(z[i], _Z, quantile[i])
    return out


def _persistent(
    manner: Manner, day: Ints, scenarios: int, rng: np.random.Generator, begin: tuple[Floats, Floats]
) -> Floats:
    """Run both components on from their state on the day before; unit variance, shape (day, scenario)."""
    mean, cov = begin
    values, vectors = np.linalg.eigh(cov)
    root = vectors * np.sqrt(np.maximum(values, 0.0))
    fast, slow = mean[:, None] + root @ rng.standard_normal((2, scenarios))
    shock = rng.standard_normal((day.size, 2, scenarios))
    fast_shock, slow_shock = np.sqrt(1.0 - manner.phi_fast**2), np.sqrt(1.0 - manner.phi_slow**2)
    fast_share, slow_share = np.sqrt(1.0 - manner.slow_share[day]), np.sqrt(manner.slow_share[day])
    x = np.empty((day.size, scenarios))
    for i in range(day.size):
        fast = manner.phi_fast * fast + fast_shock * shock[i, 0]
        slow = manner.phi_slow * slow + slow_shock * shock[i, 1]
        x[i] = fast_share[i] * fast + slow_share[i] * slow
    return x


def _clearness_quantiles(manner: Manner, day: Ints) -> Floats:
    """Quantiles of the clearness index at the normal scores ``_Z``, shape (day, score).

    Worked out every fifth day and interpolated: an inverse Beta for each draw would cost a second.
    """
    from scipy.special import betaincinv, ndtr

    nodes = DAYS // _EVERY
    low, part = day // _EVERY, (day % _EVERY)[:, None] / _EVERY
    used, at = np.unique(np.concatenate([low, (low + 1) % nodes]), return_inverse=True)
    node = used * _EVERY
    mean, sd = manner.clearness[node], manner.clearness_sd[node]
    top = np.maximum(CLEAREST, mean + 0.12)
    m = np.clip((mean - DARKEST) / (top - DARKEST), 0.02, 0.98)
    variance = np.minimum((sd / (top - DARKEST)) ** 2, 0.5 * m * (1.0 - m))
    size = m * (1.0 - m) / variance - 1.0
    share = betaincinv((m * size)[:, None], ((1.0 - m) * size)[:, None], ndtr(_Z)[None, :])
    quantile = DARKEST + (top - DARKEST)[:, None] * share
    before, after = quantile[at[: day.size]], quantile[at[day.size :]]
    result: Floats = before * (1.0 - part) + after * part
    return result
