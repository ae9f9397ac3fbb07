"""When to order and how much: the order window.

Flow     litres paths, chance of being dry -> **order window** -> wording
Rule     latest   = last day d with P(dry by the delivery of an order placed on d) <= risk, the mean over the
                    days that pass until somebody looks again
         earliest = first day d with P(room >= smallest delivery on the EARLIEST delivery day) >= 0.9
         litres   = safe fill - 90 % (fullest) level on the earliest delivery day, down to a 10 l step
Source   reorder point under uncertain demand and lead time, periodic review: the textbooks' rule
         (Silver, Pyke & Peterson, Inventory Management and Production Planning, from memory)

`settings`   how oil is ordered at a place
`lead`       lead times: a table of chances, and slower in cold spells
`spending`   quotes by quantity, drift, cost of a delivery and of holding, budget
`days`       working days: when an order comes
`risk`       the last day on which an order is safe
`choice`     quantity and day when prices are known
`window`     the advice
"""

from forecaster.reorder.choice import STEP_L
from forecaster.reorder.days import delivery_days, public_holidays
from forecaster.reorder.lead import ColdLead, LeadTable, Spells, parse_lead_table
from forecaster.reorder.settings import OrderSettings
from forecaster.reorder.spending import Quotes, Spending, economic_quantity_l, parse_quotes
from forecaster.reorder.window import FITS, advise_order, order_below_l, quantity_l

__all__ = [
    "FITS",
    "STEP_L",
    "ColdLead",
    "LeadTable",
    "OrderSettings",
    "Quotes",
    "Spells",
    "Spending",
    "advise_order",
    "delivery_days",
    "economic_quantity_l",
    "order_below_l",
    "parse_lead_table",
    "parse_quotes",
    "public_holidays",
    "quantity_l",
]
