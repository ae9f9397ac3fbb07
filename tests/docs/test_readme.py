"""README.md tells the truth: what it shows runs, and what there is stands in it."""

import doctest
import json
import re
import shlex
from collections.abc import Callable
from dataclasses import fields
from datetime import UTC, date, datetime, timedelta
from importlib import import_module
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from typer.testing import CliRunner, Result

from api.cli import app
from api.cli.trouble import NOT_USABLE, SET_ASIDE
from api.pages import router as pages
from api.routes import router as routes
from api.settings import Settings
from forecaster.deliveries import parse_deliveries, parse_receipts
from forecaster.diary import parse_diary
from forecaster.dwelling import Solar, Stove, Survey, parse_survey
from forecaster.readings import parse_readings
from forecaster.reorder import parse_lead_table, parse_quotes
from forecaster.states import State
from forecaster.stove import parse_stove_log
from forecaster.tanks import parse_tank
from forecaster.tanks.build import SHAPE_KEYS
from forecaster.tanks.file import COMMON_KEYS
from forecaster.weather import parse_outlook, parse_weather
from tests.docs.generated import (
    EXAMPLES,
    ROOT,
    SMALL_HOUSE,
    addresses,
    commands,
    options_of,
    run_in_small_house,
)
from tests.docs.reading import README, blocks, code_in, rows, section, steps

AS_OF = datetime(2024, 1, 11, tzinfo=UTC)
FILES = (
    "tank.toml", "readings.csv", "weather.csv", "outlook.csv", "deliveries.csv", "receipts.csv", "survey.toml",
    "diary.csv", "stove_log.csv", "lead_times.csv", "quotes.csv",
)  # fmt: skip
LAYOUT = ("--decimal", "--time-column", "--level-column", "--unit")
"""Options for files that are not written our way."""


def example_file(name: str) -> str:
    """Take the example of a file out of its section."""
    return blocks(section(README, f"### {name}"), name.rpartition(".")[2])[0]


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder that holds the example of every file, and a long record, as the present folder."""
    for name in FILES:
        (tmp_path / name).write_text(example_file(name), encoding="utf-8")
    days = [date(2012, 1, 1) + timedelta(days=i) for i in range(12 * 365)]
    swing = np.random.default_rng(7).normal(0.0, 3.0, len(days))
    seasons = 9.5 - 6.5 * np.cos(2 * np.pi * np.arange(len(days)) / 365.25) + swing
    record = [f"{day},{temp_c:.1f}" for day, temp_c in zip(days, seasons, strict=True)]
    (tmp_path / "station.csv").write_text("\n".join(["date,temp_c", *record]) + "\n", encoding="utf-8")
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("DIPCAST_DATABASE", f"sqlite:///{tmp_path / 'of_its_own.db'}")
    return tmp_path


def run(*words: str) -> Result:
    """Run the command in this process."""
    return CliRunner().invoke(app, list(words))


# ---- what is shown


@pytest.mark.parametrize("step", steps(README), ids=lambda step: step.command.split(" --")[0])
def test_commands_print_what_is_shown(step: Any) -> None:
    """Each command of a console block, typed in the small house's folder, prints what stands below it."""
    assert step.command.startswith("dipcast ")
    printed = run_in_small_house(step.command)
    ellipsis = doctest.ELLIPSIS
    assert doctest.OutputChecker().check_output(step.printed, printed, ellipsis), printed


def test_the_opening_shows_a_whole_forecast() -> None:
    """The one real answer is a told forecast of the small house, with its order and its dates."""
    shown = section(README, "## One answer")
    assert "litres are left" in shown
    assert "Order about" in shown
    assert "1 chance in 10 that the boiler stops by" in shown
    assert SMALL_HOUSE.relative_to(ROOT).as_posix() in shown


@pytest.mark.parametrize(
    "word", [w for b in blocks(README, "sh") for w in re.findall(r"^make (\w+)", b, re.MULTILINE)]
)
def test_make_targets_are_there(word: str) -> None:
    """Each target of make that is named stands in the Makefile."""
    assert re.search(rf"^{word}:", (ROOT / "Makefile").read_text(encoding="utf-8"), re.MULTILINE)


def _second(found: Any) -> Any:
    return found[1]


PARSERS: dict[str, Callable[[str], Any]] = {
    "readings.csv": lambda text: parse_readings(text).problems,
    "weather.csv": lambda text: parse_weather(text).problems,
    "outlook.csv": lambda text: _second(parse_outlook(text, as_of=AS_OF, tz="UTC")),
    "deliveries.csv": lambda text: _second(parse_deliveries(text, tz="UTC")),
    "receipts.csv": lambda text: _second(parse_receipts(text)),
    "diary.csv": lambda text: _second(parse_diary(text)),
    "stove_log.csv": lambda text: _second(parse_stove_log(text)),
    "lead_times.csv": lambda text: () if parse_lead_table(text).days else ("no row",),
    "quotes.csv": lambda text: _second(parse_quotes(text, today=AS_OF.date())),
}


