"""Who may sign in, share a tank, make keys, pair phones, export and erase."""

from api.access.policy.rows import Row

ROWS: tuple[Row, ...] = ()
