"""Homes without any sensor: tickets alone, with what is known of each, in wide bands that hold the truth."""

from dataclasses import replace

import numpy as np
import pytest

from forecaster.confidence import ToldForecast
from forecaster.deliveries import parse_deliveries, parse_receipts
from forecaster.pipeline import Inputs, place_normals
from forecaster.pipeline.behind import look_behind, past_litres
from forecaster.states import State
from tests.forecaster.homes import FROST, MILD, WARM, Home, codes, work

YEAR = FROST * 8 + MILD * 14 + WARM * 14 + MILD * 14
POURED = {40: 250.0, 100: 300.0, 170: 300.0, 290: 350.0}
HOME = Home(days=340, week_c=YEAR, poured=POURED)
TRUTH_L = float(HOME.litres()[-1])


def tickets_only(columns: str, *cells: str) -> Inputs:
    """The home without its sensor; ``cells`` hold what each of its four tickets says beside its litres."""
    date = np.datetime64(HOME.first) + np.array(list(POURED))
    rows = [
        f"{d}T11:00:00Z,{litres:g},{c}" for d, litres, c in zip(date, POURED.values(), cells, strict=True)
    ]
    deliveries, problems = parse_deliveries("\n".join([f"at,litres,{columns}", *rows]), tz="Europe/London")
    assert problems == ()
    return HOME.inputs(readings=None, deliveries=deliveries)


def dips() -> list[str]:
    """Dips before and after each delivery, to the centimetre; a millimetre is a litre."""
    true = HOME.litres() - 0.2 * (1.0 + np.maximum(15.0 - HOME.temp_c(), 0.0) / 2.0)
    return [f"{round(true[d], -1):g},{round(true[d] + litres, -1):g}" for d, litres in POURED.items()]


CASES = {
    "dips": ("dip_before_mm,dip_after_mm", dips(), 60.0),
    "last_dip": ("filled,dip_after_mm", ["unknown,", "no,", "no,", "no," + dips()[-1].split(",")[1]], 110.0),
    "unknown": ("filled", ["unknown", "no", "unknown", "unknown"], 400.0),
}


@pytest.mark.parametrize("case", CASES)
def test_tickets_alone_tell_widely_and_hold_the_truth(case: str) -> None:
    """Dips, one dip, or nothing but litres: the state is WIDE, and the 80 % band holds what is left."""
    columns, cells, widest = CASES[case]
    forecast = work(tickets_only(columns, *cells)).forecast
    assert isinstance(forecast, ToldForecast)
    assert forecast.state is State.WIDE
    assert "tickets_only" in [r.code for r in forecast.reasons]
    assert forecast.litres.p10 <= TRUTH_L <= forecast.litres.p90
    assert forecast.litres.p90 - forecast.litres.p10 < 2 * widest


def test_less_known_is_told_wider() -> None:
    """Tickets without any gauge leave a band several times as wide as those with dips."""
    width = {}
    for case, (columns, cells, _) in CASES.items():
        forecast = work(tickets_only(columns, *cells)).forecast
        assert isinstance(forecast, ToldForecast)
        width[case] = forecast.litres.p90 - forecast.litres.p10
    assert width["dips"] < width["last_dip"] < width["unknown"] / 3


def test_tickets_alone_teach_the_burn() -> None:
    """A year of dipped tickets teaches a house that the survey has wrong by half."""
    inputs = tickets_only("dip_before_mm,dip_after_mm", *dips())
    assert inputs.survey is not None
    wrong = replace(inputs, survey=replace(inputs.survey, heat_loss_w_per_k=273.0))
    posterior = work(wrong).posterior
    frost = 1.0 + np.maximum(15.0 - np.array(FROST), 0.0).mean() / 2.0
    theta = posterior.weight @ posterior.mean
    burn = theta[1] + theta[2] * (posterior.weight @ posterior.base_c - np.mean(FROST))
    assert burn == pytest.approx(frost, rel=0.2)


def test_bills_count_as_tickets_where_there_is_no_sensor() -> None:
    """Without a sensor a bill that says filled is as good as a ticket, and both together count once."""
    date = np.datetime64(HOME.first) + 290
    bill = parse_receipts(f"date,litres,filled\n{date},550,yes\n")[0]
    ticket = parse_deliveries(f"at,litres,filled\n{date},550,yes\n", tz="Europe/London")[0]
    told = [
        work(HOME.inputs(readings=None, deliveries=d, receipts=r)).forecast
        for d, r in ((None, bill), (ticket, None), (ticket, bill))
    ]
    assert isinstance(told[0], ToldForecast)
    assert len({f.litres for f in told if isinstance(f, ToldForecast)}) == 1
    assert len([f for f in told if isinstance(f, ToldForecast)]) == 3


def test_a_ticket_long_ago_is_stale() -> None:
    """A delivery of unknown fill a year and a half ago tells no date: the tank may be dry."""
    rows = "at,litres\n2022-08-01T11:00:00Z,900\n"
    inputs = HOME.inputs(readings=None, deliveries=parse_deliveries(rows, tz="Europe/London")[0])
    assert codes(inputs)[0] == "stale"


def test_past_tickets_are_one_measurement_before_the_first_reading() -> None:
    """Bills and tickets up to the first reading teach the burn, each once, from the first fill to that reading."""
    bills = parse_receipts("date,litres,filled\n2022-10-01,500,yes\n2023-03-01,800,no\n2023-10-20,700,no\n")[
        0
    ]
    own = parse_deliveries("at,litres,filled\n2023-03-01,800,no\n", tz="Europe/London")[0]
    inputs = Home(days=60, poured={30: 300.0}).inputs(receipts=bills, deliveries=own)
    normals = place_normals(inputs)
    behind = look_behind(inputs, normals, today=np.datetime64(inputs.as_of.date()))
    past = past_litres(inputs, behind, normals)
    assert past is not None
    assert past.litres == pytest.approx(800.0 + 700.0 + 1140.0 - 900.0, abs=10.0)
    assert past.drivers.date[0] == np.datetime64("2022-10-01")
