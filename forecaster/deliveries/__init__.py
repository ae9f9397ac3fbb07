"""Deliveries: tickets and bills, and what the level says about them.

Flow     deliveries.csv, receipts.csv, levels -> **tickets, rises, ticket against rise, bills** -> burn model
Formula  rise = median of 3 levels after − median of 5 before + burn in between;
         a delivery without a ticket: rise > max(50 l, 6 σ);
         a ticket without the rise: rise < half of it, and short of it by more than 3 σ
Source   common practice, no source; windows from a trial on simulated homes
"""

from forecaster.deliveries.bills import PastBurn, ToldLevels, burned_by_bills, levels_by_tickets
from forecaster.deliveries.pours import pours_of
from forecaster.deliveries.rises import Rise, TicketCheck, check_tickets, find_rises, put_where_seen
from forecaster.deliveries.tickets import (
    Deliveries,
    Receipts,
    merge_receipts,
    parse_deliveries,
    parse_receipts,
)

__all__ = [
    "Deliveries",
    "PastBurn",
    "Receipts",
    "Rise",
    "TicketCheck",
    "ToldLevels",
    "burned_by_bills",
    "check_tickets",
    "find_rises",
    "levels_by_tickets",
    "merge_receipts",
    "parse_deliveries",
    "parse_receipts",
    "pours_of",
    "put_where_seen",
]
