"""Rolling replays: at each as-of day a method sees the past, foretells, and meets what came.

Flow     record -> window of each as-of day -> method -> samples of litres burned -> **cases**
"""

from collections.abc import Callable, Iterable
from dataclasses import dataclass, fields
from datetime import date, datetime

import numpy as np
import numpy.typing as npt

from forecaster.backtest.window import Window, open_window
from forecaster.civil import midnights, to_datetime, zone_of
from forecaster.pipeline import Inputs
from forecaster.scores import crps, pit

Floats = npt.NDArray[np.float64]
Days = npt.NDArray[np.datetime64]

QUANTILES = (0.025, 0.1, 0.25, 0.5, 0.75, 0.9, 0.975)
"""Ends of the bands of 95, 80 and 50 %, and the median."""

Foretold = Callable[[int], Floats]
"""From a horizon in whole civil days to samples of the litres burned over it, shape (sample,). [L]"""
Method = Callable[[Window], Foretold]
"""A way to forecast: it sees a window, and is then asked for each horizon."""


@dataclass(frozen=True, slots=True, eq=False)
class Record:
    """A tank's whole past: all that was ever known of it, and what it truly burned.

    Attributes
    ----------
    name
        Tells it from others; forecasts of one tank are not independent of each other.
    inputs
        Everything known, to the end; only windows of it reach a method.
    date, burned_l
        Consecutive civil days and the litres burned on each, nan where nobody measured: (day,). [L]
    """

    name: str
    inputs: Inputs
    date: Days
    burned_l: Floats

    def burned_over_l(self, first: np.datetime64, days: int) -> float:
        """Litres burned over some days from ``first`` on; nan where not all of them were measured. [L]."""
        at = int((first - self.date[0]).astype(int))
        if at < 0 or at + days > len(self.date):
            return float("nan")
        return float(self.burned_l[at : at + days].sum())


@dataclass(frozen=True, slots=True, eq=False)
class Cases:
    """Forecasts and what came, one row a forecast and horizon; arrays of shape (case,).

    Attributes
    ----------
    record
        Name of the record.
    as_of
        Civil day at whose end the forecast was made.
    history_days, horizon_days
        Days since the first reading, and days looked ahead. [d]
    actual_l
        Litres burned over the horizon. [L]
    quantile_l
        What was foretold, at the chances of `QUANTILES`: (case, quantile). [L]
    crps_l, pit
        Score, and place of the truth within the samples. [L, -]
    """

    record: npt.NDArray[np.str_]
    as_of: Days
    history_days: npt.NDArray[np.int64]
    horizon_days: npt.NDArray[np.int64]
    actual_l: Floats
    quantile_l: Floats
    crps_l: Floats
    pit: Floats

    def __len__(self) -> int:
        return len(self.actual_l)

    @property
    def median_l(self) -> Floats:
        """The median of what was foretold. [L]"""
        return self.quantile_l[:, QUANTILES.index(0.5)]

    def where(self, chosen: npt.NDArray[np.bool_]) -> "Cases":
        """Only the chosen rows."""
        return Cases(*(getattr(self, f.name)[chosen] for f in fields(self)))

    @staticmethod
    def together(parts: Iterable["Cases"]) -> "Cases":
        """The rows of many replays in one table."""
        held = list(parts)
        return Cases(*(np.concatenate([getattr(p, f.name) for p in held]) for f in fields(Cases)))


def replay(record: Record, method: Method, *, as_of: Days, horizons: tuple[int, ...]) -> Cases:
    """Let a method foretell at the end of each of some days, and score what came.

    Parameters
    ----------
    record : Record
    method : Method
        Called once an as-of day with a window, then asked for each horizon.
    as_of : datetime64[D] array, shape (day,)
        Civil days of the tank's zone, at whose end the method is asked.
    horizons : tuple of int
        Whole civil days ahead. [d]

    Notes
    -----
    A horizon that is not measured to its end is left out. That does not depend on the method, so every
    method is scored on the same cases. Whatever lies after an as-of day may change without changing what
    the method is given.
    """
    rows: list[tuple[object, ...]] = []
    for day in as_of.astype("datetime64[D]"):
        first = day + 1
        came = {h: record.burned_over_l(first, h) for h in horizons}
        measured = [h for h in horizons if np.isfinite(came[h])]
        if not measured:
            continue
        window = open_window(record.inputs, end_of_day(day.item(), record.inputs.timezone))
        foretold = method(window)
        for h in measured:
            samples = np.atleast_1d(np.asarray(foretold(h), np.float64))
            rows.append(
                (record.name, day, window.history_days, h, came[h],
                 np.quantile(samples, QUANTILES), crps(came[h], samples), pit(came[h], samples))
            )  # fmt: skip
    return _table(rows)


def end_of_day(day: date, timezone: str) -> datetime:
    """Give the instant at which a civil day ends.

    Parameters
    ----------
    day : date
    timezone : str
        Name of the zone.

    Examples
    --------
    >>> end_of_day(date(2024, 7, 1), "Europe/London").isoformat()
    '2024-07-01T23:00:00+00:00'
    """
    return to_datetime(midnights(day, 1, zone_of(timezone))[1])


def _table(rows: list[tuple[object, ...]]) -> Cases:
    columns = list(zip(*rows, strict=True)) if rows else [()] * 8
    record, as_of, history, horizon, actual, quantile, score, place = columns
    return Cases(
        np.array(record, np.str_), np.array(as_of, "datetime64[D]"), np.array(history, np.int64),
        np.array(horizon, np.int64), np.array(actual, np.float64),
        np.array(quantile, np.float64).reshape(-1, len(QUANTILES)),
        np.array(score, np.float64), np.array(place, np.float64),
    )  # fmt: skip
