"""The catalogue of bad input is whole: each line is shown by tests that are there."""

import re
from functools import cache
from itertools import groupby

import pytest

from tests.api.catalogue import LINES
from tests.architecture.source import ROOT, claims_in, modules


@cache
def _tests() -> frozenset[str]:
    return frozenset(
        f"{module.path.relative_to(ROOT / 'tests').as_posix()}::{test.name}"
        for module in modules("tests")
        for test in claims_in(module)
    )


@pytest.mark.parametrize("code", LINES)
def test_each_line_is_shown(code: str) -> None:
    """The tests that a line of the catalogue names are there."""
    what, shown_by = LINES[code]
    assert what
    assert shown_by
    assert [name for name in shown_by if name not in _tests()] == []


def test_no_line_is_left_out() -> None:
    """The lines of each section are numbered without a gap."""
    for section, codes in groupby(LINES, key=lambda code: code[0]):
        numbers = [int(code[1:]) for code in codes]
        assert numbers == list(range(1, len(numbers) + 1)), section


def test_every_code_in_a_test_s_name_has_its_line() -> None:
    """A test that names a code at the end of its name names one of the catalogue."""
    named = {
        code.upper()
        for name in _tests()
        for code in re.findall(r"_([A-EG-I][0-9]{1,2})(?=_|$)", name.rpartition("::")[2])
        if name.startswith("api/")
    }
    assert len(named) >= 40
    assert named - set(LINES) == set()
