"""Every method on every house: cases of the replays, run-dry day errors, a cross-check of the scores.

Flow     house, methods -> replays -> **trial of each method** -> rows

Run-dry days: a tank that holds exactly what is burned over the horizon runs dry at its end; a method puts
that day where the median of its litres passes what the tank held. Errors are cut off at 41 days.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

import numpy as np

from forecaster.backtest import Cases, Foretold, Method, Record, Window, replay
from tests.accuracy.data import Days, Floats

HORIZONS = (14, 30, 60)
LATEST_DAYS = 41
"""Where a run-dry error is cut off. [d]"""
AS_OF_DAYS = (2, 15, 30, 60, 90, 136, 210, 300)
"""Days of history at which the first year is asked."""
EVERY_DAYS, FIRST_OF_LATER = 90, 365
HISTORIES: Mapping[str, tuple[int, int]] = {
    "2 days": (0, 10),
    "15-30 days": (11, 45),
    "60-90 days": (46, 110),
    "136-364 days": (111, 364),
    "a year and more": (365, 100_000),
}
"""Names of the history lengths, with the days of history that they hold, both ends counted."""


@dataclass(frozen=True, slots=True, eq=False)
class Trial:
    """One method's cases, its run-dry error of each (days, later is above 0), and a check of the score.

    ``other_crps_l`` is the same score by `scoringrules`; (case,). [L]
    """

    cases: Cases
    day_error: Floats
    other_crps_l: Floats

    @staticmethod
    def together(parts: "list[Trial]") -> "Trial":
        """All cases of many houses."""
        return Trial(
            Cases.together(p.cases for p in parts),
            np.concatenate([p.day_error for p in parts]),
            np.concatenate([p.other_crps_l for p in parts]),
        )


def as_of_days(date: Days) -> Days:
    """Days at whose end a house is asked: often in its first year, then every 90 days."""
    last = len(date) - max(HORIZONS)
    later = range(FIRST_OF_LATER, last + 1, EVERY_DAYS)
    return np.array([date[n - 1] for n in (*AS_OF_DAYS, *later) if n <= last], "datetime64[D]")


def run_trials(
    record: Record, methods: Mapping[str, Method], *, days: Days | None = None
) -> Iterator[tuple[str, Trial]]:
    """Replay every method over one record."""
    asked = as_of_days(record.date) if days is None else days
    for name, method in methods.items():
        told: dict[np.datetime64, Foretold] = {}

        def kept(
            window: Window, method: Method = method, told: dict[np.datetime64, Foretold] = told
        ) -> Foretold:
            told[window.today - 1] = method(window)
            return told[window.today - 1]

        cases = replay(record, kept, as_of=asked, horizons=HORIZONS)
        each = list(zip(cases.as_of, cases.horizon_days.tolist(), cases.actual_l.tolist(), strict=True))
        yield (
            name,
            Trial(
                cases,
                np.array([run_dry_error(told[day], actual, h) for day, h, actual in each]),
                np.array([_by_scoringrules(told[day](h), actual) for day, h, actual in each]),
            ),
        )


def run_dry_error(foretold: Foretold, actual_l: float, horizon: int) -> float:
    """Days by which a method is late (above 0) or early for a tank that holds what was burned.

    Examples
    --------
    >>> run_dry_error(lambda days: np.array([4.0 * days, 5.0 * days, 9.0 * days]), 60.0, 14)
    -2.0
    """

    def median(days: int) -> float:
        return float(np.median(foretold(days)))

    low, high = 0, horizon + LATEST_DAYS
    if median(high) < actual_l:
        return float(LATEST_DAYS)
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (low, middle) if median(middle) >= actual_l else (middle, high)
    below = median(low) if low else 0.0
    share = (actual_l - below) / max(median(high) - below, 1e-9)
    return float(np.clip(low + share - horizon, -LATEST_DAYS, LATEST_DAYS))


def _by_scoringrules(samples: Floats, actual_l: float) -> float:
    import scoringrules

    return float(scoringrules.crps_ensemble(actual_l, np.atleast_1d(samples), estimator="qd"))
