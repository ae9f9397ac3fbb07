"""The order advice beside the inventory textbooks: the economic order quantity and the newsvendor are in it.

Sources, the values from memory but where a library is named, each derived anew here by scipy:
Snyder & Shen, Fundamentals of Supply Chain Theory, 2nd ed. (examples 3.1 and 4.3, whose numbers also
stand in the public library stockpyl); Silver, Pyke & Peterson, Inventory Management and Production
Planning and Scheduling, 3rd ed. (chapter 5); Nahmias, Production and Operations Analysis, 5th and 6th
ed. (examples 4.1 and 5.1, and its section of all-units discounts); Cachon & Terwiesch, Matching Supply
with Demand, 2nd and 3rd ed. (the wetsuit of the newsvendor chapter); Hillier & Lieberman, Introduction
to Operations Research, 7th ed. (its speakers, also in the documentation of the R package SCperf).
"""

from datetime import date

import numpy as np
import pytest
from scipy.optimize import minimize_scalar
from scipy.stats import norm

from forecaster.reorder import OrderSettings, Quotes, Spending, economic_quantity_l, order_below_l

MONDAY = date(2024, 1, 8)


def spend(*steps, order_cost, carrying):
    """Prices by quantity, cost of an order, and carrying charge as a part of the price a year."""
    return Spending(Quotes(MONDAY, steps), delivery_cost=order_cost, holding_per_year=carrying)


def best_quantity(spending, *, yearly):
    """The best quantity and the cost of a year, of all steps, with no limit to the room."""
    found = economic_quantity_l(
        spending, yearly_l=yearly, least_l=1e-3, most_l=np.array([np.inf]), drifted=np.ones(1)
    )[0][0]
    year = yearly * spending.cost_per_l(found, np.ones_like(found), yearly_l=yearly)
    return found[np.argmin(year)], year.min()


EOQ = [
    # source, demand a year, cost of an order, price, carrying charge, quantity, cost of a year without purchases
    ("Snyder & Shen, example 3.1", 1300.0, 8.0, 0.75, 0.3, 304.0468, 68.4105),
    ("Silver, Pyke & Peterson, section 5.2", 2400.0, 3.20, 0.40, 0.24, 400.0, 38.40),
    ("Nahmias, example 4.1", 3120.0, 12.0, 0.02, 0.25, 3870.0, None),
    ("Hillier & Lieberman, speakers", 8000.0, 12000.0, 1.0, 0.3, 25298.0, 7589.5),
]


@pytest.mark.parametrize(("source", "yearly", "order", "price", "carrying", "quantity", "year"), EOQ)
def test_one_price_and_no_limit_give_the_economic_order_quantity(
    source, yearly, order, price, carrying, quantity, year
) -> None:
    """With one price and an endless tank our quantity is the textbook's, to its printed figures."""
    spending = spend((0.0, price), order_cost=order, carrying=carrying)
    found, cost = best_quantity(spending, yearly=yearly)
    # printed to whole units or four decimals
    assert found == pytest.approx(quantity, rel=2e-5 if quantity != 3870.0 else 1e-4), source
    if year is not None:
        assert cost - price * yearly == pytest.approx(year, rel=2e-5), source


@pytest.mark.parametrize(("source", "yearly", "order", "price", "carrying", "quantity", "year"), EOQ)
def test_a_numerical_search_finds_no_better_quantity(
    source, yearly, order, price, carrying, quantity, year
) -> None:
    """Scipy's bounded search over the textbook's cost, written out here, ends at our quantity."""
    spending = spend((0.0, price), order_cost=order, carrying=carrying)
    found = minimize_scalar(
        lambda q: order * yearly / q + carrying * price * q / 2.0,
        bounds=(1.0, 10 * quantity),
        method="bounded",
    )
    assert best_quantity(spending, yearly=yearly)[0] == pytest.approx(found.x, rel=1e-4), source


