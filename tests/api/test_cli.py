"""The command: what it answers, what it refuses, and that its words are its figures."""

import json
import os
import re
import subprocess
import sys
import urllib.request
from calendar import month_name
from collections.abc import Sequence
from datetime import UTC, date, datetime
from functools import cache
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from typer.testing import CliRunner, Result

import api.ports
from api.cli import app
from api.cli.demo import StandingClock
from api.cli.service import listen
from api.schemas.forecasts import forecast_json
from api.sources.valley import make_valley
from api.store import Store, make_engine
from api.store.tanks import load_tank
from api.usecases.refresh_forecast import gather_inputs, refresh_forecast
from forecaster.phrases import rounding_step
from forecaster.reorder import OrderSettings

ROOT = Path(__file__).parents[2]
HOUSE = ROOT / "fixtures" / "small_house"
FILES = {
    "--tank": HOUSE / "tank.toml",
    "--readings": HOUSE / "readings.csv",
    "--weather": HOUSE / "weather.csv",
    "--deliveries": HOUSE / "deliveries.csv",
    "--survey": HOUSE / "survey.toml",
}
AS_OF = "2024-01-10"
MEMBERS = [
    "as_of", "state", "reasons", "horizon_days", "litres", "run_dry", "order", "daily", "last_trusted",
    "appointment", "answer",
]  # fmt: skip
MONTHS = tuple(month_name)[1:]


def run(*arguments: object) -> Result:
    """Run the command in this process."""
    return CliRunner().invoke(app, [str(a) for a in arguments])


def forecast(*more: object, **instead: object) -> Result:
    """Forecast the small house; ``instead`` replaces its files, None leaves one out."""
    files = FILES | {f"--{name.replace('_', '-')}": path for name, path in instead.items()}
    given = [part for option, path in files.items() if path is not None for part in (option, path)]
    return run("forecast", *given, *more)


@cache
def small_house(*more: str) -> Result:
    """Forecast the small house as it is, once for all tests that look at it."""
    return forecast("--as-of", AS_OF, *more)


@cache
def small_house_json() -> dict[str, Any]:
    """The small house's forecast as an object."""
    found: dict[str, Any] = json.loads(small_house("--json").stdout)
    return found


def object_of(result: Result) -> dict[str, Any]:
    """The one JSON object that a run printed."""
    assert result.exit_code in (0, 3), result.output
    found: dict[str, Any] = json.loads(result.stdout)
    return found


# ---- litres


@pytest.mark.parametrize(
    ("option", "value"),
    [("--dip-mm", "600"), ("--dip-cm", "60"), ("--dip-in", "23.622047244094487"), ("--ullage-mm", "650")],
)
def test_level_in_any_unit_gives_the_same_litres(option: str, value: str) -> None:
    """A millimetre of the small house's tank is a litre, whatever the level was measured in."""
    level = object_of(run("litres", "--tank", FILES["--tank"], option, value, "--json"))
    assert level["litres"] == pytest.approx(600.0)
    assert level["litres_per_cm"] == pytest.approx(10.0)


@settings(max_examples=20, deadline=None)
@given(st.floats(0.0, 1200.0))
def test_litres_give_the_dip_back(dip_mm: float) -> None:
    """Dip to litres to dip comes back, to the last printed digit's rounding."""
    there = object_of(run("litres", "--tank", FILES["--tank"], "--dip-mm", f"{dip_mm:.6f}", "--json"))
    back = object_of(run("litres", "--tank", FILES["--tank"], "--litres", f"{there['litres']:.9f}", "--json"))
    assert back["dip_mm"] == pytest.approx(dip_mm, abs=1e-5)


def test_litres_in_words_are_the_litres_of_the_object() -> None:
    """The sentence says the litres, those above the heel, and the litres a centimetre."""
    sentence = run("litres", "--tank", FILES["--tank"], "--dip-mm", "600").stdout
    assert re.findall(r"[\d.,]*\d", sentence) == ["600", "600", "550", "10.0"]


