"""Speed of sound, quantisation, burner ceiling and swelling of oil against worked values."""

import numpy as np
import pytest

from forecaster.fuel import KEROSENE, to_bulk_litres
from forecaster.levels import speed_of_sound_m_per_s, to_levels
from forecaster.readings import Quantity, Readings
from forecaster.screening import burner_l_per_day, fall_limit_l
from forecaster.tanks import Tank
from forecaster.tanks.upright import UprightBox

BOX = UprightBox(1800.0, 1200.0, 1300.0)  # 2.16 m² of plan


def level_mm(ullage_mm: float, *, air_c: float, assumed_c: float) -> float:
    """Dip that a sensor's ullage gives in a tank with the sensor at 1,350 mm."""
    tank = Tank(
        BOX,
        KEROSENE,
        safe_fill_l=2600.0,
        heel_l=108.0,
        sensor_height_mm=1350.0,
        sensor_assumed_air_c=assumed_c,
    )
    at = np.array(["2024-01-10T06:00:00"], "datetime64[s]")
    one = Readings(
        at, np.array([Quantity.ULLAGE_MM.value]), np.array([ullage_mm]), np.array([air_c]), np.array([np.nan])
    )
    return float(to_levels(one, tank, flags=np.zeros(1, int)).dip_mm[0])


# c = 331.3 √(1 + T/273.15), dry air, the formula of public driver code of ultrasonic modules; the
# values are printed to 0.001 m/s, the tolerance is that of the linear forms also in use
@pytest.mark.parametrize(
    ("air_c", "speed"),
    [(-10.0, 325.179), (0.0, 331.300), (15.0, 340.275), (20.0, 343.215), (30.0, 349.019)],
)
def test_speed_of_sound_in_dry_air(air_c: float, speed: float) -> None:
    """The speed of sound agrees with the published formula at five temperatures."""
    assert float(speed_of_sound_m_per_s(air_c)) == pytest.approx(speed, abs=0.001)


# 331.45 + 0.607 T m/s, a linear form in trade use; it leaves the root form by up to 0.65 m/s
# (0.2 %, 2 mm of a metre) over this range
@pytest.mark.parametrize("air_c", [-10.0, 0.0, 10.0, 20.0, 30.0])
def test_speed_of_sound_beside_the_linear_form(air_c: float) -> None:
    """The root form stays within 0.2 % of the linear form from -10 to 30 C."""
    assert float(speed_of_sound_m_per_s(air_c)) == pytest.approx(331.45 + 0.607 * air_c, rel=2e-3)


# 2 d / c: 1 m and back in air of 20 C takes 5.8273 ms
def test_time_of_an_echo() -> None:
    """An echo from 1 m comes back after 5.827 ms."""
    assert 2.0 * 1000.0 / float(speed_of_sound_m_per_s(20.0)) == pytest.approx(5.8273, abs=0.002)


# ratio of c: a sensor assuming 20 C reads a true 1,000 mm in air of 10 C as 1,017.51 mm, in air of
# 30 C as 983.4 mm; printed to 0.01 and 0.1 mm
@pytest.mark.parametrize(("air_c", "as_read", "tolerance"), [(10.0, 1017.51, 0.006), (30.0, 983.4, 0.06)])
def test_ullage_read_in_other_air_than_assumed(air_c: float, as_read: float, tolerance: float) -> None:
    """The published wrong reading of a true metre is corrected to a metre."""
    assert level_mm(as_read, air_c=air_c, assumed_c=20.0) == pytest.approx(350.0, abs=tolerance)


# d(ln c)/dT = 1/(2T): 1.706 mm a metre and kelvin at 20 C
def test_sensitivity_of_the_level_to_the_air() -> None:
    """A kelvin of air moves a metre of ullage by 1.706 mm."""
    up = level_mm(1000.0, air_c=19.5, assumed_c=20.0) - level_mm(1000.0, air_c=20.5, assumed_c=20.0)
    assert up == pytest.approx(1.706, abs=0.001)


# step/√12 · plan: 10 mm on 2.16 m² have a standard deviation of 6.235 l; the level adds the 2 mm of
# a careful dip by hand (HMRC guidance HCOTEG152790) in quadrature
def test_litres_of_a_sensor_step() -> None:
    """The spread of a level is that of the sensor's step and of a hand dip."""
    tank = Tank(BOX, KEROSENE, safe_fill_l=2600.0, heel_l=108.0)
    at = np.array(["2024-01-10T06:00:00"], "datetime64[s]")
    nan = np.array([np.nan])
    dip = Readings(at, np.array([Quantity.DIP_MM.value]), np.array([600.0]), nan, nan)
    sd_l = float(to_levels(dip, tank, flags=np.zeros(1, int)).sd_l[0])
    assert np.sqrt(sd_l**2 - (2.0 * 2.16) ** 2) == pytest.approx(6.235, abs=0.01)


# input / gross calorific value: 30 kW at 10.294 kWh/l are 2.9143 l/h
def test_fastest_burner() -> None:
    """A burner of 30 kW cannot use more than 2.914 l of kerosene an hour."""
    assert burner_l_per_day(30.0, gross_kwh_per_l=10.294) / 24.0 == pytest.approx(2.9143, abs=0.001)


# max(30 l, burner · days · 1.25 + 3 σ): 4 h, 30 kW, σ = 6.235 l give 33.277 l (engineering rule)
def test_fall_that_burning_cannot_explain() -> None:
    """In four hours, more than 33.3 l is no burning."""
    burner = burner_l_per_day(30.0, gross_kwh_per_l=10.294)
    assert float(fall_limit_l(4.0 / 24.0, burner=burner, sd_l=6.235)) == pytest.approx(33.277, abs=0.01)


# Table 54B (ASTM D1250-80 / API MPMS 11.1:1980) as in eight public implementations, 800 kg/m³:
# 1,500 l at 15 C swell by 13.767 l from 5 to 15 C
def test_oil_swells_without_a_delivery() -> None:
    """Ten kelvin of warming look like 13.8 l of oil, less than the screens call a creeping rise."""
    warm, cold = to_bulk_litres(1500.0, np.array([15.0, 5.0]), 800.0)
    assert float(warm - cold) == pytest.approx(13.767, abs=0.02)
