"""What a message would be stored as, in words and figures; nothing is.

Flow     message, Mapping -> **preview** -> answer
"""

from datetime import datetime
from typing import Any

from pydantic import BaseModel, Field

from api.schemas.mapping.apply import apply_mapping
from api.schemas.mapping.draft import Mapping
from api.schemas.mapping.pointer import write_pointer
from api.schemas.readings import FaultOut
from forecaster.readings import Quantity

MOST_PLACES = 50
"""So many places of a sample are listed."""
DEEPEST = 6
"""Places further down are not listed. [levels]"""
_WORDS = {
    Quantity.ULLAGE_MM: "{:,.0f} mm from the sensor down to the oil",
    Quantity.DIP_MM: "{:,.0f} mm of oil",
    Quantity.LITRES: "{:,.0f} litres",
    Quantity.FRACTION: "{:.0%} of the tank",
}


class WouldStore(BaseModel):
    """A reading that would be stored."""

    at: datetime
    quantity: str
    value: float
    air_c: float | None
    oil_c: float | None
    words: str = Field(description="the same for people")


class PlaceIn(BaseModel):
    """A place in the sample that holds a number or a text."""

    pointer: str = Field(description="RFC 6901")
    kind: str = Field(description="number or text")


class PreviewOut(BaseModel):
    """What a sample message would become; nothing was stored."""

    would_store: list[WouldStore]
    time_from: str = Field(description="message, or arrival where the message has no time")
    errors: list[FaultOut] = Field(description="what is wrong, at the member of the mapping that led there")
    places: list[PlaceIn] = Field(description="where the sample holds numbers and texts")


def preview_message(mapping: Mapping, message: Any, *, arrived: datetime) -> PreviewOut:
    """Show what a sample would be stored as, or what is wrong where.

    Examples
    --------
    >>> from datetime import UTC
    >>> from api.schemas.mapping import read_mapping
    >>> mapping = read_mapping({"level": "/d", "quantity": "ullage", "unit": "cm"})
    >>> shown = preview_message(mapping, {"d": 61.5}, arrived=datetime(2026, 1, 10, 12, tzinfo=UTC))
    >>> shown.would_store[0].words, shown.time_from
    ('615 mm from the sensor down to the oil', 'arrival')
    """
    applied = apply_mapping(mapping, message, arrived=arrived)
    within = "/mapping" if mapping.form == "json" else "/message"
    return PreviewOut(
        would_store=[
            WouldStore(
                at=m.at,
                quantity=str(m.quantity),
                value=m.value,
                air_c=m.air_c,
                oil_c=m.oil_c,
                words=_WORDS[m.quantity].format(m.value),
            )
            for m in (one.measurement for one in applied.sent)
            if m is not None
        ],
        time_from="message" if applied.has_time else "arrival",
        errors=[
            FaultOut(pointer=within + f.field, code=f.code, mend=f.mend)
            for one in applied.sent
            for f in one.faults
        ],
        places=_places(message),
    )


def _places(message: Any) -> list[PlaceIn]:
    found: list[PlaceIn] = []
    todo: list[tuple[tuple[str, ...], Any]] = [((), message)]
    while todo and len(found) < MOST_PLACES:
        tokens, value = todo.pop(0)
        if isinstance(value, dict | list) and len(tokens) < DEEPEST:
            members = value.items() if isinstance(value, dict) else enumerate(value[:MOST_PLACES])
            todo += [((*tokens, str(name)), member) for name, member in members]
        elif isinstance(value, str | int | float) and not isinstance(value, bool):
            kind = "text" if isinstance(value, str) else "number"
            found.append(PlaceIn(pointer=write_pointer(tokens), kind=kind))
    return found
