"""Packaged tables: read whole, every row with its source."""

from importlib.resources import files

import pytest

from forecaster.tables import read_table

NAMES = sorted(
    f.name.removesuffix(".csv") for f in files("forecaster.tables").iterdir() if f.name.endswith(".csv")
)


@pytest.mark.parametrize("name", NAMES)
def test_every_row_carries_its_source(name: str) -> None:
    """No packaged figure stands without a source, and no row lacks or adds a cell."""
    rows = read_table(name)
    assert rows
    for row in rows:
        assert row["source"].strip()
        assert None not in row
        assert None not in row.values()


def test_the_places_carry_open_licences() -> None:
    """Every place's normals are free to carry on: the licence is named in its row."""
    free = ("CC BY 4.0", "OGL v3", "free with acknowledgement", "US public domain")
    assert all(row["licence"].startswith(free) for row in read_table("places"))


def test_an_unknown_table_is_an_error() -> None:
    """A slip in a table's name is found at once."""
    with pytest.raises(FileNotFoundError):
        read_table("no_such_table")
