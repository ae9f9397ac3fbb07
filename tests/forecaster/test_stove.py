"""Wood, stoves and their log."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from forecaster.errors import SurveyError
from forecaster.stove import (
    DRY_WOOD_MJ_PER_KG,
    SPECIES_MJ_PER_KG,
    STOVE_EFFICIENCIES,
    evening_kwh,
    litres_displaced,
    parse_stove_log,
    wet_basis,
    wood_kg_per_h,
    wood_net_kwh_per_kg,
    wood_net_mj_per_kg_from_gross,
)


@given(st.floats(0.0, 0.8), st.floats(0.01, 0.19))
def test_wetter_wood_holds_less_heat(moisture: float, more: float) -> None:
    """Water in the wood only ever takes heat away."""
    dry, wet = wood_net_kwh_per_kg([moisture, moisture + more])
    assert wet < dry


@given(st.floats(0.0, 0.6))
def test_both_formulas_agree(moisture: float) -> None:
    """The short formula and the full one differ by less than 2 % of the dry wood's heat."""
    short = 3.6 * float(wood_net_kwh_per_kg(moisture, dry_mj_per_kg=18.677))
    full = float(wood_net_mj_per_kg_from_gross(moisture, gross_dry_mj_per_kg=20.0))
    assert short == pytest.approx(full, abs=0.02 * 18.677)


@pytest.mark.parametrize("moisture", [-0.1, 1.0, 20.0, np.nan])
def test_moisture_in_percent_is_refused(moisture: float) -> None:
    """Twenty is no moisture: it must be a part of the whole weight."""
    with pytest.raises(ValueError, match="part of the whole weight"):
        wood_net_kwh_per_kg(moisture)


@given(st.floats(0.0, 10.0))
def test_wet_basis_is_below_dry_basis(moisture_of_dry: float) -> None:
    """Water over the whole weight is never more than water over the dry wood, and below one."""
    assert float(wet_basis(moisture_of_dry)) <= moisture_of_dry
    assert float(wet_basis(moisture_of_dry)) < 1.0


def test_an_evening_in_wood_and_in_oil() -> None:
    """Four hours at 5 kW are 20 kWh, 7.7 kg of seasoned wood, and 2.3 litres of oil in an 84 % boiler."""
    heat = evening_kwh(rated_kw=5.0, hours=4.0)
    net = float(wood_net_kwh_per_kg(0.2))
    kg = 4.0 * wood_kg_per_h(5.0, efficiency=STOVE_EFFICIENCIES["closed"], net_kwh_per_kg=net)
    litres = float(litres_displaced(heat, boiler_efficiency=0.84, gross_kwh_per_l=10.294))
    assert (heat, round(kg, 1), round(litres, 1)) == (20.0, 7.7, 2.3)


def test_heat_that_replaces_none_spares_none() -> None:
    """Where the boiler would not have run, wood spares no oil."""
    assert float(litres_displaced(20.0, boiler_efficiency=0.8, gross_kwh_per_l=10.3, replaced=0.0)) == 0.0


# ---- the log


def test_log_in_kilograms() -> None:
    """Kilograms become heat by the wood's moisture and the stove's efficiency."""
    log, problems = parse_stove_log(
        "date,kg,moisture\n2024-01-01,10,0.2\n2024-01-02,10,\n2024-01-03,10,0.5\n"
    )
    assert not problems
    assert log.date.tolist() == np.arange("2024-01-01", "2024-01-04", dtype="datetime64[D]").tolist()
    assert log.kwh == pytest.approx([25.841, 25.841, 14.499], abs=1e-3)


def test_log_in_kilowatt_hours() -> None:
    """Heat that is given is taken as it is."""
    log, _ = parse_stove_log("date;kwh\n2024-01-05;12,5\n", decimal=",")
    assert log.kwh.tolist() == [12.5]


def test_two_fires_a_day_are_added() -> None:
    """Rows of one day add up, and days come out rising."""
    log, _ = parse_stove_log("date,kwh\n2024-01-05,3\n2024-01-02,4\n2024-01-05,3\n")
    assert log.kwh.tolist() == [4.0, 6.0]


