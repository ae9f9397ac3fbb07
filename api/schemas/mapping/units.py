"""The closed list of units, and the forms of time, that a mapping may name.

Source   inch 25.4 mm, foot 304.8 mm, imperial gallon 4.54609 l, US gallon 3.785411784 l: exact by definition
"""

from collections.abc import Mapping
from types import MappingProxyType

from forecaster.readings import Quantity
from forecaster.units import ZERO_CELSIUS_K

_LENGTHS = MappingProxyType({"mm": 1.0, "cm": 10.0, "m": 1000.0, "in": 25.4, "ft": 304.8})

QUANTITIES: Mapping[str, tuple[Quantity, Mapping[str, float]]] = MappingProxyType(
    {
        "ullage": (Quantity.ULLAGE_MM, _LENGTHS),
        "dip": (Quantity.DIP_MM, _LENGTHS),
        "volume": (
            Quantity.LITRES,
            MappingProxyType({"l": 1.0, "m3": 1000.0, "imperial_gallon": 4.54609, "us_gallon": 3.785411784}),
        ),
        "fraction": (Quantity.FRACTION, MappingProxyType({"ratio": 1.0, "percent": 0.01})),
    }
)
"""What may be measured, and in each unit the factor to mm, litres or a fraction."""
TEMPERATURES: Mapping[str, tuple[float, float]] = MappingProxyType(
    {
        "celsius": (1.0, 0.0),
        "kelvin": (1.0, -ZERO_CELSIUS_K),
        "fahrenheit": (5.0 / 9.0, -160.0 / 9.0),
    }
)
"""Unit to factor and offset that make degrees Celsius."""
TIME_FORMS = ("rfc3339", "local", "epoch_s", "epoch_ms")
"""With an offset; without one, in the mapping's zone; seconds or milliseconds since 1970 UTC."""
