"""The tables: what is bold is the least, and no loss goes unnamed."""

import pytest

from tests.accuracy.run import METHODS, RESULTS
from tests.accuracy.tables import caption, error_table, load, losses


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


@pytest.mark.parametrize("method", METHODS)
def test_the_kept_results_hold_every_method(method):
    """results.json has every method's error on every case, so that the tables are whole."""
    kept = load(RESULTS)["scores"]
    cases = {(s["building"], s["span"], s["horizon_days"]) for s in kept}
    mine = {(s["building"], s["span"], s["horizon_days"]) for s in kept if s["method"] == method}
    assert cases
    assert mine == cases
