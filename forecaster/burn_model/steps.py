"""Readings, tickets and daily weather cut into the steps that the filter takes.

A step ends at each reading and, in longer gaps, at each day; weather within a day is taken in
proportion to time. So several readings a day, one a week, and months without any are all the same
to the filter, and nothing is interpolated into a gap.

Flow     levels, deliveries, drivers -> **steps** -> filter
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]
Seconds = npt.NDArray[np.datetime64]

DAY_S = 86_400.0
LONGEST_STEP_D = 1.5
"""A longer gap is cut into steps of at most a day, so that the slow departure can fade. [d]"""


@dataclass(frozen=True, slots=True)
class Drivers:
    """What drives the burn, by civil day; also by scenario where the first axis is one.

    Attributes
    ----------
    date
        Civil days, consecutive: datetime64[D], shape (day,).
    temp_c
        Daily mean outdoor temperature, shape (day,) or (scenario, day). [C]
    sun_kwh_m2
        Irradiation on the windows' plane, the same shape. [kWh/m2/d]
    base_factor
        Factor on the base load (season of hot water, diary, sun on hot water), the same shape. [-]
    heat_factor
        Factor on the heating (diary), shape (day,). [-]
    stove_kwh
        Stove heat of a full evening, or of the day's logged wood, shape (day,). [kWh/d]
    stove_rate
        How fast evenings with a fire grow with degree-days, shape (day,); inf where logged. [1/(K d)]
    """

    date: npt.NDArray[np.datetime64]
    temp_c: Floats
    sun_kwh_m2: Floats
    base_factor: Floats
    heat_factor: Floats
    stove_kwh: Floats
    stove_rate: Floats


@dataclass(frozen=True, slots=True)
class Observations:
    """Levels as the filter takes them, in time order; each array has shape (reading,).

    ``litres`` bulk litres, ``sd_l`` their standard deviation, ``bulk_per_15c`` bulk litres per litre
    at 15 C, ``step_l`` litres of one sensor step, ``at_least`` true for a lower bound, ``repeats``
    true where the raw value equals the one before, ``learn`` false where the reading moves the level
    alone and nothing else is learnt from it; None: all is. [L, L, -, L]
    """

    at: Seconds
    litres: Floats
    sd_l: Floats
    bulk_per_15c: Floats
    step_l: Floats
    at_least: npt.NDArray[np.bool_]
    repeats: npt.NDArray[np.bool_]
    learn: npt.NDArray[np.bool_] | None = None

    def learnt(self) -> npt.NDArray[np.bool_]:
        """Which readings are learnt from; shape (reading,)."""
        return np.ones(len(self.at), bool) if self.learn is None else self.learn

    def where(self, kept: npt.NDArray[np.bool_]) -> "Observations":
        """Some of the readings, each as it was; ``kept`` has shape (reading,)."""
        return Observations(
            self.at[kept], self.litres[kept], self.sd_l[kept], self.bulk_per_15c[kept], self.step_l[kept],
            self.at_least[kept], self.repeats[kept], None if self.learn is None else self.learn[kept],
        )  # fmt: skip


@dataclass(frozen=True, slots=True)
class Additions:
    """Oil put in (or, negative, taken out): time, litres at 15 C, and its sd; shape (delivery,). [L]"""

    at: Seconds
    litres_15c: Floats
    sd_l: Floats


@dataclass(frozen=True, slots=True)
class Steps:
    """The steps of the filter; ``reading`` is the observation that ends a step, or -1."""

    end: Seconds
    days: Floats
    added_l: Floats
    added_var: Floats
    reading: npt.NDArray[np.int64]


def cut_steps(start: np.datetime64, until: np.datetime64, at: Seconds, additions: Additions) -> Steps:
    """Cut the time from ``start`` to ``until`` into steps that end at readings.

    Parameters
    ----------
    start, until : datetime64[s]
        The filter's first instant and the as-of instant.
    at : datetime64[s] array, shape (reading,)
        Reading times, rising, within start..until. The first may equal ``start``.
    additions : Additions
        Oil put in; those outside start..until are not looked at.

    Examples
    --------
    >>> at = np.array(["2024-01-01T06:00:00", "2024-01-02T06:00:00"], "datetime64[s]")
    >>> none = Additions(at[:0], np.empty(0), np.empty(0))
    >>> cut_steps(at[0], np.datetime64("2024-01-05T06:00:00"), at, none).days
    array([0., 1., 1., 1., 1.])
    """
    from forecaster.burn_model import laying

    marks = np.append(at, until)
    end_s, days, added, added_var, reading = laying.cut(
        _seconds(marks, start),
        LONGEST_STEP_D,
        _seconds(additions.at, start),
        additions.litres_15c,
        additions.sd_l,
    )
    end = start + end_s.astype("timedelta64[s]")
    return Steps(end, days, added, added_var, reading)


def _seconds(at: Seconds, start: np.datetime64) -> npt.NDArray[np.int64]:
    """Whole seconds from ``start`` to each instant."""
    seconds: npt.NDArray[np.int64] = (at - start).astype("timedelta64[s]").astype(np.int64)
    return seconds


def sum_over_steps(per_day: Floats, midnights: Seconds, steps: Steps, start: np.datetime64) -> Floats:
    """Sum daily quantities over each step, in proportion to time within a day.

    Parameters
    ----------
    per_day : float array, shape (..., day, column)
    midnights : datetime64[s] array, shape (day + 1,)
        The instants at which the civil days begin, and the end of the last.
    steps : Steps
    start : datetime64[s]
        Beginning of the first step.

    Returns
    -------
    float array, shape (..., step, column)
    """
    position = place_in_days(steps, start, midnights)
    total = np.concatenate(
        [np.zeros((*per_day.shape[:-2], 1, per_day.shape[-1])), np.cumsum(per_day, axis=-2)], axis=-2
    )
    below = np.minimum(position.astype(np.int64), len(midnights) - 2)
    part = (position - below)[:, None]
    at_edge = total[..., below, :] * (1 - part) + total[..., below + 1, :] * part
    return np.diff(at_edge, axis=-2)


def place_in_days(steps: Steps, start: np.datetime64, midnights: Seconds) -> Floats:
    """Where the steps begin and end among the days: whole days since the first, shape (step + 1,)."""
    from forecaster.burn_model import laying

    first = midnights[0]
    begin = float((start - first) / np.timedelta64(1, "s"))
    place: Floats = laying.places(
        begin, _seconds(steps.end, first).astype(np.float64), _seconds(midnights, first)
    )
    return place
