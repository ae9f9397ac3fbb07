"""The sentence where prices are known: what the order costs, what waiting costs, and when money does not reach."""

from dataclasses import replace
from datetime import UTC, date, datetime
from zoneinfo import ZoneInfo

import pytest

from forecaster.confidence import LitresBand, OrderAdvice, OrderMoney, RunDryDates, ToldForecast
from forecaster.reorder import LeadTable, OrderSettings
from forecaster.states import State
from forecaster.wording import answer

AT = datetime(2025, 1, 14, 7, tzinfo=UTC)
WINDOW = (date(2025, 1, 17), date(2025, 1, 24))
MONEY = OrderMoney(
    quoted=date(2025, 1, 13), price_per_l=0.6211, cost=372.66, budget=None, limited_by_budget=False,
    smallest_l=500.0, smallest_cost=310.0, drift_per_month=0.0, safe_until=WINDOW[1], waiting_cost=0.0,
)  # fmt: skip


def say(
    money: OrderMoney, *, litres: float | None = 600.0, text: str = "Order about 600 litres.", **how
) -> str:
    """The sentence of a told forecast with that advice."""
    order = OrderAdvice(*WINDOW, litres, "window", text, money)
    dates = RunDryDates(*[date(2025, 2, d) for d in (7, 9, 10, 21, 25, 27)])
    told = ToldForecast(AT, State.OK, (), 365, LitresBand(800.0, 820.0, 840.0), dates, order, (), None, None)
    return answer(told, zone=ZoneInfo("Europe/London"), settings=OrderSettings(**how)).sentence


@pytest.mark.parametrize(
    ("money", "said"),
    [
        (MONEY, "working days. By the quotes of Mon 13 January that costs about 373, at 0.6211 a litre. It is safe "
                "to wait for a better price until Fri 24 January. If nothing"),
        (replace(MONEY, drift_per_month=0.02, waiting_cost=3.4),
         "until Fri 24 January; if prices rise by 2 % a month, that costs about 3.40."),
        (replace(MONEY, drift_per_month=-0.015, waiting_cost=-12.6),
         "; if prices fall by 1.5 % a month, that saves about 13."),
        (replace(MONEY, budget=375.0, limited_by_budget=True), "a litre. It is the most that 375 pays for. It is safe"),
        (replace(MONEY, safe_until=None, waiting_cost=None), "a litre. If nothing is ordered"),
    ],
)  # fmt: skip
def test_cost_and_waiting_are_said(money: OrderMoney, said: str) -> None:
    """The cost of the order, the price of a litre, and what waiting does stand behind the window."""
    assert said in say(money)


def test_a_window_of_one_day_says_nothing_of_waiting() -> None:
    """Where the last safe day is the first, there is no waiting to speak of."""
    assert "wait" not in say(replace(MONEY, safe_until=WINDOW[0]))


def test_money_that_does_not_reach_is_said_without_a_quantity() -> None:
    """Where the budget reaches no delivery, the advice's own words stand alone: no bill, no delivery time."""
    none = replace(MONEY, price_per_l=None, cost=None, limited_by_budget=True, budget=200.0)
    sentence = say(none, litres=None, text="The smallest delivery costs more. Ask the supplier.")
    assert "litres). The smallest delivery costs more. Ask the supplier. If nothing is ordered" in sentence
    assert "quotes" not in sentence


def test_the_lead_time_said_is_that_of_the_table() -> None:
    """A table of lead times is told by its shortest and longest."""
    assert "takes 2 to 12 working days" in say(MONEY, lead_table=LeadTable((2, 4, 12), (0.5, 0.4, 0.1)))
