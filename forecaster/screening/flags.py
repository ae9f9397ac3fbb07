"""What can be wrong with a reading."""

from enum import IntFlag

import numpy as np
import numpy.typing as npt

Flags = npt.NDArray[np.int64]


class Flag(IntFlag):
    """Why a reading is not taken as the level; several may hold at once."""

    NONE = 0
    NO_ECHO = 1
    """The sensor saw nothing. This does not tell whether there is oil."""
    ABOVE_TANK = 2
    """More oil than the tank holds."""
    BELOW_TANK = 4
    """Further down than the bottom."""
    DEAD_BAND = 8
    """Too near for the sensor: at least so much oil, how much is not seen."""
    SPIKE = 16
    """Far from the readings before and after, which agree with each other."""
    STUCK = 32
    """The same value although oil must have been burned."""
    DUPLICATE = 64
    """The same time and value as an earlier reading."""
    CONFLICT = 128
    """The same time as an earlier reading, another value."""
    UNIT = 256
    """A tenth, an inch's or a gallon's share of the reading before, or as many times it."""
    TREND = 512
    """The level climbs by little steps without a delivery; water may be getting in."""


CENSORED = Flag.DEAD_BAND
"""Such a reading is a lower bound."""
SET_ASIDE = ~CENSORED & Flag(2 * max(Flag) - 1)
"""With any of these a reading is not used."""
