"""Who may place orders, set reminders, and read what goes out: calendars, hooks, messages."""

from api.access.policy.rows import Row

ROWS: tuple[Row, ...] = ()