def test_litres_below_the_heel_are_said_to_be_heel() -> None:
    """A dip within the heel is not called usable."""
    sentence = run("litres", "--tank", FILES["--tank"], "--dip-mm", "40").stdout
    assert "all of it heel, so the boiler has stopped" in sentence


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (["--dip-mm", "nan"], "--dip-mm: give a number (seen: 'nan')"),
        (["--dip-mm", "1e999"], "--dip-mm: give a finite number"),
        (["--dip-mm", "1_000"], "--dip-mm: give a number"),
        (["--dip-mm", "٦٠٠"], "--dip-mm: give a number"),
        (["--dip-mm", "12,5"], "decimal point"),
        (["--dip-mm", ""], "--dip-mm: give a value"),
        (["--dip-mm", "1201"], "outside 0 to 1200"),
        (["--dip-mm", "-1"], "outside 0 to 1200"),
        (["--litres", "1201"], "outside 0 to 1200"),
        ([], "give one of --dip-mm, --dip-cm"),
        (["--dip-mm", "600", "--litres", "600"], "give one of --dip-mm, --dip-cm"),
    ],
)
def test_level_that_cannot_be_is_refused_in_words(arguments: list[str], said: str) -> None:
    """A level that is no number, is outside the tank, or is not given once ends with code 2 and a mend."""
    result = run("litres", "--tank", FILES["--tank"], *arguments)
    assert result.exit_code == 2
    assert said in result.stderr
    assert result.stdout == ""
    assert "Traceback" not in result.output


def test_ullage_without_a_sensor_height_says_what_to_add(tmp_path: Path) -> None:
    """An ullage cannot be turned into litres where the sensor's height is not known."""
    bare = "\n".join(
        line for line in FILES["--tank"].read_text().splitlines() if not line.startswith("sensor_height_mm")
    )
    tank = tmp_path / "tank.toml"
    tank.write_text(bare)
    result = run("litres", "--tank", tank, "--ullage-mm", "600")
    assert result.exit_code == 2
    assert "sensor_height_mm: add it to the tank file" in result.stderr


# ---- forecast: the object


def test_object_has_the_documented_members() -> None:
    """The object of a forecast has the documented members, in order, down to the days."""
    found = small_house_json()
    assert list(found) == MEMBERS
    assert list(found["litres"]) == ["p10", "p50", "p90"]
    assert list(found["run_dry"]) == ["p02", "p05", "p10", "p50", "p90", "p95"]
    assert {"earliest", "latest", "litres", "note", "text"} <= set(found["order"])
    assert {"date", "p10", "p50", "p90", "p_dry"} <= set(found["daily"][0])
    assert set(found["last_trusted"]) == {"at", "litres"}
    assert found["state"] in ("OK", "WIDE")


def test_small_house_is_where_its_arithmetic_says() -> None:
    """The forecast's litres hold what the small house's own arithmetic says is left at the day's end.

    519.75 l at 06:00 on Wednesday 10 January, of whose 9 l three quarters are still to burn: 513 l.
    """
    litres = small_house_json()["litres"]
    assert litres["p10"] - 3.0 <= 513.0 <= litres["p90"] + 3.0
    assert litres["p50"] == pytest.approx(513.0, abs=6.0)


def test_date_as_of_is_the_end_of_that_day() -> None:
    """A date stands for its end: the same instant given as a time gives the same answer."""
    as_time = object_of(forecast("--as-of", "2024-01-11T00:00:00Z", "--json"))
    assert small_house_json()["as_of"] == "2024-01-11T00:00:00Z"
    assert as_time == small_house_json()


def test_same_question_twice_has_one_answer() -> None:
    """The draws are fixed: asking again prints the same bytes."""
    assert forecast("--as-of", AS_OF, "--json").stdout == small_house("--json").stdout


def test_nothing_later_than_as_of_is_looked_at(tmp_path: Path) -> None:
    """Readings, tickets and weather of later days change nothing."""
    later = {
        "readings": "2024-01-11T06:00:00Z,100,15.0\n2024-01-12T06:00:00Z,90,15.0\n",
        "weather": "2024-01-11,-12.0,-15.0,-9.0,900\n2024-01-12,-12.0,-15.0,-9.0,900\n",
        "deliveries": "2024-01-12T11:00:00Z,400,no,kerosene,observed\n",
    }
    longer = {}
    for name, rows in later.items():
        longer[name] = tmp_path / f"{name}.csv"
        longer[name].write_text(FILES[f"--{name}"].read_text() + rows)
    assert object_of(forecast("--as-of", AS_OF, "--json", **longer)) == small_house_json()


def test_as_of_is_now_where_none_is_given(monkeypatch: pytest.MonkeyPatch) -> None:
    """Without an as-of the clock is asked, once, at the edge."""
    monkeypatch.setattr(
        api.ports.SystemClock, "now", lambda _: datetime(2024, 1, 11, 0, 0, 0, 250_000, tzinfo=UTC)
    )
    assert object_of(forecast("--json")) == small_house_json()


def test_order_placed_moves_the_run_dry_date_later() -> None:
    """Orders placed count as promised, and several may be given."""
    promised = object_of(
        forecast("--as-of", AS_OF, "--ordered", "2024-01-22:150", "--ordered", "2024-01-23:150", "--json")
    )
    assert promised["run_dry"]["p10"] > small_house_json()["run_dry"]["p10"]


