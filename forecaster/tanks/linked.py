"""Tanks linked below the level, which stand at one level and are one store.

Flow     tank file, shapes -> **one shape** -> tank
Formula  litres(h) = Σ litresᵢ(h − bᵢ), bᵢ the height of a tank's bottom above the first one's; litres a
         centimetre likewise
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any, cast

import numpy as np

from forecaster.tanks.build import SHAPE_KEYS, build_shape
from forecaster.tanks.keys import Keys
from forecaster.tanks.shape import Shape, Solid
from forecaster.units import Floats

MOST_TANKS = 8
"""More tanks are not linked below one level. [tanks]"""
MOST_APART_MM = 2000.0
"""Bottoms of linked tanks lie no further apart. [mm]"""
OWN_KEYS = ("shape", "capacity_l", "tilt_deg", "dip_at_mm", "bottom_above_mm")
"""Keys of a linked tank beside those of its shape."""


@dataclass(frozen=True, slots=True)
class Linked(Solid):
    """Tanks of one level; the dip is that of the first.

    Attributes
    ----------
    parts
        The tanks.
    bottoms_mm
        Bottom of each above that of the first, which is 0. [mm]

    Notes
    -----
    The level goes no higher than the lowest top. A tank whose bottom lies lower holds oil below a dip
    of 0: so the litres at dip 0 are more than none.

    Examples
    --------
    >>> from forecaster.tanks.upright import UprightBox
    >>> two = Linked((UprightBox(1000.0, 1000.0, 1200.0), UprightBox(1000.0, 500.0, 1300.0)), (0.0, 100.0))
    >>> two.height_mm, two.litres([50.0, 100.0, 600.0, 1200.0]), two.litres_per_cm(600.0)
    (1200.0, array([  50.,  100.,  850., 1750.]), array(15.))
    """

    parts: tuple[Solid, ...]
    bottoms_mm: tuple[float, ...]

    @property
    def height_mm(self) -> float:
        """The greatest dip: where the lowest top stands. [mm]"""
        return min(part.height_mm + bottom for part, bottom in zip(self.parts, self.bottoms_mm, strict=True))

    def volume_mm3(self, dip_mm: Floats) -> Floats:
        """Volume below a dip. [mm³]"""
        return self._sum("volume_mm3", dip_mm)

    def surface_mm2(self, dip_mm: Floats) -> Floats:
        """Area of all surfaces. [mm²]"""
        return self._sum("surface_mm2", dip_mm)

    def _sum(self, quantity: str, dip_mm: Floats) -> Floats:
        total = np.zeros(np.shape(dip_mm))
        for part, bottom in zip(self.parts, self.bottoms_mm, strict=True):
            own = np.asarray(dip_mm) - bottom
            inside = np.clip(own, 0.0, part.height_mm)
            # above a tank's bottom only; nan goes through
            total = total + np.where(own < 0.0, 0.0, getattr(part, quantity)(inside))
        return total


def read_linked(keys: Keys, shape: Shape | None, shape_name: str) -> Shape | None:
    """Link a file's tank with the others that it names: ``count`` like it, or ``[[linked]]`` of their own.

    Parameters
    ----------
    keys : Keys
        The file; problems are added to it.
    shape : Shape or None
        The first tank.
    shape_name : str
        A key of `SHAPE_KEYS`.

    Returns
    -------
    Shape or None
        The first tank as it is where no other is named.

    Examples
    --------
    >>> from forecaster.tanks.upright import UprightBox
    >>> store = read_linked(Keys({"count": 2}), UprightBox(1000.0, 1000.0, 1200.0), "rectangular")
    >>> store.capacity_l
    2400.0
    """
    if not keys.has("count") and not keys.has("linked"):
        return shape
    if keys.has("count") and keys.has("linked"):
        keys.report("twice", "count", "leave it out where linked gives the other tanks")
        return None
    if shape_name == "table":
        keys.report(
            "linked_table", "count" if keys.has("count") else "linked", "give one table of all tanks together"
        )
        return None
    others = _alike(keys, shape) if keys.has("count") else _named(keys)
    if shape is None or others is None:
        return None
    tanks = (cast(Solid, shape), *(tank for tank, _ in others))
    store = Linked(tanks, (0.0, *(bottom for _, bottom in others)))
    if store.height_mm <= max(0.0, *store.bottoms_mm):
        keys.report("linked_apart", "linked", "check bottom_above_mm: these tanks share no level")
        return None
    return store


_Others = list[tuple[Solid, float]]


def _alike(keys: Keys, shape: Shape | None) -> _Others | None:
    count = keys.values["count"]
    if isinstance(count, bool) or not isinstance(count, int) or not 1 <= count <= MOST_TANKS:
        keys.report("out_of_range", "count", f"give how many tanks alike are linked, 1 to {MOST_TANKS}")
        return None
    return None if shape is None else [(cast(Solid, shape), 0.0)] * (count - 1)


def _named(keys: Keys) -> _Others | None:
    tables = keys.values["linked"]
    if not isinstance(tables, list) or not all(isinstance(table, dict) for table in tables) or not tables:
        keys.report("not_a_section", "linked", "write each linked tank as a section of its own, [[linked]]")
        return None
    if len(tables) >= MOST_TANKS:
        keys.report("out_of_range", "linked", f"give at most {MOST_TANKS} tanks", seen=f"{len(tables) + 1}")
        return None
    found = [_read_one(keys, number, table) for number, table in enumerate(tables, start=1)]
    return None if any(tank is None for tank in found) else [tank for tank in found if tank is not None]


def _read_one(keys: Keys, number: int, table: Mapping[str, Any]) -> tuple[Solid, float] | None:
    """Read one linked tank; its problems name it."""
    own = Keys(table)
    options = [name for name in SHAPE_KEYS if name != "table"]
    name = own.choice("shape", options)
    if not own.has("shape"):
        own.report("missing", "shape", f"add this key: one of {', '.join(options)}")
    own.refuse_unknown([*OWN_KEYS, *(SHAPE_KEYS[name] if name else _all_keys())])
    bottom = own.number("bottom_above_mm", low=-MOST_APART_MM, high=MOST_APART_MM, default=0.0, unit="mm")
    shape = build_shape(own, name) if name else None
    place = f"linked tank {number}"
    keys.problems += [replace(p, field=f"{p.field} of {place}") for p in own.problems]
    return None if own.problems or shape is None else (cast(Solid, shape), bottom)


def _all_keys() -> Sequence[str]:
    return sorted({key for names in SHAPE_KEYS.values() for key in names})
