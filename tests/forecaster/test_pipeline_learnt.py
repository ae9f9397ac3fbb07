"""A tank that holds more than its table says: tickets teach it, and the forecast is in true litres."""

from dataclasses import replace

import numpy as np
import pytest

from forecaster.confidence import ToldForecast
from forecaster.pipeline import place_normals
from forecaster.pipeline.behind import learn_behind
from tests.forecaster.homes import FROST, MILD, WARM, Home, codes, tank, work

LARGER = 1.08
YEAR = FROST * 10 + MILD * 14 + WARM * 14 + MILD * 10


class LargerHome(Home):
    """A home whose tank holds 8 % more than its table says: its sensor shows less than there is."""

    def litres(self) -> np.ndarray:
        """Litres by the table."""
        return super().litres() / LARGER


HOME = LargerHome(days=330, week_c=YEAR, poured={60: 450.0, 140: 450.0, 290: 400.0})
NOT_SURE = replace(tank(), table_sd_fraction=0.05)


def test_tickets_teach_a_table_that_is_not_sure() -> None:
    """Three tickets bring the litres to the truth within 2 %, where the table was 8 % off."""
    forecast = work(HOME.inputs(tank=NOT_SURE)).forecast
    assert isinstance(forecast, ToldForecast)
    true = float(HOME.litres()[-1]) * LARGER
    assert forecast.litres.p50 == pytest.approx(true, rel=0.02)
    assert forecast.litres.p10 <= true <= forecast.litres.p90


def test_a_table_taken_for_exact_is_doubted_instead() -> None:
    """The same tickets against a table without an error find its geometry wrong, and nothing is learnt."""
    assert "geometry" in codes(HOME.inputs())


def test_limits_are_in_litres_that_were_learnt() -> None:
    """Heel and safe fill of what follows are the learnt tank's, at the dips where they stood."""
    inputs = HOME.inputs(tank=NOT_SURE)
    today = np.datetime64(inputs.as_of.date())
    known, behind = learn_behind(inputs, place_normals(inputs), today=today)
    assert known.tank.heel_l == pytest.approx(LARGER * NOT_SURE.heel_l, rel=0.08)
    assert known.tank.table_sd_fraction < 0.03
    assert float(behind.levels.litres[-1]) == pytest.approx(LARGER * float(HOME.litres()[-1]), rel=0.02)


def test_without_a_ticket_the_tank_stays() -> None:
    """Before the first delivery the tank is the file's own."""
    inputs = Home(days=30).inputs(tank=NOT_SURE)
    known, _ = learn_behind(inputs, place_normals(inputs), today=np.datetime64(inputs.as_of.date()))
    assert known is inputs
