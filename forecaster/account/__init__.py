"""The account: what one tank burned month by month, on what, and what sun and wood spared.

Every figure has its interval, and the figures of a month add up to what was burned. A part that the levels
cannot tell from another, such as a stove's from the heating's, says so: it is from the survey.

Flow     inputs, forecast's working -> steps, levels -> draws of the past -> **account**
Source   litres of CO2 by the fuel's published factor, see `forecaster.fuel`
"""

import numpy as np

from forecaster.account.entries import PARTS, Account, Entry, Figure, Ground
from forecaster.account.months import account_months
from forecaster.account.system import Given
from forecaster.burn_model import declared
from forecaster.civil import civil_date, zone_of
from forecaster.pipeline import Inputs, Working, known_at
from forecaster.pipeline.behind import additions, learn_behind, observations, past_litres
from forecaster.pipeline.learning import normal_year_c

__all__ = ["PARTS", "Account", "Entry", "Figure", "Ground", "make_account"]


def make_account(inputs: Inputs, working: Working, *, rng: np.random.Generator) -> Account:
    """Account for what a tank burned since its first level.

    Parameters
    ----------
    inputs : Inputs
        What the forecast was made from.
    working : Working
        How it came about: its fit is the account's.
    rng : Generator
        Draws the past.

    Returns
    -------
    Account
        Litres at 15 C, so that cold and warmth neither make nor burn oil.
    """
    known = known_at(inputs)
    zone = zone_of(known.timezone)
    today = np.datetime64(civil_date(known.as_of, zone), "D")
    known, behind = learn_behind(known, working.normals, today=today)
    given = Given(
        drivers=behind.drivers, midnights=behind.midnights, observations=observations(behind, known.tank),
        additions=additions(behind, known.tank),
        past_litres=past_litres(known, behind, working.normals), prior=behind.house.prior,
        posterior=working.posterior, settings=known.model,
        changes=declared(known.changes, zone=zone),
        normal_temp_c=normal_year_c(working.normals),
        capacity_l=known.tank.capacity_l,
    )  # fmt: skip
    return account_months(given, tank=known.tank, house=behind.house, past=behind.past, zone=zone, rng=rng)
