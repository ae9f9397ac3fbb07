"""The options of ordering and money at the command: what they do, and what is refused."""

import json
from functools import cache
from pathlib import Path
from typing import Any

import pytest
from click.testing import Result
from typer.testing import CliRunner

from api.cli import app

HOUSE = Path(__file__).parents[2] / "fixtures" / "small_house"


def forecast(*more: object) -> Result:
    """Forecast the small house as of 10 January 2024."""
    files = [
        ("tank", "toml"),
        ("readings", "csv"),
        ("weather", "csv"),
        ("deliveries", "csv"),
        ("survey", "toml"),
    ]
    given = [part for name, end in files for part in (f"--{name}", str(HOUSE / f"{name}.{end}"))]
    return CliRunner().invoke(app, ["forecast", *given, "--as-of", "2024-01-10", *map(str, more)])


@cache
def order(*more: object) -> dict[str, Any]:
    """The order of that forecast's object."""
    result = forecast("--json", *more)
    assert result.exit_code == 0, result.output
    found: dict[str, Any] = json.loads(result.stdout)["order"]
    return found


def test_without_prices_the_order_is_as_ever() -> None:
    """The documented members come first, and no money is spoken of."""
    assert list(order()) == ["earliest", "latest", "litres", "note", "text", "money"]
    assert order()["money"] is None


def test_typed_quotes_and_quotes_in_a_file_are_the_same(tmp_path: Path) -> None:
    """Prices by --quote or by a file, decimal point or comma, give the same order."""
    typed = order("--quote", "1000:0.60", "--quote", "500:0.62", "--price-drift", "0.02")
    file = tmp_path / "quotes.csv"
    file.write_text("from_litres,price_per_litre\n500,0.62\n1000,0.60\n", encoding="utf-8")
    assert order("--quotes", file, "--price-drift", "0.02") == typed
    assert typed["money"]["price_per_l"] == pytest.approx(0.62)
    assert typed["money"]["cost"] == pytest.approx(0.62 * typed["litres"])


def test_a_budget_limits_the_order_and_is_said() -> None:
    """350 at 0.62 a litre pay for 560 litres."""
    assert order("--quote", "500:0.62", "--budget", "350")["litres"] == 560.0
    assert "the most that 350 pays for" in forecast("--quote", "500:0.62", "--budget", "350").stdout


def test_a_budget_out_of_reach_is_said_with_whom_to_ask() -> None:
    """250 do not pay for 500 litres: no quantity, and whom to ask."""
    found = order("--quote", "500:0.62", "--budget", "250")
    assert found["litres"] is None
    assert found["money"]["cost"] is None
    assert "Ask the supplier" in found["text"]


def test_a_lead_table_takes_the_place_of_the_span(tmp_path: Path) -> None:
    """Rare long waits move the latest order earlier; common short ones later."""
    table = tmp_path / "lead_times.csv"
    table.write_text("days,chance\n2,0.9\n25,0.1\n", encoding="utf-8")
    assert order("--lead-table", table)["latest"] < order()["latest"]
    table.write_text("days,chance\n1,1\n", encoding="utf-8")
    assert order("--lead-table", table, "--look-every-days", "1")["latest"] > order()["latest"]


def test_slow_deliveries_in_the_cold_are_an_assumption_that_can_be_changed() -> None:
    """More days in a cold spell never move the latest order later; five are taken where none are given."""
    latest = [order("--cold-lead-days", days)["latest"] for days in ("0", "5", "40")]
    assert latest == sorted(latest, reverse=True)
    assert order("--cold-lead-days", "5") == order()


def test_bad_rows_of_quotes_are_set_aside_and_named(tmp_path: Path) -> None:
    """A bad price is named by its row and left out, with code 3; the answer stands."""
    file = tmp_path / "quotes.csv"
    file.write_text("from_litres,price_per_litre\n500,0.62\n1000,cheap\n", encoding="utf-8")
    result = forecast("--quotes", file)
    assert result.exit_code == 3
    assert "row 3, price_per_litre: give a number" in result.stderr
    assert "By the quotes of" in result.stdout


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (["--quote", "500"], "--quote: give LITRES:PRICE, such as 500:0.62"),
        (["--quote", "500:free"], "--quote: give a number"),
        (["--quote", "500:0"], "price_per_litre: give the price of one litre"),
        (["--quote", "500:0.6", "--quote", "500:0.7"], "quotes: give at least one price, and each quantity once"),
        (["--quote", "500:0.6", "--budget", "0"], "budget: give a sum above 0"),
        (["--quote", "500:0.6", "--budget", "much"], "--budget: give a number"),
        (["--quote", "500:0.6", "--price-drift", "2"], "price_drift: give a part of the price a month"),
        (["--quote", "500:0.6", "--delivery-cost=-1"], "delivery_cost: give the cost of a delivery"),
        (["--quote", "500:0.6", "--holding-cost", "50"], "holding_cost: give a part of the price a year"),
        (["--budget", "300"], "--budget: give prices with it, such as --quote 500:0.62"),
        (["--price-drift", "0.01"], "--price-drift: give prices with it"),
        (["--quotes", "nowhere.csv"], "there is no such file"),
        (["--lead-table", "nowhere.csv"], "there is no such file"),
        (["--cold-lead-days", "some"], "--cold-lead-days: give a whole number"),
        (["--cold-lead-days", "99"], "cold_lead: give"),
    ],
)  # fmt: skip
def test_what_cannot_be_used_is_refused_in_words(arguments: list[str], said: str) -> None:
    """Each ends with code 2, its name and the mend, and says nothing else."""
    result = forecast(*arguments)
    assert result.exit_code == 2, result.output
    assert said in result.stderr
    assert result.stdout == ""


def test_prices_given_twice_are_refused(tmp_path: Path) -> None:
    """Prices by --quote and by --quotes at once are refused."""
    file = tmp_path / "quotes.csv"
    file.write_text("from_litres,price_per_litre\n500,0.62\n", encoding="utf-8")
    result = forecast("--quotes", file, "--quote", "500:0.6")
    assert result.exit_code == 2
    assert "not by both" in result.stderr


def test_a_bad_lead_table_names_every_row(tmp_path: Path) -> None:
    """A table with two bad rows is refused with both."""
    table = tmp_path / "lead_times.csv"
    table.write_text("days,chance\nsoon,0.5\n3,half\n", encoding="utf-8")
    result = forecast("--lead-table", table)
    assert result.exit_code == 2
    assert "row 2, days" in result.stderr
    assert "row 3, chance" in result.stderr
