"""What looks wrong, how sure, and what to tell people: the reasons a forecast is wide or withheld.

Each finder looks at one way in which a forecast goes wrong and returns reasons, mostly none. None of
them decides: the gate takes the worst.

Flow     levels, posterior, tickets, weather -> **reasons** -> gate
Source   thresholds: engineering rules, tuned on simulated tanks; where a figure was published it is
         named beside it
"""

import itertools
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np
import numpy.typing as npt

from forecaster.burn_model import Drivers, Posterior, Settings
from forecaster.burn_model.expected import expected_burn
from forecaster.civil import civil_date, to_datetime
from forecaster.deliveries import Deliveries, Rise, TicketCheck
from forecaster.dwelling import BurnPrior
from forecaster.levels import Levels
from forecaster.past_weather import PastWeather
from forecaster.phrases import day_text, days_text, litres_text, moment_text
from forecaster.screening import Flag
from forecaster.states import Reason, State
from forecaster.tanks import Tank

Floats = npt.NDArray[np.float64]

WIDE_SHARE, STALE_SHARE = 0.10, 0.40
"""80 % band of litres over usable capacity from which a forecast is wide, and may be stale. [-]"""
QUIET_FACTOR, QUIET_LEAST_H = 1.5, 48.0
"""A source is silent after 1.5 of its usual intervals, but not before 48 hours."""
STUCK_STEPS, STUCK_SUMMER_D = 3.0, 21.0
"""A sensor is stuck when the least expected burn exceeds three of its steps; in summer after 21 days."""
LOSS_FLOOR_L, LOSS_MARGIN, LOSS_SIGMAS = 30.0, 1.25, 3.0
"""Fast loss: more than max(30 l, burner ceiling x time x 1.25 + 3 sigma). Engineering rule."""
LARGEST_BOILER_L_PER_DAY = 105.0
"""Ceiling where no boiler is known: 45 kW of kerosene day and night. Assumption. [L/d]"""
LOOK_BACK = timedelta(days=7)
"""A loss or a missing rise that old is still told."""
SHORT_HISTORY_D = 30.0
"""A house watched for less rests on its survey. [d]"""
OLD_WEATHER_D = 3
"""The newest known weather may be that many civil days before as-of. [d]"""


@dataclass(frozen=True, slots=True, eq=False)
class Evidence:
    """All that the finders look at."""

    as_of: datetime
    zone: ZoneInfo
    tank: Tank
    levels: Levels
    deliveries: Deliveries
    rises: tuple[Rise, ...]
    tickets: tuple[TicketCheck, ...]
    posterior: Posterior
    past: PastWeather
    drivers: Drivers
    midnights: npt.NDArray[np.datetime64]
    prior: BurnPrior
    now_l: Floats
    settings: Settings

    def since(self, at: np.datetime64) -> float:
        """Days from an instant to as-of."""
        return float((self.posterior.at - at) / np.timedelta64(1, "s")) / 86_400.0

    def when(self, at: np.datetime64) -> str:
        """An instant in words."""
        return moment_text(to_datetime(at), self.zone)

    def day(self, at: np.datetime64) -> str:
        """The civil day of an instant in words, with the year when it is another."""
        day = civil_date(to_datetime(at), self.zone)
        return day_text(day, year=day.year != civil_date(self.as_of, self.zone).year)


def find_reasons(evidence: Evidence) -> tuple[Reason, ...]:
    """Look for everything that can be wrong.

    Returns
    -------
    tuple of Reason
        Empty when nothing is.
    """
    finders = (
        *(_blind, _stale, _stuck, _silent_echo, _unit_change, _contradiction, _fast_loss, _maybe_dry),
        *(_ticket_without_rise, _wrong_geometry, _unreported_delivery, _rising, _dead_band),
        *(_tickets_only, _wide, _short_history, _old_weather),
    )
    return tuple(r for finder in finders for r in finder(evidence))


def band_share(now_l: Floats, tank: Tank) -> float:
    """Width of the 80 % band of litres, over the usable capacity."""
    low, high = np.quantile(now_l, [0.1, 0.9])
    return float(high - low) / tank.usable_l


