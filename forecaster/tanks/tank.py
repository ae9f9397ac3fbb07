"""A tank as it is used: its shape, its oil, its sensor, and the limits of filling and drawing.

Flow     tank.toml (file.py) -> **tank** -> screening, levels, forecast, advice
"""

from dataclasses import dataclass

from forecaster.fuel import Fuel
from forecaster.tanks.shape import Shape


@dataclass(frozen=True, slots=True)
class Tank:
    """A heating-oil tank.

    Attributes
    ----------
    shape
        The inside: dip to litres and back.
    fuel
        The oil in it.
    sensor_height_mm
        Face of the sensor above the inside bottom; None where not known, and then only dips, litres
        and fractions can be read, no ullages. [mm]
    dead_band_mm
        Nearer than this the sensor sees nothing; 0 for none. [mm]
    resolution_mm
        Step of the sensor's readings. [mm]
    sensor_assumed_air_c
        Air temperature for which the sensor works out its distance; None where it measures and
        compensates itself. [°C]
    safe_fill_l
        Bulk litres above which the tank is never filled. [l]
    heel_l
        Bulk litres that the draw-off cannot reach: the boiler stops here. [l]
    location
        "outdoors", "shed", "indoors" or "buried": decides the temperature of air and oil.
    timezone
        Name of the civil time zone, None where not given.
    table_sd_fraction
        Relative standard deviation of the shape's litres; 0 for exact dimensions. [-]
    dip_at_mm
        Where along the length dips are taken, from the low end. [mm]
    name
        What people call it, None where not given. Shown escaped.
    notes
        What its owner confirmed although it does not agree, in sentences: shown with every answer.

    Examples
    --------
    >>> from forecaster.fuel import KEROSENE
    >>> from forecaster.tanks.upright import UprightBox
    >>> tank = Tank(
    ...     UprightBox(1800.0, 1200.0, 1300.0), KEROSENE, safe_fill_l=2600.0, heel_l=108.0
    ... )
    >>> round(tank.capacity_l), round(tank.heel_mm), tank.usable_l
    (2808, 50, 2492.0)
    """

    shape: Shape
    fuel: Fuel
    safe_fill_l: float
    heel_l: float
    sensor_height_mm: float | None = None
    dead_band_mm: float = 0.0
    resolution_mm: float = 10.0
    sensor_assumed_air_c: float | None = None
    location: str = "outdoors"
    timezone: str | None = None
    table_sd_fraction: float = 0.0
    dip_at_mm: float = 0.0
    name: str | None = None
    notes: tuple[str, ...] = ()

    @property
    def capacity_l(self) -> float:
        """Litres of the tank filled to the last corner. [l]"""
        return self.shape.capacity_l

    @property
    def heel_mm(self) -> float:
        """Dip at which only the heel is left. [mm]"""
        return float(self.shape.dip_mm(self.heel_l))

    @property
    def usable_l(self) -> float:
        """Litres between heel and safe fill. [l]"""
        return self.safe_fill_l - self.heel_l
