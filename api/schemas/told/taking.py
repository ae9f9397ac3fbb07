"""Values that were told, to the use case that stores each kind.

Flow     values by member -> **use case** -> what was stored, in words
"""

from datetime import datetime
from typing import Any

from api.ports import Clock
from api.schemas.mapping.units import QUANTITIES
from api.schemas.told.amounts import parse_length
from api.store import Session
from api.store.tanks import StoredTank
from api.usecases.told import Stored, refuse
from api.usecases.told.household import record_change_told, record_days_told, record_fire_told
from api.usecases.told.levels import record_level_told
from api.usecases.told.sensor import record_sensor_moved
from api.usecases.told.tickets import record_bill_told, record_ticket_told
from forecaster.deliveries.tickets import LARGEST_DELIVERY_L
from forecaster.readings import Quantity


def take_dip(session: Session, clock: Clock, tank: StoredTank, told: dict[str, Any]) -> Stored:
    """Store a dip by stick."""
    try:
        value, step = parse_length(told["dip"], unit=told["unit"])
    except ValueError as bad:
        refuse("not_usable", "dip", str(bad))
    return record_level_told(
        session, clock, tank, quantity=Quantity.DIP_MM, value=value, step=step, at=told["at"],
        who=told["who"], field="dip",
    )  # fmt: skip


def take_gauge(session: Session, clock: Clock, tank: StoredTank, told: dict[str, Any]) -> Stored:
    """Store what the gauge shows."""
    value, step = told["fraction"]
    return record_level_told(
        session, clock, tank, quantity=Quantity.FRACTION, value=value, step=step, at=told["at"],
        who=told["who"], field="fraction",
    )  # fmt: skip


def _litres(told: dict[str, Any]) -> float:
    litres: float = round(told["litres"] * QUANTITIES["volume"][1][told["unit"]], 3)
    if litres > LARGEST_DELIVERY_L:
        refuse("not_usable", "litres", "no tanker carries so much: check number and unit")
    return litres


def take_delivery(session: Session, clock: Clock, tank: StoredTank, told: dict[str, Any]) -> Stored:
    """Store a ticket."""
    return record_ticket_told(
        session, clock, tank, at=told["at"], litres=_litres(told), filled=told["filled"], basis=told["basis"],
        ticket=told["ticket"], fits_anyway=told["fits_anyway"],
    )  # fmt: skip


def take_removal(session: Session, clock: Clock, tank: StoredTank, told: dict[str, Any]) -> Stored:
    """Store oil taken out."""
    return record_ticket_told(session, clock, tank, at=told["at"], litres=_litres(told), removed=True)


def take_bill(session: Session, clock: Clock, tank: StoredTank, told: dict[str, Any]) -> Stored:
    """Store a bill."""
    return record_bill_told(
        session, clock, tank, day=told["date"], litres=_litres(told), filled=told["filled"]
    )


def take_wood(session: Session, clock: Clock, tank: StoredTank, told: dict[str, Any]) -> Stored:
    """Store the wood of a day."""
    if (told["kg"] is None) == (told["kwh"] is None):
        refuse("one_of", "kg", "give kilograms of wood, or the heat it gave, one of the two")
    return record_fire_told(session, clock, tank, day=told["date"], kg=told["kg"], kwh=told["kwh"])


def take_days(session: Session, clock: Clock, tank: StoredTank, told: dict[str, Any]) -> Stored:
    """Store days that are not as usual."""
    if told["end"] < told["start"]:
        refuse("end_before_start", "end", "give a last day that is not before the first")
    return record_days_told(session, clock, tank, start=told["start"], end=told["end"], what=told["what"])


def take_change(session: Session, clock: Clock, tank: StoredTank, told: dict[str, Any]) -> Stored:
    """Store a change for good."""
    return record_change_told(session, clock, tank, day=told["date"], what=told["what"])


def take_move(session: Session, clock: Clock, tank: StoredTank, told: dict[str, Any]) -> Stored:
    """Store that the sensor was moved."""
    at: datetime = told["at"] or clock.now()
    return record_sensor_moved(session, clock, tank, at=at, sensor_height_mm=told["sensor_height_mm"])
