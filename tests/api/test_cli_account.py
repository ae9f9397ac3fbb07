"""The command `account`: its table and its JSON say the same, and nothing of a tank that is doubted."""

import json
import re
from pathlib import Path
from typing import Any

import pytest
from typer.testing import CliRunner, Result

from api.cli import app

HOUSE = Path(__file__).parents[2] / "fixtures" / "small_house"
AS_OF = "2024-01-10"
FILES = {
    "--tank": "tank.toml",
    "--readings": "readings.csv",
    "--weather": "weather.csv",
    "--deliveries": "deliveries.csv",
    "--survey": "survey.toml",
}


def account(*more: str, without: tuple[str, ...] = ()) -> Result:
    """Account for the small house, some of its files left out."""
    given = [
        part
        for option, name in FILES.items()
        if option not in without
        for part in (option, str(HOUSE / name))
    ]
    return CliRunner().invoke(app, ["account", *given, "--as-of", AS_OF, *more])


@pytest.fixture(scope="module")
def as_object() -> dict[str, Any]:
    """The small house's account as an object."""
    done = account("--json")
    assert done.exit_code == 0
    found: dict[str, Any] = json.loads(done.stdout)
    return found


def test_the_object_adds_up(as_object: dict[str, Any]) -> None:
    """In every month of the JSON the parts are the burn, and the months are the total."""
    total = as_object["total"]
    for entry in (*as_object["months"], total):
        assert entry["hot_water"]["mean"] + entry["heating"]["mean"] == pytest.approx(entry["burned"]["mean"])
    assert sum(m["burned"]["mean"] for m in as_object["months"]) == pytest.approx(total["burned"]["mean"])
    assert [m["first"] for m in as_object["months"]] == ["2023-11-12", "2023-12-01", "2024-01-01"]
    assert as_object["months"][-1]["last"] == AS_OF


def test_the_small_house_burned_what_its_arithmetic_says(as_object: dict[str, Any]) -> None:
    """December's litres hold a litre a day and half a litre for each degree-day below 15 °C."""
    weather = (HOUSE / "weather.csv").read_text("utf-8")
    december = [float(t) for t in re.findall(r"^2023-12-\d\d,([-.\d]+)", weather, re.MULTILINE)]
    assert len(december) == 31
    litres = 31 + sum(max(15.0 - t, 0.0) / 2.0 for t in december)
    burned = as_object["months"][1]["burned"]
    assert burned["low"] <= litres <= burned["high"]


def test_the_table_shows_every_month_and_what_is_from_the_survey() -> None:
    """The table has a line for each month and one for all, a star where the survey speaks, and says so."""
    text = account().stdout
    lines = text.splitlines()
    assert [line.split("   ")[0].strip() for line in lines[2:6]] == [
        "November 2023, 12 to 30", "December 2023", "January 2024, 1 to 10", "all",
    ]  # fmt: skip
    assert "hot water*" in lines[1]
    assert "spared by" not in lines[1]
    assert "* From your survey" in text


def test_a_withheld_account_tells_no_figure() -> None:
    """Without any reading no litres leave, in words or as an object, and the reason is said."""
    hidden = ("--readings", "--deliveries")
    done = account("--json", without=hidden)
    found = json.loads(done.stdout)
    assert (found["state"], found["months"], found["total"], found["grounds"]) == ("BLIND", [], None, {})
    words = account(without=hidden).stdout
    assert words.startswith("Nothing can be accounted for")
    assert not re.search(r"\d+ l", words)


def test_the_help_shows_how_it_is_called() -> None:
    """The help of the command has an example."""
    text = CliRunner().invoke(app, ["account", "--help"]).stdout
    assert "dipcast account --tank" in text
    assert r"\b" not in text


def test_a_missing_file_is_refused_by_name() -> None:
    """A file that is not there ends the command with 2 and its name."""
    done = CliRunner().invoke(app, ["account", "--tank", "nowhere.toml"])
    assert done.exit_code == 2
    assert "nowhere.toml" in done.output


def test_a_change_for_good_is_said_to_be_used(tmp_path: Path) -> None:
    """A new boiler in the diary is no problem, and is named with the day from which it counts."""
    diary = tmp_path / "diary.csv"
    diary.write_text("start,end,what\n2023-12-20,,new boiler\n", encoding="utf-8")
    done = account("--diary", str(diary))
    assert done.exit_code == 0
    assert "new boiler: used from Wed 20 December 2023 on" in done.output
