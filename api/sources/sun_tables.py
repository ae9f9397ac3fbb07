"""Tables of the sun on a plane, kept between runs in a folder that may be emptied at any time.

A table follows from its place and plane alone; making one loads a library that takes longer to load
than the whole forecast. Whatever goes wrong with the folder costs that time and nothing else.

Flow     forecaster.solar -> **files in the cache folder** -> forecaster.solar of the next run
"""

import os
import tempfile
import zipfile
from collections.abc import Iterator, MutableMapping
from contextlib import suppress
from importlib.metadata import version
from pathlib import Path

import numpy as np

from forecaster.solar import TABLE_SHAPE, TABLE_VERSION, Plane, PlaneTable, RecentTables

MOST_FILES = 200
"""More are not kept: 26 MB."""


class SunTables(MutableMapping[Plane, PlaneTable]):
    """Tables in memory, and behind them one file each in a folder.

    Parameters
    ----------
    folder : Path
        Made when the first table is kept. One that cannot be written is left alone.
    """

    def __init__(self, folder: Path) -> None:
        self._folder = folder / f"sun-{TABLE_VERSION}-{version('pvlib')}"
        self._memory = RecentTables()

    def __getitem__(self, plane: Plane) -> PlaneTable:
        """Find a table in memory, else in its file."""
        if plane not in self._memory:
            table = _read(self._file(plane))
            if table is None:
                raise KeyError(plane)
            self._memory[plane] = table
        return self._memory[plane]

    def __setitem__(self, plane: Plane, table: PlaneTable) -> None:
        """Keep a table in memory and, where the folder allows it, in a file."""
        self._memory[plane] = table
        with suppress(OSError):
            self._folder.mkdir(parents=True, exist_ok=True)
            if len(list(self._folder.iterdir())) < MOST_FILES:
                _write(self._file(plane), table)

    def __delitem__(self, plane: Plane) -> None:
        """Forget a table, its file included."""
        known = plane in self
        self._memory.pop(plane, None)
        with suppress(OSError):
            self._file(plane).unlink()
        if not known:
            raise KeyError(plane)

    def __iter__(self) -> Iterator[Plane]:
        """Name the tables in memory."""
        return iter(tuple(self._memory))

    def __len__(self) -> int:
        """Count the tables in memory."""
        return len(self._memory)

    def _file(self, plane: Plane) -> Path:
        latitude, longitude, *rest = plane
        return self._folder / f"{latitude:.1f}_{longitude:.1f}_{'_'.join(f'{v:g}' for v in rest)}.npz"


def _read(file: Path) -> PlaneTable | None:
    """Read a table; None where there is none, or none that can be used."""
    try:
        with file.open("rb") as stream, np.load(stream, allow_pickle=False) as kept:
            above, start, slope = (kept[name] for name in ("above", "start", "slope"))
    except (OSError, KeyError, ValueError, EOFError, zipfile.BadZipFile):
        return None
    whole = all(a.dtype == np.float64 and bool(np.isfinite(a).all()) for a in (above, start, slope))
    if whole and above.shape == TABLE_SHAPE[:1] and start.shape == slope.shape == TABLE_SHAPE:
        return PlaneTable(above, start, slope)
    return None


def _write(file: Path, table: PlaneTable) -> None:
    """Write a table under another name first: a reader sees a whole file or none."""
    handle, name = tempfile.mkstemp(dir=file.parent)
    try:
        with os.fdopen(handle, "wb") as out:
            np.savez(out, above=table.extraterrestrial_wh_m2, start=table.start, slope=table.slope)
        Path(name).replace(file)
    except OSError:
        Path(name).unlink(missing_ok=True)
        raise