def _trusted(e: Evidence) -> npt.NDArray[np.bool_]:
    return e.levels.trusted()


def _blind(e: Evidence) -> Sequence[Reason]:
    if _trusted(e).any() or e.posterior.observed_from is not None:
        return ()
    return [Reason("no_level", State.BLIND, "Send a first reading, or type what the gauge shows.")]


def _stale(e: Evidence) -> Sequence[Reason]:
    at = e.levels.at[_trusted(e)]
    if len(at) == 0:
        return ()
    silent_h = e.since(at[-1]) * 24
    usual_h = float(np.median(np.diff(at[-21:]) / np.timedelta64(3600, "s"))) if len(at) > 1 else 24.0
    if silent_h <= max(QUIET_FACTOR * usual_h, QUIET_LEAST_H):
        return ()
    said = f"No level that we trust has come since {e.day(at[-1])}, {days_text(silent_h / 24)} ago."
    may_be_dry = float(np.quantile(e.now_l, 0.005)) <= e.tank.heel_l
    if band_share(e.now_l, e.tank) > STALE_SHARE or may_be_dry:
        return [Reason("stale", State.STALE, f"{said} {_weather_since(e, at[-1])}")]
    return [
        Reason(
            "silent", State.WIDE, f"{said} The answer goes on from there by the weather, and is less sure."
        )
    ]


def _weather_since(e: Evidence, at: np.datetime64) -> str:
    """What the weather did since an instant, against the normals of these days."""
    days = e.past.date > at.astype("datetime64[D]")
    known = days & ~e.past.assumed
    if not known.any():
        return "What the weather did since is not known."
    mean = float(e.past.temp_c[known].mean())
    return f"Since then the weather averaged {mean:.0f} °C over {days_text(int(known.sum()))}."


def _stuck(e: Evidence) -> Sequence[Reason]:
    """The same raw value although oil must have gone, judged by expected burn and not by time."""
    ok = np.flatnonzero(_trusted(e) & ~e.levels.censored)
    if len(ok) < 3:
        return ()
    raw = e.levels.raw[ok]
    other = np.flatnonzero(raw != raw[-1])
    first = ok[other[-1] + 1] if len(other) else ok[0]
    if first == ok[-1]:
        return ()
    start, last = e.levels.at[first], e.levels.at[ok[-1]]
    mean, sd = _between(e, start, last)
    step_l = float(e.levels.step_l[ok[-1]])
    least = mean - 1.645 * sd
    warm_and_long = e.since(start) > STUCK_SUMMER_D and mean > step_l
    if least <= STUCK_STEPS * step_l and not warm_and_long:
        return ()
    since = e.day(start)
    text = (
        f"The sensor has shown exactly the same level since {since}. In this weather about "
        f"{litres_text(mean, sd=sd)} should have gone. Either it is stuck or the heating is off. "
        "Please read the gauge."
    )
    cold = float(e.past.temp_c[e.past.date >= start.astype("datetime64[D]")].min()) < 0.0
    if cold:
        text += " It has been freezing since: is your heating working?"
    return [Reason("stuck", State.CHECK, text)]


def _between(e: Evidence, start: np.datetime64, end: np.datetime64) -> tuple[float, float]:
    return expected_burn(e.posterior, e.drivers, e.midnights, start=start, end=end, settings=e.settings)


def _silent_echo(e: Evidence) -> Sequence[Reason]:
    lost = (e.levels.flags & (Flag.NO_ECHO | Flag.ABOVE_TANK | Flag.BELOW_TANK)) != 0
    if len(lost) < 3 or not lost[-3:].all():
        return ()
    good = np.flatnonzero(_trusted(e))
    since = f" since {e.when(e.levels.at[good[-1]])}" if len(good) else ""
    text = f"No valid echo{since}. This does not tell us whether there is oil; read the gauge."
    return [Reason("no_echo", State.WIDE, text)]