@pytest.mark.parametrize("name", PARSERS)
def test_example_tables_are_read_whole(name: str) -> None:
    """The example of each table is read by the engine without a single bad row."""
    assert tuple(PARSERS[name](example_file(name))) == ()


def test_example_tank_and_survey_are_good() -> None:
    """The examples of tank.toml and survey.toml are taken as they stand."""
    assert parse_tank(example_file("tank.toml")).name == "Behind the barn"
    assert parse_survey(example_file("survey.toml")).stove == Stove(5.0, 4.0, 4.0)


# ---- the command


@pytest.mark.parametrize("command", commands())
def test_every_option_is_documented(command: str) -> None:
    """Each option of each command stands in the command's section, or in that of the command it refers to."""
    headed = {"demo": "serve"}.get(command, command)
    told = section(README, f"### dipcast {headed}")
    if command == "import":
        told += section(README, "### dipcast forecast")
    named = {word.split()[0] for word in code_in(told)}
    assert {option.opts[0] for option in options_of(command)} <= named


def test_every_option_has_an_example() -> None:
    """Each option that takes a value has an example, and no example stands for an option that is gone."""
    valued = {o.opts[0] for name in commands() for o in options_of(name) if not o.is_flag}
    assert set(EXAMPLES) == valued


def test_examples_of_forecast_answer(folder: Path) -> None:
    """All the examples of forecast's options, given at once with the examples of its files, are answered."""
    given = [o.opts[0] for o in options_of("forecast") if not o.is_flag and o.opts[0] not in LAYOUT]
    for other in ("--quote", "--quotes"):  # one or the other
        words = [word for name in given if name != other for word in (name, EXAMPLES[name])]
        result = run("forecast", *words, "--json")
        assert result.exit_code == 0, result.output
        assert json.loads(result.stdout)["state"] in State.__members__


def test_examples_of_another_layout_answer(folder: Path) -> None:
    """The options for another layout read a file of that layout."""
    other = "When;Depth\n09/01/2024 06:00;71,5\n13/01/2024 06:00;69,0\n"
    (folder / "readings.csv").write_text(other, encoding="utf-8")
    layout = [word for name in LAYOUT for word in (name, EXAMPLES[name])]
    zone = ("--tz", EXAMPLES["--tz"])
    files = ("--tank", "tank.toml", "--readings", "readings.csv", "--survey", "survey.toml")
    result = run("forecast", *files, *layout, *zone, "--as-of", "2024-01-13", "--json")
    assert result.exit_code == 0, result.output
    assert json.loads(result.stdout)["last_trusted"]["at"].startswith("2024-01-13")


@pytest.mark.parametrize("option", [o.opts[0] for o in options_of("litres") if not o.is_flag][1:])
def test_examples_of_litres_answer(option: str) -> None:
    """Each example of a level is answered for the small house's tank."""
    words = shlex.join(["dipcast", "litres", "--tank", "tank.toml", option, EXAMPLES[option]])
    assert "litres" in run_in_small_house(words)


def test_examples_of_import_answer(folder: Path) -> None:
    """The examples of the files go into the example of a database, and more into the tank made there."""
    database = ("--database", EXAMPLES["--database"])
    first = run("import", "--tank", "tank.toml", "--survey", "survey.toml", *database)
    assert first.exit_code == 0, first.output
    made = first.stdout.split()[-1].rstrip(".")
    again = run("import", "--tank-id", made, "--readings", "readings.csv", *database)
    assert again.exit_code == 0, again.output
    assert (folder / "oil.db").exists()


@pytest.mark.parametrize("command", ["serve", "demo"])
def test_examples_of_serve_are_understood(command: str) -> None:
    """The examples of the options of the server are values that they take."""
    words = [w for o in options_of(command) if not o.is_flag for w in (o.opts[0], EXAMPLES[o.opts[0]])]
    understood = commands()[command].make_context(command, words).params
    assert understood["port"] == int(EXAMPLES["--port"])


def test_exit_codes_are_the_commands_own() -> None:
    """The exit codes that are told are those that the command ends with."""
    told = re.findall(r"\*\*(\d)\*\* ([a-z ]+)", section(README, "## The command"))
    assert dict(told) == {
        "0": "answered ",
        str(NOT_USABLE): "input not usable and nothing answered",
        "3": told[2][1],
    }
    assert told[2] == (str(SET_ASIDE), "answered with rows set aside")


def test_members_of_the_object_are_named() -> None:
    """Every member of the JSON object of a forecast is named where it is introduced."""
    line = steps(README)[0].command
    found = json.loads(run_in_small_house(f"{line} --json"))
    assert set(found) <= set(code_in(section(README, "## One answer")))


