"""What the levels teach of the house, and what they must not teach while something is wrong.

A leak would be learnt as a habit within weeks, and an absence as a house that needs little. So the burn model
is fitted, the watch looks at what it made of the levels, and while an alarm is pending the model is fitted once
more: the levels from where it began move the level alone. A change that the household declared is learnt.

Flow     behind -> burn model -> watch -> **burn model again, where an alarm is pending** -> posterior, watch
"""

from dataclasses import replace

import numpy as np

from forecaster.anomalies import Watch, watch_level
from forecaster.anomalies.watch import find_departure
from forecaster.burn_model import Additions, Changes, Observations, Posterior, declared, fit_burn_model
from forecaster.burn_model.steps import DAY_S
from forecaster.civil import instant, zone_of
from forecaster.climate import Normals, normal_day
from forecaster.pipeline.behind import Behind, Floats, additions, observations, past_litres
from forecaster.pipeline.inputs import Inputs

COMMON_YEAR = np.arange("2001-01-01", "2002-01-01", dtype="datetime64[D]")
"""Any year without a leap day: the same on every day, so that a prior does not move overnight."""

FOLLOW_L = 10.0
"""While nothing is learnt the level may go by so much a day beside the burn. Assumption. [L]"""
CHANGE_D = 56
"""So long after a declared change the watch still compares with the house as it was: its longest window. [d]"""


def learn_house(known: Inputs, behind: Behind, normals: Normals) -> tuple[Posterior, Watch]:
    """Fit the burn model to everything known, and watch the level by it.

    Parameters
    ----------
    known : Inputs
        Cut at as-of.
    behind : Behind
    normals : Normals
        Of the place.

    Returns
    -------
    posterior : Posterior
        Without what the levels of a pending alarm would teach.
    watch : Watch
        Scores by the fit to all levels.
    """
    seen, put_in = observations(behind, known.tank), additions(behind, known.tank)
    normal_c, burned = normal_year_c(normals), past_litres(known, behind, normals)
    changes = declared(known.changes, zone=zone_of(known.timezone))

    def fit(levels: Observations, poured: Additions) -> Posterior:
        return fit_burn_model(
            behind.drivers, behind.midnights, levels, poured, behind.house.prior, as_of=instant(known.as_of),
            normal_temp_c=normal_c, capacity_l=known.tank.capacity_l, past_litres=burned, settings=known.model,
            changes=changes,
        )  # fmt: skip

    posterior = fit(seen, put_in)
    watch = watch_level(
        seen, put_in, behind.drivers, behind.midnights, posterior, behind.house.prior, settings=known.model,
        changes=changes,
    )  # fmt: skip
    since = suspect_since(watch)
    if since is not None and not _may_be_a_change(since, changes):
        posterior = fit(replace(seen, learn=seen.at <= since), _loosened(put_in, seen, since))
    return posterior, watch


def _loosened(put_in: Additions, seen: Observations, since: np.datetime64) -> Additions:
    """Let the level follow what the burn, not learnt any more, does not explain."""
    late = seen.at[seen.at > since]
    days = np.diff(late, prepend=since) / np.timedelta64(1, "s") / DAY_S
    return Additions(
        np.append(put_in.at, late), np.append(put_in.litres_15c, np.zeros(len(late))),
        np.append(put_in.sd_l, FOLLOW_L * np.sqrt(days)),
    )  # fmt: skip


def _may_be_a_change(since: np.datetime64, changes: Changes) -> bool:
    """Whether a change that was declared explains what the watch sees."""
    return bool((changes.at > since - np.timedelta64(CHANGE_D, "D")).any())


def normal_year_c(normals: Normals) -> Floats:
    """Daily temperatures of a normal year of the place, shape (365,). [C]"""
    return normal_day(normals, COMMON_YEAR)[0]


def suspect_since(watch: Watch) -> np.datetime64 | None:
    """Find the instant from which nothing may be learnt: where the alarm that is pending began, None without one.

    Examples
    --------
    >>> at = np.datetime64("2024-01-01T06:00:00") + np.arange(3) * np.timedelta64(86400, "s")
    >>> score = np.array([[1.0, 0.0, 0.0], [90.0, 0.0, 0.0], [95.0, 0.0, 0.0]])
    >>> since = np.repeat(at[:, None] - np.timedelta64(7, "D"), 3, axis=1)
    >>> str(suspect_since(Watch(at, score, score, score, since)))
    '2023-12-27T06:00:00'
    """
    found = [find_departure(watch, sign=sign) for sign in (1, -1)]
    return min((d.since for d in found if d is not None and d.pending), default=None)
