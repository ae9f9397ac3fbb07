"""Dip to litres and back, for a person with a dip stick and a tank file.

Flow     tank file, dip or ullage or litres -> **litres, litres a centimetre, dip**
"""

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from api.cli.values import read_option
from api.sources.files import parse_file
from forecaster.errors import InputError, Problem, TankError
from forecaster.phrases import litres_text
from forecaster.rows import parse_number
from forecaster.tanks import Tank, parse_tank
from forecaster.units import MM_PER_CM, MM_PER_INCH

TO_DIP: Mapping[str, float] = {"--dip-mm": 1.0, "--dip-cm": MM_PER_CM, "--dip-in": MM_PER_INCH}
"""Options that give a dip, and their unit. [mm]"""


@dataclass(frozen=True, slots=True)
class Converted:
    """A level of a tank: how deep, how many litres, how many a centimetre makes there. [mm, L, L/cm]"""

    dip_mm: float
    litres: float
    litres_per_cm: float
    tank: Tank

    @property
    def sentence(self) -> str:
        """The same for people, rounded to what the tank's shape is known to."""
        sd = self.tank.table_sd_fraction * self.litres
        usable = max(self.litres - self.tank.heel_l, 0.0)
        left = (
            f"{litres_text(usable, sd=sd)} of them above the heel"
            if usable
            else "all of it heel, so the boiler has stopped"
        )
        about = "about " if sd else ""
        return (
            f"A dip of {self.dip_mm:,.0f} mm is {about}{litres_text(self.litres, sd=sd)}, {left}; "
            f"a centimetre there is {self.litres_per_cm:.1f} litres."
        )


def convert_level(path: Path, given: Mapping[str, str | None]) -> Converted:
    """Work out the level of a tank from the one option that was given.

    Parameters
    ----------
    path : Path
        Tank file.
    given : mapping of str to str or None
        Option to what was typed: `TO_DIP`, ``--ullage-mm`` or ``--litres``.

    Raises
    ------
    InputError
        When not exactly one option was given, or the tank file cannot be used.
    OutOfRangeError
        When the level lies outside the tank.
    """
    values = {option: value for option, value in given.items() if value is not None}
    if len(values) != 1:
        raise InputError(Problem("one_level", "level", f"give one of {', '.join(given)}", ", ".join(values)))
    option, typed = next(iter(values.items()))
    value = read_option(option, typed, parse_number)
    tank = parse_file(path, parse_tank)
    dip_mm = _dip_mm(tank, option, value)
    # the litres first: they refuse a dip that is outside the tank
    litres = float(tank.shape.litres(np.asarray(dip_mm)))
    return Converted(dip_mm, litres, float(tank.shape.litres_per_cm(np.asarray(dip_mm))), tank)


def _dip_mm(tank: Tank, option: str, value: float) -> float:
    if option in TO_DIP:
        return value * TO_DIP[option]
    if option == "--litres":
        return float(tank.shape.dip_mm(np.asarray(value)))
    if tank.sensor_height_mm is None:
        mend = "add it to the tank file, or gauge_l and ullage_mm taken together, or give a dip"
        raise TankError(Problem("no_sensor_height", "sensor_height_mm", mend))
    return tank.sensor_height_mm - value
