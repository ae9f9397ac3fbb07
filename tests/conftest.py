"""Tests that need a browser or a broker are left out, by name, where there is none; with CI=true they never are."""

import os
import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, settings

# a busy machine must not fail an example for being slow; speed is measured by benchmarks
settings.register_profile("everyday", deadline=None, suppress_health_check=[HealthCheck.too_slow])
settings.register_profile("long", parent=settings.get_profile("everyday"), max_examples=1_000)
settings.load_profile(os.environ.get("DIPCAST_EXAMPLES", "everyday"))

BROWSERS = ("chromium", "chromium-browser", "google-chrome")
NOT_RUN = pytest.StashKey[list[str]]()


@pytest.fixture(scope="session", autouse=True)
def cache_folder(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Path]:
    """Keep the tests, and the processes that they start, out of the user's own cache."""
    folder = tmp_path_factory.mktemp("cache")
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("XDG_CACHE_HOME", str(folder))
        yield folder


def find_browser() -> str | None:
    """The program that draws pages; None where there is none."""
    return next((path for path in map(shutil.which, BROWSERS) if path), None)


def find_broker() -> str | None:
    """The program that carries MQTT messages; None where there is none."""
    return shutil.which("mosquitto", path=f"{os.environ.get('PATH', '')}:/usr/sbin:/usr/local/sbin")


def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    """Take out the tests whose program is not there."""
    if os.environ.get("CI") == "true":
        return
    programs = {"browser": find_browser(), "broker": find_broker()}
    lacking = [mark for mark, program in programs.items() if program is None]
    left_out = [item for item in items if any(item.get_closest_marker(mark) for mark in lacking)]
    if not left_out:
        return
    items[:] = [item for item in items if item not in left_out]
    config.hook.pytest_deselected(items=left_out)
    config.stash[NOT_RUN] = [item.nodeid for item in left_out]


def pytest_sessionfinish(session: pytest.Session) -> None:
    """Hand the names from a worker to the process that reports."""
    output = getattr(session.config, "workeroutput", None)
    if output is not None:
        output["not_run"] = session.config.stash.get(NOT_RUN, [])


@pytest.hookimpl(optionalhook=True)
def pytest_testnodedown(node: Any, error: object) -> None:
    """Take the names from a worker."""
    names = getattr(node, "workeroutput", {}).get("not_run", [])
    if names:
        node.config.stash[NOT_RUN] = names


def pytest_terminal_summary(terminalreporter: Any, config: pytest.Config) -> None:
    """Name what was not run."""
    names = config.stash.get(NOT_RUN, [])
    if names:
        terminalreporter.section("not run: the program that they need is not there")
        for name in sorted(names):
            terminalreporter.line(name)