def test_supplier_who_is_closed_moves_the_latest_order_earlier() -> None:
    """A lead time, closing days and holidays count in working days."""
    closed = [part for day in range(1, 29) for part in ("--closed", f"2024-02-{day:02d}")]
    shut = object_of(forecast("--as-of", AS_OF, "--holidays", "GB-ENG", *closed, "--json"))
    assert shut["order"]["latest"] < small_house_json()["order"]["latest"]


def test_vulnerable_home_keeps_more_in_hand(tmp_path: Path) -> None:
    """A vulnerable home has the smaller risk, unless a risk is given."""
    survey = tmp_path / "survey.toml"
    survey.write_text("vulnerable = true\n" + FILES["--survey"].read_text())
    own = object_of(forecast("--as-of", AS_OF, "--json", survey=survey))
    as_small = object_of(forecast("--as-of", AS_OF, "--risk", "0.002", "--json"))
    as_usual = object_of(forecast("--as-of", AS_OF, "--risk", "0.005", "--json", survey=survey))
    assert own["order"] == as_small["order"]
    assert as_usual["order"] == small_house_json()["order"]
    assert own["order"]["latest"] < as_usual["order"]["latest"]


# ---- forecast: zones


def without_zone(folder: Path, name: str) -> Path:
    """Write a tank or survey file without its time zone."""
    file = folder / f"{name}.toml"
    lines = FILES[f"--{name}"].read_text().splitlines()
    file.write_text("\n".join(line for line in lines if not line.startswith("timezone")) + "\n")
    return file


def test_zone_is_the_surveys_then_the_tanks_then_the_option(tmp_path: Path) -> None:
    """Civil days are those of the survey, else of the tank file, else of --tz."""
    tank, survey = without_zone(tmp_path, "tank"), without_zone(tmp_path, "survey")
    zoned = tmp_path / "zoned.toml"
    zoned.write_text(survey.read_text() + 'timezone = "Asia/Tokyo"\n')
    option = ("--as-of", AS_OF, "--tz", "America/New_York", "--json")
    assert object_of(forecast(*option, survey=zoned))["as_of"] == "2024-01-10T15:00:00Z"
    assert object_of(forecast(*option, survey=survey))["as_of"] == "2024-01-11T00:00:00Z"
    assert object_of(forecast(*option, survey=survey, tank=tank))["as_of"] == "2024-01-11T05:00:00Z"


def test_no_zone_at_all_is_utc_and_said(tmp_path: Path) -> None:
    """Without any zone days are UTC days, a reason says so, and the state does not change for it."""
    bare = object_of(
        forecast(
            "--as-of", AS_OF, "--json",
            tank=without_zone(tmp_path, "tank"), survey=without_zone(tmp_path, "survey"),
        )
    )  # fmt: skip
    assert "no_zone" in [reason["code"] for reason in bare["reasons"]]
    assert "counted in UTC" in bare["answer"]
    assert bare["state"] == small_house_json()["state"]
    assert bare["as_of"] == "2024-01-11T00:00:00Z"


def test_other_layout_is_read_by_naming_it(tmp_path: Path) -> None:
    """Named columns, unit, zone and decimal comma give the answer of the plain file."""
    rows = [line.split(",") for line in FILES["--readings"].read_text().splitlines()[1:]]
    export = tmp_path / "export.csv"
    export.write_text(
        "When;Free space;oil_c;Battery\n"
        + "".join(f"{at[:10]} 06:00;{float(mm) / 10:.1f};15.0;ok\n".replace(".", ",") for at, mm, _ in rows)
    )
    comma = {name: tmp_path / f"{name}.csv" for name in ("weather", "deliveries")}
    for name, file in comma.items():
        file.write_text(FILES[f"--{name}"].read_text().replace(",", ";").replace(".", ","))
    result = forecast(
        "--as-of", AS_OF, "--json", "--decimal", ",", "--time-column", "When", "--level-column", "Free space",
        "--unit", "ullage_cm", "--tz", "Europe/London", readings=export, **comma,
    )  # fmt: skip
    assert object_of(result) == small_house_json()
    assert "columns not used: battery" in result.stderr


# ---- forecast: words


def sentence_dates(text: str, year: int) -> list[date]:
    """Read every date with its weekday out of a text, and check the weekday."""
    found = []
    for weekday, day, month, said in re.findall(
        rf"(\w{{3}}) (\d+) ({'|'.join(MONTHS)})(?: (\d{{4}}))?", text
    ):
        when = date(int(said or year), MONTHS.index(month) + 1, int(day))
        assert weekday == when.strftime("%a")
        found.append(when)
    return found