def _unit_change(e: Evidence) -> Sequence[Reason]:
    recent = e.levels.at > e.posterior.at - np.timedelta64(LOOK_BACK)
    if not ((e.levels.flags & Flag.UNIT) != 0)[recent].any():
        return ()
    text = (
        "The sensor's numbers changed their size at one stroke, as if the unit had changed. We have stopped "
        "forecasting until you confirm the unit."
    )
    return [Reason("unit", State.CHECK, text)]


def _contradiction(e: Evidence) -> Sequence[Reason]:
    """The last two readings or more are far from what levels, tickets and weather allow."""
    verdicts = e.posterior.verdicts
    if len(verdicts) < 2 or not (verdicts[-2:] == 2).all():
        return ()
    text = (
        "The last readings do not follow from those before: a delivery that was not entered, oil lost, or a "
        "sensor that was moved. Please read the gauge and tell us what happened."
    )
    return [Reason("contradiction", State.CHECK, text)]


def _fast_loss(e: Evidence) -> Sequence[Reason]:
    ok = np.flatnonzero(_trusted(e) & ~e.levels.censored)
    if len(ok) < 2:
        return ()
    at, litres, sd = e.levels.at[ok], e.levels.litres[ok], e.levels.sd_l[ok]
    hours = np.diff(at) / np.timedelta64(1, "h")
    fall = -np.diff(litres)
    added = np.array([_added(e.deliveries, a, b) for a, b in itertools.pairwise(at)])
    ceiling = min(e.prior.boiler_ceiling_l_per_day, LARGEST_BOILER_L_PER_DAY)
    sigma = np.hypot(sd[1:], sd[:-1])
    most = np.maximum(LOSS_FLOOR_L, ceiling / 24 * hours * LOSS_MARGIN + LOSS_SIGMAS * sigma)
    recent = at[1:] > e.posterior.at - np.timedelta64(LOOK_BACK)
    for i in np.flatnonzero((fall + added > most) & recent):
        later = litres[i + 1 :]
        stays_down = len(later) >= 2 and bool((later[1:] < litres[i] - 0.5 * fall[i]).all())
        lost = litres_text(float(fall[i] + added[i]), sd=float(sigma[i]))
        over = f"between {e.when(at[i])} and {e.when(at[i + 1])}"
        if stays_down:
            text = (
                f"Possible leak or theft: about {lost} left the tank {over}, more than the boiler can burn. "
                "Look from a safe distance; if someone is there, stay indoors and call the police. If oil is "
                "seen, close the valve at the tank, keep it from drains, and call the pollution line."
            )
            return [Reason("fast_loss", State.URGENT, text)]
        if len(later) == 1:
            text = f"The last reading is about {lost} lower than the one before. Read the gauge to see which is right."
            return [Reason("unconfirmed_fall", State.CHECK, text)]
    return ()


def _added(deliveries: Deliveries, start: np.datetime64, end: np.datetime64) -> float:
    inside = (deliveries.at > start) & (deliveries.at <= end)
    signed = np.where(deliveries.removed, -deliveries.litres, deliveries.litres)
    return float(signed[inside].sum())


def _maybe_dry(e: Evidence) -> Sequence[Reason]:
    """Two readings flat within their error of the heel: the boiler may already have stopped."""
    ok = np.flatnonzero(_trusted(e) & ~e.levels.censored)
    if len(ok) == 0:
        return ()
    litres, sd = e.levels.litres[ok], e.levels.sd_l[ok]
    if litres[-1] > e.tank.heel_l + 2 * sd[-1]:
        return ()
    text = (
        "The level stands at the draw-off: only what the boiler cannot use may be left. If the heating has "
        "stopped, do not keep pressing reset: unburnt oil can collect and light violently. Order now, and "
        "have a technician bleed the line."
    )
    return [Reason("maybe_dry", State.URGENT, text)]


def _ticket_without_rise(e: Evidence) -> Sequence[Reason]:
    recent = [
        t for t in e.tickets
        if t.missing and e.since(t.at) <= LOOK_BACK / timedelta(days=1)
    ]  # fmt: skip
    return [
        Reason(
            "ticket_without_rise", State.URGENT,
            f"{litres_text(t.ticket_l)} were entered as delivered on {e.day(t.at)}, but the level did not rise. "
            "Wrong tank, wrong address, a spill or a sensor fault: look at the tank and the bund now.",
        )
        for t in recent[-1:]
    ]  # fmt: skip


