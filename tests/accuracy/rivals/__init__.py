"""Other ways to forecast a simulated house, with the same information as the engine.

Flow     window (forecaster.backtest) -> **seen**: levels and tickets by day, completed past weather,
         receipts, survey, weather years -> **trade, series, trees** -> samples of the litres ahead

Each gets the levels after screening, the tickets and the rises that no ticket explains, as the engine
works them out; the receipts; the survey through the engine's own prior; and the same weather years, over
which a method that asks for weather is run as many times. Where there is too little history for a
method's own arithmetic it falls back on receipts, then on the survey, as a tradesman would.
"""

from collections.abc import Callable, Mapping

from tests.accuracy.rivals import trade
from tests.accuracy.rivals.seen import Samples, Seen, see

Rival = Callable[[Seen], Samples]
"""A way to forecast; fitted to what is seen, then asked for horizons."""

TRADE: Mapping[str, Rival] = {
    "K-factor since delivery": trade.k_factor_since_delivery,
    "K-factor of a year": trade.k_factor_of_a_year,
    "K-factor + hot water": trade.k_factor_and_hot_water,
    "30-day average": trade.average_of_30_days,
    "least squares": trade.least_squares,
    "least squares by week": trade.least_squares_of_weeks,
}
"""Those that need no further package."""

__all__ = ["TRADE", "Rival", "Samples", "Seen", "see"]