@pytest.mark.parametrize(
    ("row", "field", "words"),
    [
        ("2024-02-30,5,", "date", "exists"),
        ("yesterday,5,", "date", "2024-01-10"),
        ("2024-01-02,,", "kg", "give a value"),
        ("2024-01-02,five,", "kg", "give a number"),
        ("2024-01-02,nan,", "kg", "give a number"),
        ("2024-01-02,-5,", "kg", "0 to 200"),
        ("2024-01-02,2000,", "kg", "0 to 200"),
        ("2024-01-02,5,20", "moisture", "0.2 for 20 %"),
        ("2024-01-02,5", "row", "3 cells"),
    ],
)
def test_bad_row_is_named_and_good_rows_kept(row: str, field: str, words: str) -> None:
    """Each bad row gives one problem with its line, and the others are kept."""
    log, (problem,) = parse_stove_log(f"date,kg,moisture\n2024-01-01,5,\n{row}\n2024-01-09,5,\n")
    assert (problem.row, problem.field) == (3, field)
    assert words in problem.mend
    assert log.date.size == 2


@pytest.mark.parametrize("text", ["", "date\n2024-01-01\n", "day,kg\n2024-01-01,5\n"])
def test_no_log_at_all_is_refused(text: str) -> None:
    """A file without the columns is refused, naming what to add."""
    with pytest.raises(SurveyError):
        parse_stove_log(text)


def test_log_without_rows_is_empty() -> None:
    """A header alone is a log of no fires."""
    log, problems = parse_stove_log("date,kg\n")
    assert log.date.size == 0
    assert log.date.dtype == np.dtype("datetime64[D]")
    assert not problems


@given(
    st.lists(
        st.tuples(st.sampled_from(["2024-01-01", "2024-01-02", "x", ""]), st.text("0123.,-e", max_size=5))
    )
)
def test_no_row_is_lost(rows: list[tuple[str, str]]) -> None:
    """Every row with anything in it is either heat or a problem."""
    lines = [f"{day}\t{kwh}" for day, kwh in rows]
    log, problems = parse_stove_log("date\tkwh\n" + "\n".join(lines))
    bad = {p.row for p in problems}
    given_rows = {n for n, line in enumerate(lines, start=2) if line.strip()}
    assert bad <= given_rows
    good_days = {rows[n - 2][0] for n in given_rows - bad}
    assert {str(d) for d in log.date} == good_days


def test_a_species_counts_by_its_own_heat() -> None:
    """Ten kilograms of pine give more than ten of oak, by their dry heat; without a species the usual wood counts."""
    log, problems = parse_stove_log(
        "date,kg,moisture,species\n2024-01-01,10,0.2,pine\n2024-01-02,10,0.2,Oak\n2024-01-03,10,0.2,\n"
    )
    assert problems == ()
    for kwh, dry in zip(
        log.kwh, (SPECIES_MJ_PER_KG["pine"], SPECIES_MJ_PER_KG["oak"], DRY_WOOD_MJ_PER_KG), strict=True
    ):
        assert kwh == pytest.approx(10 * (dry * 0.8 - 2.44 * 0.2) / 3.6 * STOVE_EFFICIENCIES["closed"])


def test_an_unknown_species_is_named() -> None:
    """A species that is not known sets its row aside and names those that are."""
    log, (problem,) = parse_stove_log("date,kg,species\n2024-01-01,10,teak\n2024-01-02,10,beech\n")
    assert (len(log.kwh), problem.row, problem.field) == (1, 2, "species")
    assert "spruce, pine, beech" in problem.mend


def test_species_lie_close_together() -> None:
    """A kilogram of dry wood holds nearly the same in every species: within 6 % of the usual figure."""
    assert all(abs(dry / DRY_WOOD_MJ_PER_KG - 1.0) < 0.06 for dry in SPECIES_MJ_PER_KG.values())
