"""What people tell: levels read by hand, tickets, bills, oil taken out, wood, days away, changes, a moved sensor.

Each is stored once, with who said it where that matters, and gives a sentence of what was stored.

Flow     door -> **told** -> store; words

===========  =====================================================================
`stored`     what became of it, in words
`levels`     a dip by stick, a gauge: measurements of their own spread
`tickets`    tickets, oil taken out, bills
`household`  wood, diary, changes for good
`sensor`     a sensor that was moved
===========  =====================================================================
"""

from api.usecases.told.stored import Stored, refuse

__all__ = ["Stored", "refuse"]