def test_every_figure_of_the_sentence_is_the_objects() -> None:
    """The sentence's litres, quantity, dates and chances are those of the object, rounded as stated."""
    found = small_house_json()
    sentence = found["answer"].splitlines()[0]
    litres, order, dry = found["litres"], found["order"], found["run_dry"]
    step = rounding_step(max((litres["p90"] - litres["p10"]) / 2.563, 1.0))
    told = [round(litres[p] / step) * step for p in ("p50", "p10", "p90")]
    match = re.match(r"About ([\d,]+) litres are left \(([\d,]+) to ([\d,]+)", sentence)
    assert match is not None
    assert [float(n.replace(",", "")) for n in match.groups()] == told
    assert f"Order about {order['litres']:,.0f} litres" in sentence
    assert "delivery takes 3 to 10 working days" in sentence
    assert sentence_dates(sentence, 2024) == [
        date.fromisoformat(day)
        for day in (
            order["earliest"],
            order["latest"],
            dry["p10"],
            dry["p50"],
            found["last_trusted"]["at"][:10],
        )
    ]
    assert "1 chance in 10" in sentence
    assert "1 in 2 by" in sentence


def test_words_are_the_objects_answer_and_days() -> None:
    """Without --json the answer stands first, word for word, and the table's rows are the object's days."""
    found, text = small_house_json(), small_house().stdout
    assert text.startswith(found["answer"].splitlines()[0] + "\n")
    for line in found["answer"].splitlines():
        assert line in text.splitlines()
    by_date = {day["date"]: day for day in found["daily"]}
    litres = found["litres"]
    step = rounding_step(max((litres["p90"] - litres["p10"]) / 2.563, 1.0))
    rows = [line.split("   ") for line in text.splitlines() if re.match(r"  \w{3} \d+ \w+ +[\d,]+ ", line)]
    assert len(rows) >= 8
    for row in rows:
        day, *figures, chance = [cell.strip() for cell in row if cell.strip()]
        shown = by_date[sentence_dates(day, 2024)[0].isoformat()]
        assert [float(f.replace(",", "")) for f in figures] == [
            round(max(shown[p], 0.0) / step) * step for p in ("p10", "p50", "p90")
        ]
        if chance.endswith("in 100") and not chance.startswith("less"):
            assert int(chance.split()[0]) == int(shown["p_dry"] * 100 + 1e-9)
        else:
            assert shown["p_dry"] < (0.001 if chance.endswith("1,000") else 0.01)


def test_cautions_stand_with_the_answer() -> None:
    """The estimate's caution, and the one about room, are printed and are in the object."""
    for text in (small_house().stdout, small_house_json()["answer"]):
        assert "Read the gauge, or dip the tank" in text
        assert "oil needs room to expand" in text


def test_what_it_rests_on_is_said() -> None:
    """Readings, tickets, weather and survey that went in are counted under the answer."""
    text = small_house().stdout
    assert "60 readings, 2023-11-12 to 2024-01-10" in text
    assert "1 delivery ticket." in text
    assert "from your survey" in text


# ---- forecast: withheld


def test_tank_never_seen_is_withheld_in_every_form() -> None:
    """Without any level no litres, date or quantity is given: these members null, no days, no date ahead."""
    result = forecast("--as-of", AS_OF, "--json", readings=None, deliveries=None)
    found = object_of(result)
    assert result.exit_code == 0
    assert found["state"] == "BLIND"
    assert list(found) == list(small_house_json())
    assert [found[name] for name in ("litres", "run_dry", "order")] == [None, None, None]
    assert found["daily"] == []
    assert found["last_trusted"] is None
    assert found["appointment"] is None
    words = forecast("--as-of", AS_OF, readings=None, deliveries=None).stdout
    assert "No level of this tank has been seen yet" in words
    assert sentence_dates(words, 2024) == []
    assert re.search(r"\d litres", words) is None


def test_sensor_that_does_not_fit_is_withheld_in_every_form(tmp_path: Path) -> None:
    """A stuck sensor's forecast tells no day ahead and no quantity, in words as in the object."""
    valley = make_valley()
    house = valley.house("upper-byre")
    files = {
        "tank": house.tank_toml, "survey": house.survey_toml, "readings": house.readings_csv,
        "weather": valley.weather_csv, "deliveries": house.deliveries_csv,
    }  # fmt: skip
    paths = {name: tmp_path / f"{name}.txt" for name in files}
    for name, text in files.items():
        paths[name].write_text(text)
    found = object_of(forecast("--as-of", valley.as_of.isoformat(), "--json", **paths))
    words = forecast("--as-of", valley.as_of.isoformat(), **paths).stdout
    assert found["state"] == "CHECK"
    assert [found[name] for name in ("litres", "run_dry", "order")] == [None, None, None]
    assert found["daily"] == []
    assert found["appointment"] is None
    assert found["last_trusted"]["litres"] > 0
    assert "so we give no date" in words
    for text in (words, found["answer"]):
        assert "Read the gauge" in text
        assert all(day <= valley.as_of.date() for day in sentence_dates(text, 2025))
        assert "1 in" not in text
        assert "Order" not in text


