"""Every error of the engine and of the store has its answer; settings are read from the environment."""

import pytest

from api.folders import data_folder
from api.problems import STATUS_OF_ERROR, problem_of_error, problem_of_status, render_problem
from api.settings import Settings
from api.store import NotFoundError, StoreUnavailableError
from forecaster import errors
from forecaster.errors import DipcastError, Problem, TankError


def _leaves(kind: type[DipcastError]) -> list[type[DipcastError]]:
    below = kind.__subclasses__()
    return [leaf for child in below for leaf in _leaves(child)] or [kind]


def test_every_error_has_a_status() -> None:
    """No error of the engine's tree is without its own line in the table."""
    named = [kind for kind in _leaves(DipcastError) if kind.__module__ == errors.__name__]
    assert len(named) >= 7
    assert set(named) <= set(STATUS_OF_ERROR)


def test_a_pointer_names_only_known_members() -> None:
    """A key that was sent and is not known does not come back in the answer."""
    bad = TankError(
        [
            Problem("no_key", "<script>", "leave it out", "x"),
            Problem("out_of_range", "heel_l", "give litres"),
            Problem("out_of_range", "rated_kw in [stove]", "give kilowatts"),
        ]
    )
    known = frozenset({"heel_l", "stove", "rated_kw"})
    problem = problem_of_error(bad, within="/tank", known=known)
    assert [f.pointer for f in problem.faults] == ["/tank", "/tank/heel_l", "/tank/stove/rated_kw"]
    assert b"script" not in render_problem(problem).body


@pytest.mark.parametrize(
    ("error", "status"), [(NotFoundError(), 404), (StoreUnavailableError(), 503), (ValueError("x"), 500)]
)
def test_status_of_other_errors(error: Exception, status: int) -> None:
    """The store's errors have their status; anything else is a failure of ours and tells nothing."""
    assert problem_of_error(error).status == status
    assert b"x" not in render_problem(problem_of_error(ValueError("xyzzy"))).body.replace(b"text", b"")


def test_an_unheard_of_status_is_a_failure() -> None:
    """A status that HTTP does not know is answered as 500."""
    assert problem_of_status(599).status == 500


def test_settings_come_from_the_environment(monkeypatch: pytest.MonkeyPatch) -> None:
    """Each setting is an environment variable; without any, the service stays on this machine."""
    monkeypatch.delenv("DIPCAST_DATABASE", raising=False)
    assert Settings().host == "127.0.0.1"
    assert Settings().database == f"sqlite:///{data_folder() / 'dipcast.db'}"
    monkeypatch.setenv("DIPCAST_DATABASE", "postgresql://u@h/n")
    monkeypatch.setenv("DIPCAST_HOSTS", "Tank.example, localhost")
    assert Settings().database == "postgresql://u@h/n"
    assert Settings().hosts == ("tank.example", "localhost")
