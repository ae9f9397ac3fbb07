"""Rolling replays of a tank's past, through a window that refuses to look past its as-of instant.

What was known is cut at each as-of instant before a method sees it, and a window that would hold more
cannot be made; so a replay needs no discipline to be honest. What came is kept apart from what was
known, and meets the forecast only when it is scored.

Flow     record -> **windows, one an as-of day** -> method -> litres foretold -> **cases** -> **summary**
Formula  CRPS, pinball loss, cover and PIT of `forecaster.scores`
Source   rolling origin: L. J. Tashman, "Out-of-sample tests of forecasting accuracy: an analysis and
         review", International Journal of Forecasting 16 (2000) 437-450 [from memory]
"""

from forecaster.backtest.rolling import Cases, Foretold, Method, Record, end_of_day, replay
from forecaster.backtest.summary import (
    LEVELS,
    Summary,
    paired_ratio,
    season_of,
    summarise,
)
from forecaster.backtest.window import LookAheadError, Window, later_than_as_of, open_window

__all__ = [
    "LEVELS",
    "Cases",
    "Foretold",
    "LookAheadError",
    "Method",
    "Record",
    "Summary",
    "Window",
    "end_of_day",
    "later_than_as_of",
    "open_window",
    "paired_ratio",
    "replay",
    "season_of",
    "summarise",
]
