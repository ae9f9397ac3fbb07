"""Files on this machine: bytes in, trouble named."""

import os
from pathlib import Path

import pytest

from api.sources.files import name_of, parse_file, read_file, show_path
from forecaster.errors import InputError, OutOfRangeError, TankError
from forecaster.tanks import parse_tank


def test_bytes_come_as_they_are(tmp_path: Path) -> None:
    """A file's bytes are handed on unchanged, whatever they are."""
    file = tmp_path / "any.csv"
    file.write_bytes(b"\xff\x00\r\n")
    assert read_file(file) == b"\xff\x00\r\n"


def test_largest_file_is_read_and_one_byte_more_is_not(tmp_path: Path) -> None:
    """The limit itself is still read; a byte more is refused, and no more than that is ever held."""
    file = tmp_path / "large.csv"
    file.write_bytes(b"x" * 2**20)
    assert len(read_file(file, most=2**20)) == 2**20
    file.write_bytes(b"x" * (2**20 + 1))
    with pytest.raises(InputError, match="split it: at most 1 MiB") as refused:
        read_file(file, most=2**20)
    assert refused.value.problems[0].code == "too_large"


@pytest.mark.parametrize(
    ("name", "code"),
    [
        ("absent.csv", "no_file"),
        ("present.csv/below.csv", "no_file"),
        ("folder", "is_folder"),
        ("nul\0.csv", "not_readable"),
        ("n" * 300, "not_readable"),
    ],
)
def test_path_that_is_no_file_is_refused_with_a_mend(tmp_path: Path, name: str, code: str) -> None:
    """A path that leads to no readable file is refused in words, never with an error of the system."""
    (tmp_path / "folder").mkdir()
    (tmp_path / "present.csv").write_text("at\n")
    with pytest.raises(InputError) as refused:
        read_file(tmp_path / name)
    assert refused.value.problems[0].code == code
    assert refused.value.problems[0].mend


def test_file_that_may_not_be_read_is_refused(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A file without leave to read it is refused with what to do."""
    file = tmp_path / "secret.csv"
    file.write_text("at\n")
    file.chmod(0)
    if os.access(file, os.R_OK):  # the administrator may read everything: let the system refuse by hand

        def refuse(*_: object, **__: object) -> None:
            raise PermissionError(13, "Permission denied")

        monkeypatch.setattr(Path, "open", refuse)
    with pytest.raises(InputError, match="may not be read") as refused:
        read_file(file)
    assert refused.value.problems[0].code == "no_permission"


def test_parser_trouble_carries_the_name_of_the_file(tmp_path: Path) -> None:
    """What the engine finds wrong with a file comes out with the file's name."""
    file = tmp_path / "my tank.toml"
    file.write_text('shape = "pyramid"\n')
    with pytest.raises(TankError) as refused:
        parse_file(file, parse_tank)
    assert name_of(refused.value) == str(file)


def test_trouble_without_a_file_has_no_name() -> None:
    """An error that concerns no file names none."""
    assert name_of(OutOfRangeError("dip", 2.0, low=0.0, high=1.0)) is None


def test_shown_path_cannot_steer_a_terminal() -> None:
    """Control characters of a file's name are replaced before it is shown."""
    shown = show_path(Path("a\x1b[31m\n.csv"))
    assert "\x1b" not in shown
    assert "\n" not in shown
