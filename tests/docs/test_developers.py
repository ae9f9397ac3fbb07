"""DEVELOPERS.md points to what is there: tests, contracts, targets, reasons."""

import ast
import re
from functools import cache

import pytest

from tests.docs.generated import ROOT, dependencies, pyproject
from tests.docs.reading import DEVELOPERS, code_in, rows, section

DECISIONS = re.split(r"^### ", section(DEVELOPERS, "## Decisions"), flags=re.MULTILINE)[1:]
NAMED_TESTS = sorted(set(re.findall(r"`(tests/[\w/]+\.py::\w+)`", DEVELOPERS)))
CONTRACTS = {contract["id"] for contract in pyproject()["tool"]["importlinter"]["contracts"]}
TARGETS = set(re.findall(r"^(\w+):", (ROOT / "Makefile").read_text(encoding="utf-8"), re.MULTILINE))
OWN_BUSINESS = {"help", "clean", "programs"}
"""Targets that a contributor need not know of."""


@cache
def names_in(path: str) -> set[str]:
    """Name the functions of a file, those in classes too."""
    tree = ast.parse((ROOT / path).read_text(encoding="utf-8"))
    return {node.name for node in ast.walk(tree) if isinstance(node, ast.FunctionDef)}


@pytest.mark.parametrize("named", NAMED_TESTS)
def test_the_tests_named_exist(named: str) -> None:
    """Each test that is said to enforce something is there."""
    path, _, name = named.partition("::")
    assert name in names_in(path)


@pytest.mark.parametrize("decision", DECISIONS, ids=lambda text: text.partition(".")[0])
def test_a_decision_is_whole(decision: str) -> None:
    """Each decision has its context, decision, consequence, alternative, and what enforces it."""
    parts = re.findall(r"\*(Context|Decision|Consequence|Alternative|Enforced by)\.?\*", decision)
    assert parts == ["Context", "Decision", "Consequence", "Alternative", "Enforced by"]
    assert "`" in decision.partition("*Enforced by*")[2]


def test_decisions_are_numbered_one_after_the_other() -> None:
    """No decision is taken away or put between."""
    assert [int(text.partition(".")[0]) for text in DECISIONS] == list(range(1, len(DECISIONS) + 1))


def test_contracts_named_as_enforcing_exist() -> None:
    """A contract that is said to enforce a decision is one of the project's."""
    named = re.findall(r"the contracts? ((?:`[\w-]+`(?:, )?)+)", section(DEVELOPERS, "## Decisions"))
    ids = {contract for words in named for contract in code_in(words)}
    assert ids
    assert ids <= CONTRACTS


def test_every_target_is_told() -> None:
    """Each target of the Makefile for people is told, and each that is told is there."""
    told = set(re.findall(r"`make (\w+)`|^make (\w+)", DEVELOPERS, re.MULTILINE))
    names = {name for pair in told for name in pair if name}
    assert names <= TARGETS
    assert TARGETS - OWN_BUSINESS - names <= {"demo"}


@pytest.mark.parametrize("group", ["", "test", "lint", "build"])
def test_every_dependency_has_its_reason(group: str) -> None:
    """Each package that is asked for stands in the list with a reason."""
    project = pyproject()
    asked = project["dependency-groups"][group] if group else project["project"]["dependencies"]
    told = {row[0].strip("`"): row[1] for row in rows(dependencies(group))}
    assert [re.match(r"[\w.-]+(\[\w+\])?", name)[0] for name in asked] == list(told)  # type: ignore[index]
    assert all(len(reason) > 3 for reason in told.values())
    assert next(iter(told.values())) != "for the one above"


@pytest.mark.parametrize(
    "path", sorted(set(re.findall(r"`((?:tests|forecaster|api|fixtures|deploy)/[\w/.]*)`", DEVELOPERS)))
)
def test_places_named_exist(path: str) -> None:
    """Each file or folder that is named, or promised by a pattern, is there."""
    assert (ROOT / path).exists()
