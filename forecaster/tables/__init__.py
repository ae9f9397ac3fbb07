"""Published facts as small text tables, each row with its source.

Flow     CSV beside this module -> **rows as text** -> the module that gives them meaning
"""

import csv
from functools import cache
from importlib import resources


@cache
def read_table(name: str) -> tuple[dict[str, str], ...]:
    """Read one packaged table, row by row, as text.

    Parameters
    ----------
    name
        The file's name without its ending.

    Raises
    ------
    FileNotFoundError
        If there is no such table.

    Examples
    --------
    >>> read_table("boilers")[0]["key"]
    'standard_pre_1985'
    """
    text = resources.files(__package__).joinpath(f"{name}.csv").read_text(encoding="utf-8")
    return tuple(csv.DictReader(text.splitlines()))