# ---- forecast: what cannot be used


def with_rows(folder: Path, name: str, rows: Sequence[str]) -> Path:
    """Write one of the small house's tables with rows added below."""
    file = folder / f"{name}.csv"
    file.write_text(FILES[f"--{name}"].read_text() + "".join(row + "\n" for row in rows))
    return file


def test_rows_set_aside_are_named_and_the_answer_stands(tmp_path: Path) -> None:
    """Bad rows end with code 3; each is named with row, field, value and mend; good rows answer alike."""
    readings = with_rows(tmp_path, "readings", ["2024-01-10T07:00:00Z,abc,15.0", "yesterday,730,15.0"])
    result = forecast("--as-of", AS_OF, "--json", readings=readings)
    assert result.exit_code == 3
    assert f"{readings}: 2 set aside:" in result.stderr
    assert "row 62, ullage_mm: give a number (seen: 'abc')" in result.stderr
    assert "row 63, at: give a time as" in result.stderr
    assert object_of(result) == small_house_json()


def test_many_bad_rows_are_named_up_to_twenty_and_counted(tmp_path: Path) -> None:
    """Of many bad rows twenty are named and the others counted, file by file."""
    readings = with_rows(tmp_path, "readings", ["2024-01-10T07:00:00Z,x,15.0"] * 1_234)
    weather = with_rows(tmp_path, "weather", ["2024-01-32,1.0,0.0,2.0,700"])
    result = forecast("--as-of", AS_OF, "--json", readings=readings, weather=weather)
    assert result.exit_code == 3
    assert result.stderr.count("(seen: 'x')") == 20
    assert "and 1,214 more" in result.stderr
    assert f"{weather}: set aside:" in result.stderr


def test_bad_value_is_shown_short_and_cannot_steer_a_terminal(tmp_path: Path) -> None:
    """A value is shown back without control characters and at most 40 characters long."""
    readings = with_rows(tmp_path, "readings", ["2024-01-10T07:00:00Z,\x1b[31m" + "9z" * 60 + ",15.0"])
    stderr = forecast("--as-of", AS_OF, "--json", readings=readings).stderr
    assert "\x1b" not in stderr
    seen = re.search(r"seen: '(.*)'", stderr)
    assert seen is not None
    assert len(seen[1]) <= 40


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (["--as-of", "yesterday"], "--as-of: give a date as 2024-01-10"),
        (["--as-of", "2024-01-10T06:00:00"], "--as-of: add the offset"),
        (["--as-of", "2024-02-30"], "--as-of: give a date that exists"),
        (["--as-of", "9999-12-31"], "--as-of:"),
        (["--as-of", "0001-01-01"], "--as-of: give a year"),
        (["--lead-days", "10-3"], "lead_days: give working days"),
        (["--lead-days", "soon"], "--lead-days: give working days from-to"),
        (["--lead-days", "0-400"], "lead_days: give working days"),
        (["--lead-days=-1-3"], "--lead-days: give working days from-to"),
        (["--holidays", "XX-NOWHERE"], "holidays: give a country"),
        (["--risk", "0"], "risk: give a chance above 0"),
        (["--risk", "nan"], "--risk: give a number"),
        (["--look-every-days", "1.5"], "--look-every-days: give a whole number"),
        (["--min-drop-l", "-5"], "min_drop_l: give litres above 0"),
        (["--ordered", "2024-01-22"], "--ordered: give DATE:litres"),
        (["--ordered", "2024-01-22:0"], "ordered: give litres above 0"),
        (["--ordered", "22.1.2024:900"], "--ordered: give a date as"),
        (["--closed", "Christmas"], "--closed: give a date as"),
        (["--tz", "Europe/Lundon"], "timezone: name a zone"),
        (["--tz", "../../etc/localtime"], "timezone: name a zone"),
        (["--unit", "furlong"], "unit: give one of"),
        (["--temp-kind", "median"], "--temp-kind"),
        (["--decimal", ";"], "--decimal"),
    ],
)
def test_option_that_cannot_be_used_is_refused_in_words(arguments: list[str], said: str) -> None:
    """An option with a value that cannot be used ends with code 2, its name, and the mend."""
    given = arguments if "--as-of" in arguments else ["--as-of", AS_OF, *arguments]
    result = forecast(*given)
    assert result.exit_code == 2, result.output
    assert said in result.stderr
    assert result.stdout == ""
    assert "Traceback" not in result.output