# ---- files, settings, addresses


def test_every_key_of_the_tank_file_is_documented() -> None:
    """The table of tank.toml has each key that the engine takes, and no other."""
    keys = {key for row in rows(section(README, "### tank.toml")) for key in code_in(row[0])}
    assert keys == {*COMMON_KEYS, *(key for keys in SHAPE_KEYS.values() for key in keys)}


def test_every_answer_of_the_survey_is_documented() -> None:
    """The section of survey.toml names each answer that the engine takes."""
    answers = {f.name for kind in (Survey, Stove, Solar) for f in fields(kind)} - {"notes", "stove", "solar"}
    assert answers <= set(code_in(section(README, "### survey.toml")))


def test_every_setting_is_documented() -> None:
    """Each setting of the service is named as its environment variable."""
    named = {name for name in code_in(README) if name.startswith("DIPCAST_")}
    assert named == {f"DIPCAST_{name.upper()}" for name in Settings.model_fields}


def test_every_address_is_documented() -> None:
    """The table of addresses has each operation and each page, and no other."""
    served = {*addresses(routes), *addresses(pages)}
    told = {name for name in code_in(README) if re.match(r"(GET|POST|PUT|DELETE) /", name)}
    assert told == {*served, "GET /openapi.json"}


def test_every_command_below_accounts_is_documented() -> None:
    """Each command below `dipcast accounts` stands in its section."""
    below = commands()["accounts"].commands  # type: ignore[attr-defined]
    assert {f"dipcast accounts {name}" for name in below} <= set(
        code_in(section(README, "### dipcast accounts"))
    )


# ---- modules, states, words, cautions


@pytest.mark.parametrize("package", ["forecaster", "api"])
def test_every_module_has_its_place(package: str) -> None:
    """Each module of a package stands in the table of where to find what."""
    found = {p.stem for p in (ROOT / package).glob("*.py") if p.stem != "__init__"}
    found |= {p.parent.name for p in (ROOT / package).glob("*/__init__.py")}
    told = re.findall(rf"\]\({package}/(\w+)(?:\.py|/)\)", section(README, "## Where to find what"))
    assert sorted(set(told)) == sorted(found)


def test_the_run_dry_date_is_found_at_a_glance() -> None:
    """The table says that when the tank runs dry stands in run_dry.py."""
    line = next(r for r in rows(section(README, "## Where to find what")) if "When the tank runs dry" in r[0])
    assert "forecaster/run_dry.py" in line[1]


def test_every_state_is_told() -> None:
    """The table of states has them all, mildest first."""
    assert [row[0].strip("`") for row in rows(section(README, "## What an answer may say"))] == [
        state.name for state in State
    ]


GLOSSARY = rows(section(README, "## Words"))


@pytest.mark.parametrize("word", GLOSSARY, ids=lambda row: row[0])
def test_a_word_points_to_what_works_it_out(word: list[str]) -> None:
    """Each word of the glossary names a symbol that exists, or says that nothing works it out."""
    _, meaning, place = word
    assert meaning
    if place in ("not computed", "not yet"):
        return
    assert resolve(place.strip("`")) is not None


def resolve(dotted: str) -> Any:
    """Find a symbol by its dotted name: the longest module that can be imported, then its attributes."""
    parts = dotted.split(".")
    for cut in range(len(parts), 0, -1):
        try:
            found: Any = import_module(".".join(parts[:cut]))
        except ModuleNotFoundError:
            continue
        for name in parts[cut:]:
            found = getattr(found, name)
        return found
    raise ModuleNotFoundError(dotted)


@pytest.mark.parametrize(
    "word",
    ["ullage", "dip", "heel", "safe fill", "drop", "delivery", "bund", "degree-day", "K-factor", "round",
     "run-dry date", "order window", "left out", "call or dip", "what this rests on"],
)  # fmt: skip
def test_the_trades_words_are_explained(word: str) -> None:
    """The words that the trade and the pages use stand in the glossary."""
    assert word in [row[0] for row in GLOSSARY]


CAUTIONS = re.findall(r"^\d+\. (.+)$", section(README, "## Cautions"), re.MULTILINE)


@pytest.mark.parametrize("caution", CAUTIONS, ids=lambda text: text[:24])
def test_every_caution_names_where_it_comes_from(caution: str) -> None:
    """Each caution ends with its source, or with the statement that it has none."""
    assert re.search(r"\([A-Z][^()]+\.\)$", caution)


def test_the_cautions_of_an_answer_stand_among_all() -> None:
    """What stands beside an answer (estimate, no alarm, room to expand) is among the cautions."""
    for words in ("It is an estimate", "Not a leak detector", "Never overfill", "do not keep pressing reset"):
        assert any(words in caution for caution in CAUTIONS)
