"""Degree-days against published worked examples, closed forms, and hours of real reference years."""

from pathlib import Path

import numpy as np
import pytest

from forecaster.degree_days import (
    integral_degree_days,
    mean_degree_days,
    min_max_degree_days,
    monthly_degree_days,
    sinusoid_degree_days,
)

MIN_MAX = [
    # highest, lowest, degree-days below 15.5 degC [K.day]
    (12.0, 4.0, 7.5),  # never above the base
    (20.0, 10.0, 1.625),  # mostly below
    (24.0, 12.0, 0.875),  # mostly above
    (22.0, 16.0, 0.0),  # never below
    (19.0, 12.0, 0.875),  # the two middle cases agree where the middle is the base
    (15.5, 8.0, 3.75),  # highest at the base
]


@pytest.mark.parametrize(("highest", "lowest", "expected"), MIN_MAX)
def test_min_max_equations(highest: float, lowest: float, expected: float) -> None:
    """The four cases give the values of the equations published by Met Eireann and the Met Office."""
    assert min_max_degree_days(lowest, highest, base_c=15.5) == pytest.approx(expected, abs=1e-9)


@pytest.mark.parametrize(
    ("mean_f", "expected"),
    [
        ((50.0 + 34.0) / 2.0, 23.0),  # a fuel supplier's article: 65 - 42 = 23
        (35.0, 30.0),  # a trade page
        (55.0, 10.0),  # 65 - 55
    ],
)
def test_mean_daily_in_fahrenheit(mean_f: float, expected: float) -> None:
    """North American degree-days below 65 F are as the trade prints them. [F.day]"""
    assert mean_degree_days(mean_f, base_c=65.0) == expected


def test_constant_temperature() -> None:
    """7.5 degC for 48 hours is 16 K.day below 15.5 degC (Carbon Trust, degree-days page)."""
    assert integral_degree_days(np.full(48, 7.5), base_c=15.5) == 16.0


def test_sine_day() -> None:
    """A sine of mean 15 and amplitude 5 has 1.84951 K.day exactly and 1.85328 over its 24 hours.

    Source: closed form ((b - m)(pi - arccos x) + A sqrt(1 - x^2)) / pi; sum over T_h = 15 + 5 sin(2 pi h/24).
    """
    hours = 15.0 + 5.0 * np.sin(2.0 * np.pi * np.arange(24) / 24.0)
    assert sinusoid_degree_days(15.0, 5.0, base_c=15.5) == pytest.approx(1.84951, abs=5e-6)
    assert integral_degree_days(hours, base_c=15.5) == pytest.approx(1.85328, abs=5e-6)


@pytest.mark.parametrize(
    ("mean_c", "days", "expected"),
    [(6.0, 31, 294.847), (11.7, 31, 126.305), (15.5, 30, 42.254), (17.0, 31, 24.463)],
)
def test_hitchin_months(mean_c: float, days: int, expected: float) -> None:
    """Hitchin's formula with k = 0.71 (formula and k from memory, attributed to CIBSE TM41). [K.day]"""
    assert monthly_degree_days(mean_c, days, base_c=15.5) == pytest.approx(expected, abs=1e-3)


MONTHS = np.array([31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31])


@pytest.mark.parametrize(
    ("means_c", "expected"),
    [
        ([4.3, 4.9, 6.5, 8.9, 11.7, 14.6, 16.6, 16.4, 14.1, 10.6, 7.1, 4.2], 2193.6),  # UK average
        ([4.8, 5.2, 6.4, 8.4, 10.9, 13.5, 15.0, 14.9, 13.1, 10.0, 7.2, 4.7], 2296.9),  # Northern Ireland
    ],
)
def test_hitchin_year(means_c: list[float], expected: float) -> None:
    """The years of SAP 2012 Table U1 by Hitchin's formula (hand calculation, 0.05 for its rounding)."""
    assert monthly_degree_days(means_c, MONTHS, base_c=15.5).sum() == pytest.approx(expected, abs=0.05)


def test_methods_on_real_hours() -> None:
    """On the hours of 15 German test reference years the daily methods keep near the hourly integral.

    Source: DWD test reference years 2010 as carried by demandlib (mean years 1988-2007). Base 15.5
    degC. Measured in the year: the sine of the day's mean and range 0 to +0.6 %; mean-daily -4.3 to
    -0.5 %; the min/max equations -1 to +1.4 %, and -5.3 % in the Alpine valley of region 15, whose
    days are far from a sine; Hitchin's formula, whose k is British, -3.5 to +1 %. Limits just beyond.
    """
    import demandlib

    folder = Path(demandlib.__file__).parent / "vdi" / "resources_weather"
    files = sorted(folder.glob("TRY2010_*_Jahr.dat"))
    assert len(files) == 15
    for file in files:
        hours = _temperature(file)
        exact = integral_degree_days(hours, base_c=15.5).sum()
        low, high = hours.min(axis=1), hours.max(axis=1)
        mean = hours.mean(axis=1)
        assert sinusoid_degree_days(mean, (high - low) / 2, base_c=15.5).sum() == pytest.approx(
            exact, rel=0.01
        )
        assert mean_degree_days(mean, base_c=15.5).sum() == pytest.approx(exact, rel=0.05)
        assert mean_degree_days(mean, base_c=15.5).sum() < exact
        assert min_max_degree_days(low, high, base_c=15.5).sum() == pytest.approx(exact, rel=0.06)
        month = np.repeat(np.arange(12), MONTHS)
        means = np.bincount(month, mean) / MONTHS
        assert monthly_degree_days(means, MONTHS, base_c=15.5).sum() == pytest.approx(exact, rel=0.04)


def _temperature(file: Path) -> np.ndarray:
    lines = file.read_text(encoding="utf-8").splitlines()
    first = next(i for i, line in enumerate(lines) if line.startswith("***")) + 1
    return np.array([float(line.split()[8]) for line in lines[first:] if line.strip()]).reshape(365, 24)
