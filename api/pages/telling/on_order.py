"""Oil that is on its way, in words for the answer's page.

Flow     open orders of a tank -> **sentences** -> template
"""

from collections.abc import Iterable
from datetime import date

from api.store.orders import OrderState, StoredOrder
from forecaster.phrases import day_text, litres_text


def tell_on_order(orders: Iterable[StoredOrder], *, today: date) -> tuple[str, ...]:
    """Say of each open order how much is to come, and when; nothing where none is open.

    Parameters
    ----------
    orders : iterable of StoredOrder
    today : date
        Civil day of the tank's zone.
    """
    return tuple(_sentence(order, today) for order in orders if order.state.is_open)


def _sentence(order: StoredOrder, today: date) -> str:
    much = f"about {litres_text(order.to_come_l)}" if order.to_come_l else "as much as fits"
    placed = f", ordered on {day_text(order.placed_on)}" if order.placed_on is not None else ""
    head = f"On order: {much}{placed}"
    due = order.promised_for
    if due is None:
        return f"{head}. No day is promised yet: ask the supplier for one. Do not order again."
    if order.state is OrderState.LATE or due < today:
        return (
            f"{head}, promised for {day_text(due)} and not noted as come. Ask the supplier where it is "
            "before you order again; note it if it came."
        )
    return f"{head}, promised for {day_text(due)}. Do not order again."
