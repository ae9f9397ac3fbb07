"""Screening: which readings cannot be the level, and why. Flags, never silent drops.

Flow     readings, tank -> **flags** -> levels
Formula  fall limit = max(30 l, burner · days · 1.25 + 3 σ),  rise limit = max(50 l, 6 σ)
Source   common practice, no source; each rule stands beside its function
"""

from forecaster.screening.flags import CENSORED, SET_ASIDE, Flag
from forecaster.screening.limits import burner_l_per_day, fall_limit_l, rise_limit_l
from forecaster.screening.screen import screen_readings

__all__ = [
    "CENSORED",
    "SET_ASIDE",
    "Flag",
    "burner_l_per_day",
    "fall_limit_l",
    "rise_limit_l",
    "screen_readings",
]