def test_all_that_is_wrong_is_said_at_once(tmp_path: Path) -> None:
    """Every file and option that cannot be used is named in one go, each with its file."""
    tank, readings = tmp_path / "tank.toml", tmp_path / "readings.csv"
    tank.write_text('product = "petrol"\nshape = "rectangular"\n')
    readings.write_text("at,level\n2024-01-10T06:00:00Z,7\n")
    result = forecast(
        "--as-of",
        AS_OF,
        "--risk",
        "2",
        tank=tank,
        readings=readings,
        weather=tmp_path,
        survey=tmp_path / "no",
    )
    assert result.exit_code == 2
    assert f"{tank}: product" in result.stderr
    assert f"{readings}: row 1, level" in result.stderr
    assert f"{tmp_path}: file: this is a folder" in result.stderr
    assert f"{tmp_path / 'no'}: file: there is no such file" in result.stderr
    assert "risk: give a chance" in result.stderr


def test_neither_place_nor_record_is_refused_with_what_to_give() -> None:
    """Without a place and without a long record there is no weather to lay ahead, and the mend says so."""
    result = forecast("--as-of", AS_OF, survey=None)
    assert result.exit_code == 2
    assert "give --years (a long daily record), or latitude and longitude" in result.stderr


@pytest.mark.parametrize(
    "content",
    [
        b"",
        b"\x00\x01\x02",
        b"\xff\xfe\x00",
        b"<html><body>busy</body></html>",
        b"\x80\x04K\x01.",
        b"at\n" * 3,
    ],
)
@pytest.mark.parametrize(
    "option", ["readings", "weather", "years", "outlook", "deliveries", "receipts", "diary", "stove_log"]
)
def test_file_that_is_no_table_is_refused_in_words(tmp_path: Path, option: str, content: bytes) -> None:
    """Whatever a file holds, it is read as a table or refused with its name; never with a traceback."""
    file = tmp_path / "odd.csv"
    file.write_bytes(content)
    result = forecast("--as-of", AS_OF, **{option: file})
    assert result.exit_code == 2
    assert f"{file}: " in result.stderr
    assert "Traceback" not in result.output


def test_file_ending_in_epw_is_read_as_epw(tmp_path: Path) -> None:
    """The ending .epw decides, whatever its case."""
    file = tmp_path / "typical.EPW"
    file.write_text("date,temp_c\n2024-01-01,4\n")
    result = forecast("--as-of", AS_OF, weather=file)
    assert result.exit_code == 2
    assert "give a complete EPW file" in result.stderr


# ---- the process


def process(*arguments: str) -> subprocess.CompletedProcess[str]:
    """Run the command as its own process, and list the modules it loaded."""
    program = "import atexit, sys; atexit.register(lambda: print('LOADED', *sys.modules, file=sys.stderr)); "
    program += "from api.cli import main; main()"
    return subprocess.run(
        [sys.executable, "-c", program, *arguments], capture_output=True, text=True, check=False, cwd=ROOT
    )


@pytest.mark.parametrize(
    "arguments", [("--help",), ("litres", "--tank", str(FILES["--tank"]), "--dip-mm", "600", "--json")]
)
def test_help_and_litres_load_nothing_heavy(arguments: tuple[str, ...]) -> None:
    """Start-up is short: help and litres load neither tables, compilers, databases nor servers."""
    done = process(*arguments)
    assert done.returncode == 0
    loaded = set(done.stderr.partition("LOADED")[2].split())
    assert "typer" in loaded
    assert not loaded & {"pandas", "numba", "scipy", "sqlalchemy", "fastapi", "uvicorn", "altair", "pvlib"}


@pytest.mark.parametrize(
    ("arguments", "code"),
    [
        (("litres", "--tank", str(FILES["--tank"]), "--dip-mm", "600"), 0),
        (("litres", "--tank", "nowhere.toml", "--dip-mm", "600"), 2),
        (("forecast", "--tank", str(FILES["--tank"])), 2),
        (("forecast",), 2),
        (("guess",), 2),
    ],
)
def test_exit_code_of_the_process(arguments: tuple[str, ...], code: int) -> None:
    """The process ends with the documented code, without a traceback."""
    done = process(*arguments)
    assert done.returncode == code
    assert "Traceback" not in done.stderr


@pytest.mark.parametrize("command", ["litres", "forecast", "import", "demo", "serve"])
def test_help_of_each_command_has_an_example(command: str) -> None:
    """Every command's help shows how it is called."""
    text = run(command, "--help").stdout
    assert f"dipcast {command} --" in text
    assert r"\b" not in text


# ---- import


