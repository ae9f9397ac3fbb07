"""The kinds of things that are told: their members, and the use case that stores each.

Flow     values -> **use case** -> what was stored, in words
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Any

from api.ports import Clock
from api.schemas.told import members as m
from api.schemas.told import taking
from api.schemas.told.amounts import LENGTHS, parse_length, parse_part
from api.schemas.told.members import Asked, Member
from api.store import Session
from api.store.tanks import StoredTank
from api.usecases.told import Stored
from forecaster.deliveries.tickets import LARGEST_DELIVERY_L
from forecaster.diary import CHANGES, FACTORS

Store = Callable[[Session, Clock, StoredTank, dict[str, Any]], Stored]


@dataclass(frozen=True, slots=True)
class Kind:
    """One kind of thing that is told.

    Attributes
    ----------
    key
        Its name in addresses.
    title, says
        As people are asked; a sentence below it.
    members
        In the order asked.
    store
        The use case that takes the values.
    caution
        What must be said beside it; empty for nothing.
    """

    key: str
    title: str
    says: str
    members: tuple[Member, ...]
    store: Store
    caution: str = ""


_WHO = (("household", "One of the household"), ("carer", "A carer"), ("supplier", "The supplier"))
_UNITS = (("mm", "millimetres"), ("cm", "centimetres"), ("in", "inches"))
_VOLUMES = (("l", "litres"), ("imperial_gallon", "imperial gallons"), ("us_gallon", "US gallons"))
_FILLED = (("unknown", "I don’t know"), ("yes", "Yes"), ("no", "No"))
_BASES = (("unknown", "I don’t know"), ("observed", "As it ran"), ("15c", "Corrected to 15 °C"))
_STAYS = tuple((word, word.capitalize()) for word in FACTORS)
_CHANGES = tuple((word, word.capitalize()) for word in CHANGES)
_DIP_CAUTION = (
    "Dip only at a dip point that you reach from the ground. Don’t climb on, enter or lean into a tank; no "
    "smoking or sparks near vent or fill. No dip point: read the gauge instead."
)


def _choice(name: str, label: str, choices: tuple[tuple[str, str], ...], *, hint: str = "") -> Member:
    return Member(
        name,
        label,
        m.choice(choices),
        hint,
        box="choice",
        needed=False,
        default=choices[0][0],
        choices=choices,
    )


def _when(label: str, *, needed: bool) -> Member:
    hint = "Left empty, it means now." if not needed else ""
    return Member("at", label, m.a_time, hint, box="time", needed=needed)


_SAID = _choice("who", "Who read it", _WHO)
_LITRES = Member(
    "litres",
    "How much",
    m.number(0.1, LARGEST_DELIVERY_L, ""),
    "A number above 0.",
    box="number",
    json="number",
)
_VOLUME = _choice("unit", "In which unit", _VOLUMES)


def _dip_text(text: str, asked: Asked) -> str:
    parse_length(text, unit="mm")  # refused under its own member; the unit is read beside it
    return text


_ALL = (
    Kind(
        "dips",
        "A dip by stick",
        "How deep is the oil, by the wet end of the stick?",
        (
            Member(
                "dip",
                "Depth of the oil",
                _dip_text,
                "A decimal or a fraction: 640, 63.5 or 25 3/8.",
                json="either",
            ),
            _choice("unit", "In which unit", _UNITS),
            _SAID,
            _when("When", needed=False),
        ),
        taking.take_dip,
        _DIP_CAUTION,
    ),
    Kind(
        "gauges",
        "The gauge",
        "How full is the tank by its gauge?",
        (
            Member(
                "fraction",
                "Part of the tank",
                lambda text, asked: parse_part(text),
                "A fraction, a decimal up to 1 or percent: 3/8, 0.4 or 40 %.",
                json="either",
            ),
            _SAID,
            _when("When", needed=False),
        ),
        taking.take_gauge,
    ),
    Kind(
        "deliveries",
        "A delivery",
        "As the ticket has it. A ticket without an hour may stand at noon.",
        (
            _LITRES,
            _VOLUME,
            _when("When it was delivered", needed=True),
            _choice("filled", "Was the tank filled up?", _FILLED),
            _choice(
                "basis", "How the litres were metered", _BASES, hint="Some tickets say “corrected to 15 °C”."
            ),
            Member("ticket", "Number of the ticket", m.a_text, "If it has one.", needed=False),
            Member(
                "fits_anyway",
                "I have looked again: so much was delivered to this tank",
                m.a_tick,
                box="tick",
                json="truth",
                needed=False,
                default=False,
            ),
        ),
        taking.take_delivery,
        "The driver decides at the tank how much is safe, not this page.",
    ),
    Kind(
        "removals",
        "Oil taken out",
        "Oil that left the tank otherwise than through the burner.",
        (_LITRES, _VOLUME, _when("When", needed=True)),
        taking.take_removal,
    ),
    Kind(
        "bills",
        "A bill",
        "A day and an amount, where there is no ticket.",
        (
            Member("date", "Day", m.a_past_day, box="date"),
            _LITRES,
            _VOLUME,
            _choice("filled", "Was the tank filled up?", _FILLED),
        ),
        taking.take_bill,
    ),
    Kind(
        "wood",
        "Wood burned",
        "All fires of a day together.",
        (
            Member("date", "Day", m.a_past_day, box="date"),
            Member(
                "kg",
                "Wood",
                m.number(0.0, 200.0, "kg"),
                "Kilograms.",
                box="number",
                json="number",
                needed=False,
            ),
            Member(
                "kwh",
                "Or its heat",
                m.number(0.0, 500.0, "kWh"),
                "Kilowatt-hours to the room.",
                box="number",
                json="number",
                needed=False,
            ),
        ),
        taking.take_wood,
        "Have stove and chimney serviced each year, and keep working smoke and carbon monoxide alarms.",
    ),
    Kind(
        "diary",
        "Days that are not as usual",
        "Away, guests, and the like; past or ahead.",
        (
            Member("start", "First day", m.a_day, box="date"),
            Member("end", "Last day", m.a_day, box="date"),
            Member("what", "What", m.choice(_STAYS), box="choice", choices=_STAYS),
        ),
        taking.take_days,
        "This shows when the home is empty: only owners see it.",
    ),
    Kind(
        "changes",
        "A change for good",
        "From its day on the home burns otherwise.",
        (
            Member("date", "From", m.a_day, box="date"),
            Member("what", "What", m.choice(_CHANGES), box="choice", choices=_CHANGES),
        ),
        taking.take_change,
    ),
    Kind(
        "sensor-moves",
        "The sensor was moved",
        "The level on file stays; only what the sensor shows from then on is read by its new height.",
        (
            Member(
                "sensor_height_mm",
                "Face of the sensor above the inside bottom of the tank",
                m.number(100.0, 10_000.0, "mm"),
                "Millimetres.",
                box="number",
                json="number",
            ),
            _when("When it was moved", needed=False),
        ),
        taking.take_move,
        "On a steel tank have sensor work done by someone competent; don’t climb on the tank.",
    ),
)
KINDS: Mapping[str, Kind] = MappingProxyType({kind.key: kind for kind in _ALL})
"""By key."""
assert set(LENGTHS) == {unit for unit, _ in _UNITS}
