"""The user's own folders, as each system's convention has them.

Flow     environment -> **folders** -> settings, tables kept between runs
"""

import os
import sys
from pathlib import Path


def data_folder() -> Path:
    """Find the folder for what must not be lost."""
    if sys.platform == "win32":
        base = _given("LOCALAPPDATA", "AppData", "Local")
    elif sys.platform == "darwin":
        base = Path.home() / "Library" / "Application Support"
    else:
        base = _given("XDG_DATA_HOME", ".local", "share")
    return base / "dipcast"


def cache_folder() -> Path:
    """Find the folder for what can be made anew at any time."""
    if sys.platform == "win32":
        return _given("LOCALAPPDATA", "AppData", "Local") / "dipcast" / "cache"
    if sys.platform == "darwin":
        return Path.home() / "Library" / "Caches" / "dipcast"
    return _given("XDG_CACHE_HOME", ".cache") / "dipcast"


def _given(name: str, *usual: str) -> Path:
    """Read a folder from the environment, else take the usual one below the user's home."""
    return Path(os.environ.get(name) or Path.home().joinpath(*usual))