@pytest.mark.parametrize(
    ("source", "steps", "yearly", "order", "carrying", "quantity", "year"),
    [
        # bags at 30, 29 and 28 cents from 1, 500 and 1,000: 500 at 198.10 a year
        ("Nahmias, all-units discount", ((0.0, 0.30), (500.0, 0.29), (1000.0, 0.28)), 600.0, 8.0, 0.2, 500.0, 198.10),
        # three items with 2 % off from 100 on: one goes up to the break, one does not, one is beyond it
        ("Silver, Pyke & Peterson, item A", ((0.0, 14.20), (100.0, 14.20 * 0.98)), 416.0, 1.50, 0.24, 100.0, None),
        ("Silver, Pyke & Peterson, item B", ((0.0, 3.10), (100.0, 3.10 * 0.98)), 104.0, 1.50, 0.24, 20.5, None),
        ("Silver, Pyke & Peterson, item C", ((0.0, 2.40), (100.0, 2.40 * 0.98)), 4160.0, 1.50, 0.24, 148.7, None),
    ],
)  # fmt: skip
def test_discounts_on_all_units_are_taken_where_they_pay(
    source, steps, yearly, order, carrying, quantity, year
) -> None:
    """With price breaks our quantity is the textbook's, and the best of every unit tried one by one."""
    spending = spend(*steps, order_cost=order, carrying=carrying)
    found, cost = best_quantity(spending, yearly=yearly)
    assert found == pytest.approx(quantity, rel=2e-3), source
    if year is not None:
        assert cost == pytest.approx(year, abs=0.005), source
    tried = np.arange(1.0, 3000.0)
    price = np.array([[p for start, p in steps if q >= start][-1] for q in tried])
    every = yearly * price + order * yearly / tried + carrying * price * tried / 2.0
    assert cost <= every.min() + 1e-9


NEWSVENDOR = [
    # source, mean and sd of demand, cost of one too few, of one too many, ratio, quantity, its tolerance
    ("Snyder & Shen, example 4.3", 50.0, 8.0, 0.70, 0.18, 0.795455, 56.604, 0.05),
    ("Cachon & Terwiesch, wetsuit", 3192.0, 1181.0, 80.0, 20.0, 0.80, 4186.0, 12.0),
    ("Nahmias, example 5.1", 11.73, 4.74, 0.50, 0.15, 0.77, 15.24, 0.06),
]
"""Cachon & Terwiesch print 4,196 with the next z of their table; Nahmias rounds z to 0.74 and the ratio to 0.77."""


@pytest.mark.parametrize(
    ("source", "mean", "sd", "under", "over", "ratio", "quantity", "tolerance"), NEWSVENDOR
)
def test_the_accepted_risk_is_one_less_the_critical_ratio(
    source, mean, sd, under, over, ratio, quantity, tolerance
) -> None:
    """The level to order below is the newsvendor's quantity of the demand until delivery.

    The paths burn a normal demand, one for each of 4,000 equal chances, on the day of delivery; heel 0.
    """
    assert under / (under + over) == pytest.approx(ratio, abs=0.005), source
    paths = 4_000
    demand = norm.ppf((np.arange(paths) + 0.5) / paths, mean, sd)
    litres = np.repeat(1e5 - demand[:, None], 6, axis=1)
    settings = OrderSettings(lead_days=(1, 1), look_every_days=0, risk=over / (under + over), cold_lead=None)
    found = order_below_l(litres, now_l=np.full(paths, 1e5), first=MONDAY, heel_l=0.0, settings=settings)
    assert found == pytest.approx(quantity, abs=tolerance), source

    def expected_cost(q: float) -> float:
        z = (q - mean) / sd
        short = sd * (norm.pdf(z) - z * norm.sf(z))
        return under * short + over * (q - mean + short)

    best = minimize_scalar(expected_cost, bounds=(mean, mean + 4 * sd), method="bounded")
    assert found == pytest.approx(best.x, rel=2e-3), source
