"""Who may bring readings, tickets, files and weather in, by every other door."""

from api.access.policy.rows import Row

ROWS: tuple[Row, ...] = ()
