"""Tanks: the inside of a tank, dip to litres and back, and the file that describes one.

Flow     tank.toml -> **tank** -> screening, levels, forecast, advice

A tank file is TOML; lengths are inside, in millimetres, and litres are bulk litres, heel included.
A key that is not listed here is an error.

======================= ========================= ==================================================
key                     for shape                 meaning and default
======================= ========================= ==================================================
shape                   every (needed)            rectangular, vertical_cylinder, horizontal_cylinder,
                                                  vertical_oval, horizontal_oval, table, moulded
product                 every (needed)            kerosene or gas_oil; for a blend leave it out and
                                                  give the next two
density_15c             every                     density at 15 °C [kg/m³]; default by product
gross_kwh_per_l         every                     gross heat of a litre [kWh/l]; default by product
name                    every                     what people call the tank
length_mm               rectangular, ovals,       inside length; for a cylinder tangent to tangent
                        horizontal_cylinder
width_mm                rectangular, ovals        inside width
height_mm               rectangular, ovals,       inside height
                        vertical_cylinder,
                        moulded
diameter_mm             both cylinders            inside diameter
edges                   rectangular               which edges are rounded: vertical (default) or long
edge_radius_mm          rectangular               radius of those edges; default 0
ends                    horizontal_cylinder       flat (default), elliptical (2:1), torispherical,
                                                  hemispherical
dish_radius_fraction    horizontal_cylinder       torispherical: radius of the dish as a fraction of
                                                  the diameter; default 1
knuckle_radius_fraction horizontal_cylinder       torispherical: radius of the knuckle as a fraction
                                                  of the diameter; default 0.1
tilt_deg                every                     slope along the length [°]; default 0, and only
                                                  horizontal_cylinder may have another
dip_at_mm               every                     where dips are taken, from the low end, in the
                                                  tank's own frame; default 0
rows                    table                     strapping table: rows = [[dip_mm, litres], ...],
                                                  both rising, linear between rows, none beyond
table                   table                     the same under another name
capacity_l              every                     moulded (needed): nominal litres; others: litres on
                                                  the plate, checked against the dimensions (10 %)
table_sd_fraction       every                     relative standard deviation of the litres;
                                                  default 0.05 for moulded, else 0
count                   every but table           so many tanks of these dimensions are linked; default 1
linked                  every but table           instead: sections [[linked]], one for each other tank
sensor_height_mm        every                     face of the sensor above the inside bottom
gauge_l, ullage_mm      every                     instead of it: what a gauge and the sensor show at
                                                  one moment
dead_band_mm            every                     nearer than this the sensor sees nothing; default 0
resolution_mm           every                     step of its readings; default 10
sensor_assumed_air_c    every                     air temperature that it takes for granted [°C];
                                                  absent: it compensates itself
safe_fill_l             every                     the maker's greatest filling [l]; wins over the next
safe_fill_fraction      every                     the same as a fraction of the capacity; default 0.95
heel_l                  every                     what the draw-off cannot reach [l]; default the
                                                  litres at 50 mm of dip
location                every                     outdoors (default), shed, indoors, buried
timezone                every                     civil time zone of the tank, such as Europe/London
confirmed               every                     keys whose values stand although they do not agree with
                                                  the dimensions: some of capacity_l,
                                                  sensor_height_mm, gauge_l
======================= ========================= ==================================================

Linked tanks of one level are one store; the dip is the first one's, and safe fill, heel and gauge are the
store's. A section ``[[linked]]`` has the keys ``shape``, those of its shape, and ``bottom_above_mm``, its inside
bottom above the first one's (default 0). A reserve behind a valve is a tank of its own.
"""

from forecaster.tanks.cylinder import LyingCylinder
from forecaster.tanks.file import parse_tank
from forecaster.tanks.heads import Elliptical, Flat, Head, Torispherical
from forecaster.tanks.learnt import LearntTable, Pour, learn_table
from forecaster.tanks.linked import Linked
from forecaster.tanks.shape import Shape
from forecaster.tanks.strapping import StrappingTable
from forecaster.tanks.tank import Tank
from forecaster.tanks.upright import (
    LyingBox,
    Moulded,
    UprightBox,
    UprightCylinder,
    lying_oval,
    upright_oval,
)

__all__ = [
    "Elliptical",
    "Flat",
    "Head",
    "LearntTable",
    "Linked",
    "LyingBox",
    "LyingCylinder",
    "Moulded",
    "Pour",
    "Shape",
    "StrappingTable",
    "Tank",
    "Torispherical",
    "UprightBox",
    "UprightCylinder",
    "learn_table",
    "lying_oval",
    "parse_tank",
    "upright_oval",
]
