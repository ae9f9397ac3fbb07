"""What stands in the repository as a whole: the top level, links, and no registry's name."""

import re
import subprocess
from functools import cache
from pathlib import Path

import pytest

from tests.docs.generated import ROOT
from tests.docs.reading import DOCUMENTS

TOP_LEVEL = {
    "README.md", "DEVELOPERS.md", "pyproject.toml", "forecaster", "api", "tests", "fixtures", "deploy", "Makefile",
    "LICENSE",
}  # fmt: skip
REGISTRIES = tuple(
    ".".join(parts)
    for parts in (
        ("pypi", "org"), ("pythonhosted", "org"), ("npmjs", "org"), ("npmjs", "com"), ("anaconda", "org"),
        ("conda", "io"), ("crates", "io"), ("jsdelivr", "net"), ("unpkg", "com"), ("yarnpkg", "com"),
    )
)  # fmt: skip
"""Hosts of package registries, put together here so that this file does not name one."""
LINK = re.compile(r"\]\((?!https?:|mailto:|#)([^)\s]+)\)")


@cache
def tracked() -> tuple[Path, ...]:
    """List the files that git keeps and that are there."""
    listed = subprocess.run(
        ["git", "ls-files", "-z"], cwd=ROOT, check=True, capture_output=True, text=True
    ).stdout.split("\0")
    return tuple(path for path in map(Path, listed) if path.name and (ROOT / path).is_file())


def test_the_top_level_is_as_agreed() -> None:
    """At the top stand the two documents, the packages, their surroundings and dot files; nothing else."""
    found = {path.parts[0] for path in tracked()}
    assert {name for name in found if not name.startswith(".")} == TOP_LEVEL


def test_no_registry_is_named() -> None:
    """No file names the host of a package registry, so that a clone installs from wherever it is told to."""
    named = re.compile("|".join(re.escape(host) for host in REGISTRIES).encode(), re.IGNORECASE)
    assert [str(path) for path in tracked() if named.search((ROOT / path).read_bytes())] == []


def test_lock_files_name_no_host_and_hash_everything() -> None:
    """Each requirement of a lock file is pinned and hashed, and no line names an address."""
    locks = [path for path in tracked() if path.parts[:2] == ("deploy", "locks")]
    assert locks
    for path in locks:
        text = (ROOT / path).read_text(encoding="utf-8")
        assert "://" not in text
        requirements = re.split(r"\n(?=[a-z0-9])", text.strip(), flags=re.IGNORECASE)
        assert all("==" in entry and "--hash=sha256:" in entry for entry in requirements), path


@pytest.mark.parametrize("name", DOCUMENTS)
def test_relative_links_lead_somewhere(name: str) -> None:
    """Each link of a document to a place in the repository leads to one."""
    links = LINK.findall(DOCUMENTS[name])
    assert links
    assert [link for link in links if not (ROOT / link.partition("#")[0]).exists()] == []


def test_every_fixture_tells_where_it_comes_from() -> None:
    """Each folder of fixtures says who made its files, and how."""
    folders = {path.parts[1] for path in tracked() if path.parts[0] == "fixtures"}
    assert folders
    assert [name for name in folders if not (ROOT / "fixtures" / name / "PROVENANCE.md").exists()] == []