def import_(*more: object, database: str, **files: Path) -> Result:
    """Import files into a database."""
    given = [part for name, path in files.items() for part in (f"--{name.replace('_', '-')}", path)]
    return run("import", "--database", database, *given, *more)


@pytest.fixture
def own_database(sqlite_url: str) -> str:
    """The address of a database of the test's own."""
    return sqlite_url


def id_in(text: str) -> str:
    """The tank's id that an import printed."""
    found = re.search(r"Its id is (\S+)", text)
    assert found is not None, text
    return found[1]


SMALL = {name.removeprefix("--"): path for name, path in FILES.items()}


def test_imported_files_make_the_service_say_what_the_command_says(own_database: str) -> None:
    """The database's forecast of the same files and instant is the one-shot forecast, figure for figure."""
    done = import_(database=own_database, **SMALL)
    assert done.exit_code == 0
    assert (
        "Small house: stored the survey, 60 new readings, 1 new ticket and 60 days of weather" in done.stdout
    )
    engine = make_engine(own_database)
    clock = StandingClock(datetime(2024, 1, 11, tzinfo=UTC))
    kept = forecast_json(refresh_forecast(Store(engine), clock, id_in(done.stdout)))
    engine.dispose()
    assert kept == {name: small_house_json()[name] for name in kept}


def test_file_that_has_grown_is_brought_in_again_without_doubles(own_database: str, tmp_path: Path) -> None:
    """Rows that are there already are counted as known; only what is new is stored."""
    public_id = id_in(import_(database=own_database, **SMALL).stdout)
    grown = with_rows(tmp_path, "readings", ["2024-01-11T06:00:00Z,740,15.0"])
    again = import_(
        "--tank-id", public_id, database=own_database, readings=grown, deliveries=FILES["--deliveries"]
    )
    assert again.exit_code == 0
    assert "1 new reading, 60 readings known before and 0 new tickets" in again.stdout


def test_same_tank_is_not_made_twice(own_database: str) -> None:
    """A second import of the same tank file is refused with how to add to the tank that is there."""
    public_id = id_in(import_(database=own_database, **SMALL).stdout)
    again = import_(database=own_database, **SMALL)
    assert again.exit_code == 2
    assert f"add to it with --tank-id {public_id}" in again.stderr


def test_import_stores_all_files_or_none(own_database: str, tmp_path: Path) -> None:
    """Where one file cannot be used nothing is stored, and the mended files go in as if for the first time."""
    broken = tmp_path / "deliveries.csv"
    broken.write_text("when,how much\n")
    refused = import_(database=own_database, **(SMALL | {"deliveries": broken}))
    assert refused.exit_code == 2
    assert f"{broken}: row 1, at: add this column" in refused.stderr
    mended = import_(database=own_database, **SMALL)
    assert mended.exit_code == 0
    assert "60 new readings" in mended.stdout


def test_import_names_rows_set_aside(own_database: str, tmp_path: Path) -> None:
    """Bad rows of an import end with code 3 and are named; the good ones are stored."""
    readings = with_rows(tmp_path, "readings", ["2024-01-11T06:00:00Z,abc,15.0"])
    done = import_(database=own_database, **(SMALL | {"readings": readings}))
    assert done.exit_code == 3
    assert "row 62, ullage_mm: give a number (seen: 'abc')" in done.stderr
    assert "60 new readings" in done.stdout


def test_every_kind_of_file_goes_in(own_database: str, tmp_path: Path) -> None:
    """Bills, diary, wood, a long record and an outlook are stored, and the forecast takes them up."""
    texts = {
        "receipts": "date;litres\n2023-01-15;500,5\n2023-09-01;800\n",
        "diary": "start;end;what\n2024-01-12;2024-01-20;away\n",
        "stove_log": "date;kwh\n2024-01-08;12,5\n2024-01-09;8\n",
        "years": "date;temp_c\n" + "".join(
            f"{date.fromordinal(day)};{5 + day % 7},0\n" for day in range(730_000, 730_000 + 11 * 365)
        ),
        "outlook": "issued_at;date;temp_c\n2024-01-10T18:00:00Z;2024-01-11;3,5\n",
    }  # fmt: skip
    for name, file in (("weather", FILES["--weather"]), ("deliveries", FILES["--deliveries"])):
        texts[name] = file.read_text().replace(",", ";").replace(".", ",")
    files = {name: tmp_path / f"{name}.csv" for name in texts}
    for name, text in texts.items():
        files[name].write_text(text)
    done = import_("--decimal", ",", database=own_database, tank=FILES["--tank"], **files)
    assert done.exit_code == 0, done.output
    for words in ("2 new bills", "1 entry of the diary", "2 days with fire", "4,015 days of the long record"):
        assert words in done.stdout
    assert "older than 24 hours: not used" in done.stderr
    engine = make_engine(own_database)
    store, as_of = Store(engine), datetime(2024, 1, 11, tzinfo=UTC)
    with store.read() as session:
        tank = load_tank(session, id_in(done.stdout))
        inputs = gather_inputs(session, tank, as_of=as_of, kept=None, settings=OrderSettings())
    engine.dispose()
    assert inputs.stove_log is not None
    assert inputs.stove_log.kwh.tolist() == [12.5, 8.0]
    assert inputs.years is not None
    assert inputs.receipts is not None
    assert inputs.receipts.litres.tolist() == [500.5, 800.0]
    assert [entry.what for entry in inputs.diary] == ["away"]


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (("--tank-id", "nobody"), "there is no such tank"),
        (("--tank-id", "../etc"), "there is no such tank"),
        ((), "--tank: give a tank file, or --tank-id"),
        (("--tank", "nowhere.toml"), "nowhere.toml: file: there is no such file"),
    ],
)
def test_import_without_a_tank_is_refused_in_words(
    own_database: str, arguments: tuple[str, ...], said: str
) -> None:
    """An import needs a tank file, or a tank that is there."""
    result = import_(*arguments, database=own_database, readings=FILES["--readings"])
    assert result.exit_code == 2
    assert said in result.stderr


