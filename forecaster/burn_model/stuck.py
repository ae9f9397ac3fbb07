"""Which repeated readings are no readings: a stuck sensor against a boiler that is off.

The same raw value day after day can mean two things. While it lasts nobody can tell them apart; when
the value moves again, the size of that step tells: a sensor that was stuck catches up at once with all
that was burned meanwhile, a house whose boiler was off goes on from where it stood.

Flow     first pass of the filter: expected burn -> **stuck readings** -> second pass, whole grid
Rule     a run that ended: stuck when its last step fell by more than half of what was to be caught up;
         a run that goes on: none of it a reading once more than ``patience`` sensor steps should have
         been burned since it began
Source   common practice, no source; both rules held against real houses and simulated sensors
"""

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]
Bools = npt.NDArray[np.bool_]

LEAST_STEPS = 1.8
"""A run in which less than so many sensor steps were to be burned is ordinary. [steps]"""


def stuck_readings(
    expected_l: Floats, added_l: Floats, litres: Floats, step_l: Floats, repeats: Bools, *, patience: float
) -> Bools:
    """Find the readings of stuck runs, the first of each run not among them.

    Parameters
    ----------
    expected_l : float array, shape (reading,)
        Expected burn from the reading before to each reading. [L]
    added_l : float array, shape (reading,)
        Litres delivered from the reading before to each reading. [L]
    litres, step_l : float arrays, shape (reading,)
        Litres of each reading, and of one sensor step there. [L]
    repeats : bool array, shape (reading,)
        The raw value equals the one before.
    patience : float
        Sensor steps of expected burn after which a run that still goes on is no longer believed.

    Returns
    -------
    bool array, shape (reading,)

    Examples
    --------
    Ten litres a day are expected and a step holds ten litres. After four equal days the level falls by
    forty litres at once: it was stuck. Then it stays for four days and falls by one step: it was not.

    >>> litres = np.array([500.0, 500, 500, 500, 460, 460, 460, 460, 450])
    >>> same = np.r_[False, np.diff(litres) == 0]
    >>> ten = np.full(9, 10.0)
    >>> stuck_readings(ten, 0 * ten, litres, ten, same, patience=4.0).astype(int)
    array([0, 1, 1, 1, 0, 0, 0, 0, 0])
    """
    from forecaster.burn_model import kernel

    return np.asarray(kernel.stuck_runs(expected_l, added_l, litres, step_l, repeats, patience, LEAST_STEPS))
