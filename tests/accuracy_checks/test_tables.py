"""The tables: what is bold is the least, and no loss goes unnamed."""

import pytest

from tests.accuracy.command import COMMAND
from tests.accuracy.run import METHODS, RESULTS, RIVALS
from tests.accuracy.tables import (
    caption,
    command_losses,
    command_table,
    error_table,
    load,
    losses,
    paired_table,
    telling_table,
)


def results(errors):
    """Results of one building at 14 and 30 days."""
    scores = [
        {
            "building": "mill",
            "span": "all",
            "method": method,
            "horizon_days": horizon,
            "forecasts": 9,
            "error_pct": error,
        }
        for method, pair in errors.items()
        for horizon, error in zip((14, 30), pair, strict=True)
    ]
    return {
        "seed": 1,
        "date": "2026-01-01",
        "python": "3.13.1",
        "versions": {"numpy": "2.4.0"},
        "scores": scores,
    }


FOUND = results({"burn model": (9.04, 12.3), "least squares": (9.01, 11.0), "30-day average": (30.0, 44.0)})


def test_the_least_error_of_each_horizon_is_bold():
    """Equal as printed counts as equally good; the rest is plain."""
    table = error_table(FOUND, methods=("burn model", "least squares", "30-day average"))
    assert table.splitlines()[-1] == (
        "| mill, all (9) | 14 / 30 | **9.0** / 12.3 | **9.0** / **11.0** | 30.0 / 44.0 |"
    )


def test_a_method_without_a_score_is_shown_as_such():
    """A missing score is a dash, never a nought."""
    table = error_table(FOUND, methods=("burn model", "K-factor of a year"))
    assert table.splitlines()[-1].endswith("| – / – |")


def test_losses_name_the_rival_and_the_horizon():
    """Each horizon at which a rival is ahead is named, the widest first."""
    assert losses(FOUND) == [
        "mill, all, 30 days: 12.3 % against 11.0 % (least squares)",
        "mill, all, 14 days: 9.0 % against 9.0 % (least squares)",
    ]


def test_the_caption_says_what_made_the_results():
    """Date, interpreter, versions and seed stand beside the figures."""
    assert caption(FOUND) == "Run on 2026-01-01 with Python 3.13.1, numpy 2.4.0; seed 1."


def told(method, error, **more):
    """A row of the command's part, of one building at 14 days."""
    row = {"building": "mill", "span": "from day 28", "method": method, "horizon_days": 14, "forecasts": 9}
    return row | {"error_pct": error, "bias_pct": -2.4, "cover_80": None, "band_pct": None} | more


BY_COMMAND = {
    "command": [
        told(COMMAND, 15.0, cover_80=0.875, band_pct=61.4),
        told("least squares", 20.0),
        told("30-day average", 14.0),
    ],
    "telling": [
        {
            "building": "mill",
            "asked": 12,
            "states": {"OK": 8, "CHECK": 3, "WIDE": 1},
            "withheld_for": {"CHECK stuck": 3},
        }
    ],
}


def test_the_commands_table_shows_its_band_and_its_rivals():
    """Error, bias and band of what was told stand before the rivals' errors, the least of them bold."""
    table = command_table(BY_COMMAND, rivals=("least squares", "30-day average"))
    assert table.splitlines()[-1] == "| mill, from day 28 (9) | 14 | 15.0 | -2 | 88 | 61 | 20.0 | **14.0** |"


def test_the_commands_losses_are_named():
    """A rival with the same weather years that is nearer is named."""
    assert command_losses(BY_COMMAND) == [
        "mill, from day 28, 14 days: 15.0 % against 14.0 % (30-day average)"
    ]


def test_what_is_withheld_is_shown_with_its_reason():
    """Three of twelve questions withheld are a quarter, beside what for."""
    assert telling_table(BY_COMMAND).splitlines()[-1] == "| mill | 12 | 8 | 1 | 25 | CHECK stuck (3) |"


def test_a_pair_is_bold_only_beyond_two_standard_errors():
    """A difference of 1.2 with a standard error of 0.5 is bold, one of 0.9 is not."""
    pair = {"building": "mill", "span": "all", "rival": "K-factor of a year", "houses": 200}
    pairs = [
        pair | {"horizon_days": horizon, "difference_pct": difference, "difference_se_pct": 0.5}
        for horizon, difference in ((14, -1.2), (28, 0.9))
    ]
    table = paired_table({"pairs": pairs}, rivals=("K-factor of a year",))
    assert table.splitlines()[-1] == "| mill, all (200) | 14 / 28 | **-1.20 ± 0.50** / +0.90 ± 0.50 |"


@pytest.mark.parametrize("method", METHODS)
def test_the_kept_results_hold_every_method(method):
    """results.json has every method's error on every case, so that the tables are whole."""
    kept = load(RESULTS)["scores"]
    cases = {(s["building"], s["span"], s["horizon_days"]) for s in kept}
    mine = {(s["building"], s["span"], s["horizon_days"]) for s in kept if s["method"] == method}
    assert cases
    assert mine == cases


@pytest.mark.parametrize("table", [error_table, command_table, telling_table, paired_table])
def test_the_kept_results_give_whole_tables(table):
    """Every row of every table has as many cells as its head, and there are rows."""
    lines = table(load(RESULTS)).splitlines()
    assert len(lines) > 3
    assert len({line.count("|") for line in lines}) == 1


def test_the_kept_results_have_every_rival_beside_the_command():
    """No case of the command's part lacks a rival, so that no loss goes unseen."""
    rows = load(RESULTS)["command"]
    cases = {(r["building"], r["span"], r["horizon_days"]) for r in rows}
    for method in (COMMAND, *RIVALS):
        assert {(r["building"], r["span"], r["horizon_days"]) for r in rows if r["method"] == method} == cases