@pytest.mark.parametrize(
    "address", ["nonsense", "sqlite://", "mysql://host/name", "postgresql://host:port/name"]
)
def test_database_that_does_not_open_is_refused_in_words(address: str) -> None:
    """An address at which there is no database of ours ends with code 2 and an example."""
    result = import_(database=address, **SMALL)
    assert result.exit_code == 2
    assert "--database: give an address that opens" in result.stderr


def test_file_that_is_no_database_is_refused_in_words(tmp_path: Path) -> None:
    """Some other file in the database's place is left as it is."""
    other = tmp_path / "letter.txt"
    other.write_text("Dear Sir or Madam, " * 100)
    result = import_(database=f"sqlite:///{other}", **SMALL)
    assert result.exit_code == 2
    assert "--database: give an address that opens" in result.stderr
    assert other.read_text() == "Dear Sir or Madam, " * 100


# ---- serve and demo


def test_setting_that_cannot_be_used_is_named(monkeypatch: pytest.MonkeyPatch) -> None:
    """A setting from the environment that cannot be used is named as it stands there."""
    monkeypatch.setenv("DIPCAST_PORT", "eighty")
    result = run("serve")
    assert result.exit_code == 2
    assert "DIPCAST_PORT:" in result.stderr


@pytest.mark.parametrize("command", ["serve", "demo"])
def test_place_that_is_taken_is_said_before_any_work(command: str) -> None:
    """Where another program listens already, another port is asked for, and nothing is begun."""
    with listen("127.0.0.1", 0) as taken:
        result = run(command, "--port", taken.getsockname()[1])
    assert result.exit_code == 2
    assert "give another --port or --host" in result.stderr
    assert result.stdout == ""


def test_host_that_is_none_of_this_machine_is_refused() -> None:
    """A name that this machine does not answer to cannot be listened on."""
    result = run("serve", "--host", "no such host.invalid", "--port", "0")
    assert result.exit_code == 2
    assert "--port: give another --port or --host" in result.stderr


def test_demo_tells_every_house_and_serves_its_pages(tmp_path: Path) -> None:
    """The demo works with nothing configured: answers in words, pages of this machine, nothing left behind."""
    environment = {**os.environ, "TMPDIR": str(tmp_path), "HOME": str(tmp_path), "PYTHONUNBUFFERED": "1"}
    program = "from api.cli import main; main()"
    demo = subprocess.Popen(
        [sys.executable, "-c", program, "demo", "--port", "0"],
        stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, cwd=ROOT, env=environment,
    )  # fmt: skip
    try:
        assert demo.stdout is not None
        told = ""
        while (line := demo.stdout.readline()) and "The pages are at" not in line:
            told += line
        address = re.search(r"http://127\.0\.0\.1:\d+/", line)
        assert address is not None, told
        with urllib.request.urlopen(address[0], timeout=30) as page:
            front = page.read().decode()
    finally:
        demo.terminate()
        _, errors = demo.communicate(timeout=30)
    for name in ("Weir Cottage", "The Old Forge", "Upper Byre", "Long Barn"):
        assert f"{name}\n{'-' * len(name)}\n" in told
        assert name in front
    assert "is an invented valley" in told
    assert told.count("Read the gauge") >= 4
    assert "so we give no date" in told
    assert demo.returncode == 0, errors
    assert "Traceback" not in errors
    assert list(tmp_path.glob("dipcast-demo-*")) == []
