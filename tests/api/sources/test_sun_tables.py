"""Tables of the sun kept between runs."""

from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest

from api.sources.sun_tables import MOST_FILES, SunTables
from forecaster.solar import PlaneTable, RecentTables, keep_tables_in, plane_irradiation_kwh_m2
from forecaster.solar.plane import MOST_TABLES, TABLE_SHAPE

JUNE = np.array(["2024-06-21"], dtype="datetime64[D]")
PLANE = (53.5, -2.0, 90, 180)


@pytest.fixture(autouse=True)
def back_in_memory() -> Iterator[None]:
    """Leave the tables in memory afterwards, as they are without a folder."""
    yield
    keep_tables_in(RecentTables())


def sun_kwh_m2() -> float:
    """A day's sun on the plane."""
    latitude, longitude, tilt_deg, azimuth_deg = PLANE
    return float(
        plane_irradiation_kwh_m2(
            JUNE, [5000.0], latitude=latitude, longitude=longitude, tilt_deg=tilt_deg, azimuth_deg=azimuth_deg
        )[0]
    )


def some_table() -> PlaneTable:
    """A table of the right shape."""
    return PlaneTable(np.ones(TABLE_SHAPE[0]), np.zeros(TABLE_SHAPE), np.zeros(TABLE_SHAPE))


def file_in(folder: Path) -> Path:
    """The one file that was kept."""
    (file,) = folder.rglob("*.npz")
    return file


def test_a_kept_table_gives_the_same_number_to_the_last_bit(tmp_path: Path) -> None:
    """A run that finds the table kept by another says exactly what that one said."""
    keep_tables_in(SunTables(tmp_path))
    made = sun_kwh_m2()
    assert file_in(tmp_path).name == "53.5_-2.0_90_180.npz"
    later = SunTables(tmp_path)
    keep_tables_in(later)
    assert sun_kwh_m2() == made
    assert list(later) == [PLANE]


@pytest.mark.parametrize("content", [b"", b"PK\x03\x04 cut off", b"not a table at all"])
def test_a_damaged_file_is_made_anew(tmp_path: Path, content: bytes) -> None:
    """A file that cannot be read costs time, never a number."""
    keep_tables_in(SunTables(tmp_path))
    made, whole = sun_kwh_m2(), file_in(tmp_path).read_bytes()
    file_in(tmp_path).write_bytes(content)
    keep_tables_in(SunTables(tmp_path))
    assert sun_kwh_m2() == made
    assert file_in(tmp_path).read_bytes() == whole


@pytest.mark.parametrize(
    "bad", [np.full(TABLE_SHAPE, np.nan), np.zeros((2, 2)), np.zeros(TABLE_SHAPE, np.float32)]
)
def test_a_file_of_other_numbers_is_not_taken(tmp_path: Path, bad: np.ndarray) -> None:
    """A table with gaps, of another shape or another kind of number is no table."""
    keep_tables_in(SunTables(tmp_path))
    made, file = sun_kwh_m2(), file_in(tmp_path)
    np.savez(file, above=np.ones(TABLE_SHAPE[0]), start=bad, slope=np.zeros(TABLE_SHAPE))
    keep_tables_in(SunTables(tmp_path))
    assert sun_kwh_m2() == made


def test_a_folder_that_cannot_be_written_changes_nothing(tmp_path: Path) -> None:
    """Where there is no place for files, tables are held in memory."""
    (tmp_path / "taken").write_text("a file, not a folder")
    tables = SunTables(tmp_path / "taken")
    tables[PLANE] = some_table()
    assert PLANE in tables
    assert (tmp_path / "taken").read_text() == "a file, not a folder"


def test_the_folder_does_not_grow_without_end(tmp_path: Path) -> None:
    """So many files are kept and no more."""
    tables = SunTables(tmp_path)
    table = some_table()
    for longitude in range(MOST_FILES + 3):
        tables[(50.0, longitude / 10, 90, 180)] = table
    assert len(list(tmp_path.rglob("*.npz"))) == MOST_FILES
    assert not list(tmp_path.rglob("tmp*"))


def test_memory_holds_the_latest_tables_only(tmp_path: Path) -> None:
    """A fleet in many places takes no more memory than its share, and an old table comes from its file."""
    tables = SunTables(tmp_path)
    table = some_table()
    planes = [(50.0, longitude / 10, 90, 180) for longitude in range(MOST_TABLES + 3)]
    for plane in planes:
        tables[plane] = table
    assert len(tables) == MOST_TABLES
    assert planes[0] not in list(tables)
    assert tables[planes[0]].extraterrestrial_wh_m2.shape == TABLE_SHAPE[:1]


def test_a_forgotten_table_is_gone_with_its_file(tmp_path: Path) -> None:
    """Deleting a table deletes its file; one that is not there is said not to be there."""
    tables = SunTables(tmp_path)
    tables[PLANE] = some_table()
    del tables[PLANE]
    assert not list(tmp_path.rglob("*.npz"))
    with pytest.raises(KeyError):
        del tables[PLANE]
    with pytest.raises(KeyError):
        tables[PLANE]