def _wrong_geometry(e: Evidence) -> Sequence[Reason]:
    """Two tickets or more that disagree with their rises in the same sense."""
    seen = [t for t in e.tickets if not t.missing and t.rise_l > 0]
    if len(seen) < 2:
        return ()
    off = float(np.median([t.rise_l / t.ticket_l for t in seen])) - 1.0
    sure = float(np.sqrt(np.mean([(t.rise_sd_l / t.ticket_l) ** 2 for t in seen]) / len(seen)))
    if abs(off) <= 0.05 + 2 * sure:
        return ()
    ticket, rise = sum(t.ticket_l for t in seen), sum(t.rise_l for t in seen)
    text = (
        f"{len(seen)} deliveries of together {litres_text(ticket)} raised the level by what your tank's shape says is "
        f"{litres_text(rise, sd=10)}. The shape or the size on file is probably wrong. Measure again."
    )
    return [Reason("geometry", State.CHECK if abs(off) > 0.10 + 2 * sure else State.WIDE, text)]


def _unreported_delivery(e: Evidence) -> Sequence[Reason]:
    recent = [r for r in e.rises if e.since(r.at) <= 30]
    return [
        Reason(
            "unreported_delivery", State.WIDE,
            f"The level rose by about {litres_text(r.litres, sd=r.sd_l)} on {e.day(r.at)}. A delivery? "
            "Enter its ticket, so that it counts exactly.",
        )
        for r in recent[-1:]
    ]  # fmt: skip


def _rising(e: Evidence) -> Sequence[Reason]:
    recent = e.levels.at > e.posterior.at - np.timedelta64(LOOK_BACK)
    if ((e.levels.flags & Flag.TREND) != 0)[recent].sum() < 3:
        return ()
    text = "The level is rising without a delivery. Water getting in is one cause; have it checked before ordering."
    return [Reason("rising", State.CHECK, text)]


def _dead_band(e: Evidence) -> Sequence[Reason]:
    usable = np.flatnonzero(_trusted(e))
    if len(usable) == 0 or not e.levels.censored[usable[-1]]:
        return ()
    least = litres_text(float(e.levels.litres[usable[-1]]), sd=10)
    text = f"The oil stands too close to the sensor to be measured: there are at least {least}."
    return [Reason("dead_band", State.WIDE, text)]


def _tickets_only(e: Evidence) -> Sequence[Reason]:
    if _trusted(e).any() or e.posterior.observed_from is None:
        return ()
    text = "No level has been read: this rests on the last fill, the weather and your survey."
    return [Reason("tickets_only", State.WIDE, text)]


def _wide(e: Evidence) -> Sequence[Reason]:
    if band_share(e.now_l, e.tank) <= WIDE_SHARE:
        return ()
    return [Reason("wide_band", State.WIDE, "How much is left is known only roughly.")]


def _short_history(e: Evidence) -> Sequence[Reason]:
    first = e.posterior.observed_from
    if first is None or e.since(first) >= SHORT_HISTORY_D:
        return ()
    text = (
        f"The tank has been watched for {days_text(e.since(first))}: how fast it empties comes from your survey "
        "and is not yet learnt from the tank."
    )
    return [Reason("short_history", State.WIDE, text)]


def _old_weather(e: Evidence) -> Sequence[Reason]:
    today = e.past.date[-1]
    newest = e.past.newest
    if newest is None:
        text = "No weather was given: normal weather for the season is assumed for the past as well."
        return [Reason("no_weather", State.WIDE, text)]
    if (today - newest).astype(int) <= OLD_WEATHER_D:
        return ()
    day = newest.astype("datetime64[D]").item()
    text = f"The last known weather is of {day_text(day)}; from there on we assume normal weather for the season."
    return [Reason("old_weather", State.WIDE, text)]
