"""Rolling replays: at each as-of day a method sees the past, foretells, and is scored.

Flow     house -> **windows, one an as-of day** -> method -> litres of the horizon against those burned
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, fields, replace

import numpy as np

from forecaster.weather import Weather
from tests.accuracy.data import Days, Floats
from tests.accuracy.tanks import House


class LookAheadError(Exception):
    """A window was asked for, or made with, something later than its as-of day."""


@dataclass(frozen=True, slots=True)
class Window:
    """All that may be known at the end of the as-of day: arrays of shape (day,), the last day being it.

    ``weather``, ``level_l`` and ``ticket_l`` are as in `House`, cut off and copied: what came later is
    not in here, and a window that would hold it cannot be made.
    """

    as_of: np.datetime64
    weather: Weather
    level_l: Floats
    ticket_l: Floats
    latitude: float
    longitude: float

    def __post_init__(self) -> None:
        days = len(self.weather.date)
        if not days or self.weather.date[-1] != self.as_of:
            raise LookAheadError(f"the weather must end on {self.as_of}")
        if len(self.level_l) != days or len(self.ticket_l) != days:
            raise LookAheadError(f"levels and tickets must have {days} days, the last being {self.as_of}")

    @property
    def date(self) -> Days:
        """The civil days that are known."""
        return self.weather.date

    def days_until(self, day: np.datetime64) -> int:
        """Count the days from the first to ``day``, itself included; refuse a day not yet known."""
        if day > self.as_of:
            raise LookAheadError(f"{day} lies after {self.as_of}")
        return int((day - self.date[0]).astype(int)) + 1


Predictor = Callable[[Weather], Floats]
"""From the weather of the days ahead to the litres burned over them: shape () or (sample,). [L]"""
Method = Callable[[Window], Predictor]
"""A way to forecast: fitted to what a window holds."""


@dataclass(frozen=True, slots=True)
class Outcomes:
    """Forecasts of one horizon and what came; arrays over the as-of days.

    ``actual_l`` has shape (forecast,), ``samples_l`` (forecast, sample), one sample for a method that
    tells a single number; ``history_days`` counts the days known at each as-of day.
    """

    as_of: Days
    history_days: np.ndarray
    actual_l: Floats
    samples_l: Floats

    @property
    def foretold_l(self) -> Floats:
        """The median of the samples, shape (forecast,). [L]"""
        return np.asarray(np.median(self.samples_l, axis=-1))

    def where(self, chosen: np.ndarray) -> "Outcomes":
        """Only the chosen forecasts."""
        return Outcomes(
            self.as_of[chosen], self.history_days[chosen], self.actual_l[chosen], self.samples_l[chosen]
        )


def open_window(house: House, as_of: np.datetime64) -> Window:
    """Cut a house off at the end of a day."""
    days = int((as_of - house.date[0]).astype(int)) + 1
    if not 0 < days <= len(house.date):
        raise LookAheadError(f"{as_of} lies outside {house.date[0]} to {house.date[-1]}")
    return Window(
        as_of=as_of,
        weather=cut_weather(house.weather, 0, days),
        level_l=house.level_l[:days].copy(),
        ticket_l=house.ticket_l[:days].copy(),
        latitude=house.latitude,
        longitude=house.longitude,
    )


def cut_weather(weather: Weather, first: int, stop: int) -> Weather:
    """Copy the days ``first`` to ``stop - 1`` of some weather."""
    cut = {
        f.name: getattr(weather, f.name)[first:stop].copy()
        for f in fields(weather)
        if isinstance(getattr(weather, f.name), np.ndarray)
    }
    return replace(weather, **cut)


def replay(
    house: House,
    method: Method,
    *,
    horizons: tuple[int, ...] = (14, 30, 60),
    every_days: int = 7,
    first_after_days: int = 28,
    last_after_days: int | None = None,
) -> Mapping[int, Outcomes]:
    """Run a method over a house, every so many days, the weather of the days ahead being known.

    Parameters
    ----------
    house : House
    method : Method
        Fitted once an as-of day, then asked for each horizon.
    horizons : tuple of int
        Days ahead. [d]
    every_days, first_after_days, last_after_days : int
        As-of days: from the first with so much history, so often, to the last. [d]

    Returns
    -------
    Mapping from horizon to Outcomes

    Notes
    -----
    A forecast is scored where all its days were measured and a level was read on the as-of day. That
    does not depend on the method, so every method is scored on the same days.
    """
    days = len(house.date)
    unknown_before = np.concatenate([[0], np.cumsum(~house.known)])
    burned_before = np.concatenate([[0.0], np.cumsum(house.burned_l)])
    rows: dict[int, list[tuple[int, float, Floats]]] = {h: [] for h in horizons}
    stop = days if last_after_days is None else min(days, last_after_days + 1)
    for known_days in range(first_after_days, stop, every_days):
        reachable = [
            h
            for h in horizons
            if known_days + h <= days and unknown_before[known_days + h] == unknown_before[known_days]
        ]
        if not reachable or np.isnan(house.level_l[known_days - 1]):
            continue
        predict = method(open_window(house, house.date[known_days - 1]))
        for h in reachable:
            foretold = np.atleast_1d(predict(cut_weather(house.weather, known_days, known_days + h)))
            actual = float(burned_before[known_days + h] - burned_before[known_days])
            rows[h].append((known_days, actual, foretold))
    return {h: _gather(house, found) for h, found in rows.items()}


def _gather(house: House, rows: list[tuple[int, float, Floats]]) -> Outcomes:
    history = np.array([r[0] for r in rows], dtype=np.int64)
    return Outcomes(
        as_of=house.date[history - 1],
        history_days=history,
        actual_l=np.array([r[1] for r in rows], dtype=np.float64),
        samples_l=np.array([r[2] for r in rows], dtype=np.float64).reshape(len(rows), -1 if rows else 1),
    )
