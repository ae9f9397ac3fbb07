"""Volume correction against Table 54B and against what the tax office allows.

Source   Table 54B of ASTM D1250-80 / API MPMS 11.1:1980 / IP 200, generalised products: the values below
         were worked out from the constants that eight public implementations agree on, in a program
         of its own. The tax office's figures: HMRC, Oils Technical Manual, HCOTEG152790.
"""

import pytest

from forecaster import fuel


@pytest.mark.parametrize(
    ("density_15c", "oil_c", "factor"),
    [
        (800.0, 5.0, 1.009263),
        (800.0, 25.0, 0.990685),
        (800.0, -5.0, 1.018472),
        (800.0, 15.0, 1.000000),
        (845.0, 5.0, 1.008351),
        (845.0, 25.0, 0.991607),
        (845.0, 0.0, 1.012510),
        (785.0, 10.0, 1.004925),
        (815.0, 30.0, 0.986521),
    ],
)
def test_factor(density_15c: float, oil_c: float, factor: float) -> None:
    """Every tabulated factor is met to its last digit (tolerance 1e-6, half of it rounding)."""
    assert float(fuel.volume_correction_factor(oil_c, density_15c)) == pytest.approx(factor, abs=1e-6)


@pytest.mark.parametrize(
    ("density_15c", "per_million_k"),
    [
        (800.0, 928.97),
        (845.0, 837.238),
        (787.499999, 958.89),
        (787.5, 958.70),
        (838.999999, 844.61),
        (839.0, 845.11),
    ],
)
def test_expansion(density_15c: float, per_million_k: float) -> None:
    """Expansion inside the classes and on both sides of their edges (tolerance: the digits given)."""
    assert fuel.expansion_per_k(density_15c) * 1e6 == pytest.approx(per_million_k, abs=0.01)


def test_standard_litres() -> None:
    """1500 l at 3 °C of oil of 800 kg/m³ are 1516.664 l at 15 °C (tolerance: the digits given)."""
    assert float(fuel.to_litres_at_15c(1500.0, 3.0, 800.0)) == pytest.approx(1516.664, abs=0.001)


def test_apparent_change_with_no_burn() -> None:
    """1500 standard litres seem to grow by 13.767 l from 5 to 15 °C (tolerance: the digits given)."""
    cold, mild = fuel.to_bulk_litres(1500.0, [5.0, 15.0], 800.0)
    assert mild - cold == pytest.approx(13.767, abs=0.001)


def test_density_at_15_degrees_from_an_observed_one() -> None:
    """805 kg/m³ at 5 °C are 797.567 kg/m³ at 15 °C (tolerance: the digits given)."""
    assert fuel.to_density_15c(805.0, 5.0) == pytest.approx(797.567, abs=0.001)


def test_tax_office_allowances() -> None:
    """The tax office allows 0.08 %/K for heavy and 0.11 %/K for light oil: gas oil meets the first.

    Tolerance half a unit of the last digit. Kerosene lies between the two, petrol being the light
    oil: its density of 740 kg/m³ is met within 0.02 %/K.
    """
    gas_oil, kerosene = (100 * fuel.expansion_per_k(f.density_15c) for f in (fuel.GAS_OIL, fuel.KEROSENE))
    assert gas_oil == pytest.approx(0.08, abs=0.005)
    assert 0.08 < kerosene < 0.11
    assert 100 * fuel.expansion_per_k(740.0) == pytest.approx(0.11, abs=0.02)
