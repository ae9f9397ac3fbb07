"""Plants the fault that the environment names, before any test is collected."""

import os

import pytest

from tests.sabotage.faults import FAULTS

VARIABLE = "DIPCAST_SABOTAGE"


def pytest_configure(config: pytest.Config) -> None:
    """Plant the fault."""
    FAULTS[os.environ[VARIABLE]].plant()


def pytest_report_header(config: pytest.Config) -> str:
    """Say on top of the run that it is sabotaged."""
    return f"sabotaged: {os.environ[VARIABLE]}"
