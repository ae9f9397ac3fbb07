"""The code that holds the account against simulated houses."""

import numpy as np
import pytest

from tests.accuracy.account import Held, account_of, hold, report, truth
from tests.accuracy.world import REPORTING, draw_life


def test_a_simulated_house_is_accounted_for() -> None:
    """The truth of a house's months is its burn, split in two, and the whole's burn comes out within 6 %."""
    life = draw_life(REPORTING, np.random.default_rng(9000), days=120)
    account = account_of(life)
    assert account.total is not None
    true = [truth(life, month) for month in account.months]
    assert sum(t["burned"] for t in true) == pytest.approx(truth(life, account.total)["burned"])
    assert all(t["hot_water"] + t["heating"] == pytest.approx(t["burned"]) for t in true)
    assert account.total.burned.mean == pytest.approx(sum(t["burned"] for t in true), rel=0.06)
    assert len(hold(life)) == 3 * (len(account.months) + 1)


def test_the_report_counts_what_was_held() -> None:
    """Of two months, one held, and a whole that was held, the report gives a half and all."""
    held = [
        Held(name, whole, inside, 0.02)
        for name in ("burned", "hot_water", "heating")
        for whole, inside in ((False, True), (False, False), (True, True))
    ]
    assert report(held)[0].startswith("burned     held the truth: months 0.50 of 2, whole 1.00 of 1")
