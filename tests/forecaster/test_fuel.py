"""Heating oils and their expansion."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from forecaster import fuel
from forecaster.errors import OutOfRangeError

densities = st.floats(fuel.LOWEST_DENSITY, fuel.HIGHEST_DENSITY)
heating_oil = st.floats(750.0, 900.0)
temperatures = st.floats(-30.0, 50.0)


@given(density=heating_oil, oil_c=temperatures, litres=st.floats(0.0, 100_000.0))
def test_litres_survive_the_way_to_15_degrees_and_back(density: float, oil_c: float, litres: float) -> None:
    """Bulk to standard litres and back gives the same litres."""
    back = fuel.to_bulk_litres(fuel.to_litres_at_15c(litres, oil_c, density), oil_c, density)
    assert float(back) == pytest.approx(litres, rel=1e-12, abs=1e-12)


@given(density=heating_oil, oil_c=temperatures, warmer_by=st.floats(0.1, 30.0))
def test_warm_oil_takes_more_room(density: float, oil_c: float, warmer_by: float) -> None:
    """The warmer a litre, the less it is at 15 °C."""
    cool, warm = fuel.volume_correction_factor([oil_c, oil_c + warmer_by], density)
    assert warm < cool


@given(densities)
def test_nothing_changes_at_15_degrees(density: float) -> None:
    """At the reference temperature the factor is one, whatever the oil."""
    assert float(fuel.volume_correction_factor(15.0, density)) == 1.0


@pytest.mark.parametrize("edge", [770.5, 787.5, 839.0])
def test_expansion_hardly_jumps_at_a_class_edge(edge: float) -> None:
    """The class edges are where the neighbouring formulas agree, within 0.15 %."""
    below, above = fuel.expansion_per_k(edge - 1e-9), fuel.expansion_per_k(edge)
    assert above == pytest.approx(below, rel=1.5e-3)
    assert above != below


@pytest.mark.parametrize("wrong_edge", [778.0])
def test_the_other_published_edge_would_tear_the_expansion(wrong_edge: float) -> None:
    """The edge that some implementations use would make a jump of 8 %, which is why it is not ours."""
    kerosene_formula = 594.5418 / wrong_edge**2
    assert fuel.expansion_per_k(wrong_edge) / kerosene_formula == pytest.approx(1.084, abs=0.002)


@pytest.mark.parametrize("density", [652.9, 1075.1, 0.8, float("nan"), float("inf")])
def test_a_density_outside_the_table_is_refused(density: float) -> None:
    """A density the table does not cover raises with its limits, kilograms a litre included."""
    with pytest.raises(OutOfRangeError, match="653 to 1075"):
        fuel.expansion_per_k(density)


def test_an_unknown_oil_temperature_stays_unknown() -> None:
    """A missing temperature gives a missing factor, not 15 °C."""
    assert np.isnan(fuel.volume_correction_factor([np.nan, 15.0], 803.0)).tolist() == [True, False]


@given(density_15c=heating_oil, oil_c=temperatures)
def test_density_at_15_degrees_is_found_again(density_15c: float, oil_c: float) -> None:
    """A density carried to the oil's temperature leads back to itself."""
    observed = density_15c * float(fuel.volume_correction_factor(oil_c, density_15c))
    assert fuel.to_density_15c(observed, oil_c) == pytest.approx(density_15c, abs=0.1)


def test_another_density_scales_heat_and_carbon_by_mass() -> None:
    """A heavier litre carries more heat and more carbon, in proportion."""
    heavier = fuel.KEROSENE.at_density(803.0 * 1.02)
    assert heavier.gross_kwh_per_l == pytest.approx(10.294 * 1.02)
    assert heavier.co2_kg_per_l == pytest.approx(2.54016 * 1.02)
    assert fuel.Fuel("blend", 800.0, 10.2, None).at_density(810.0).co2_kg_per_l is None


def test_products_are_found_by_name() -> None:
    """The two products a tank file may name are there, and the mapping cannot be changed."""
    assert {name: oil.density_15c for name, oil in fuel.FUELS.items()} == {
        "kerosene": 803.0,
        "gas_oil": 854.0,
    }
    with pytest.raises(TypeError):
        fuel.FUELS["petrol"] = fuel.KEROSENE  # type: ignore[index]
