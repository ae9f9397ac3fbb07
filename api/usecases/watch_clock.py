"""Whether our own clock can be believed: after a jump nothing is decided, sent or made anew.

Flow     clock, last pulse -> **watch** -> worker
Rule     held while now < last - 5 min, and while now > last + 48 h until the clock has run steadily for
         24 hours by the machine's other clock, which nobody sets. Assumption.
"""

from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import datetime, timedelta

from api.ports import Clock
from api.store import Store
from api.store.claims import load_pulse, newest_stored, save_pulse

PULSE = "clock"
BACK = timedelta(minutes=5)
AHEAD = timedelta(hours=48)
STEADY = timedelta(hours=24)
EVERY = timedelta(minutes=1)
"""So often the pulse is kept."""
DRIFT = timedelta(minutes=5)
"""So far the two clocks may part and still be said to run together."""


@dataclass(slots=True)
class ClockWatch:
    """Keeps an eye on the clock; one for each process.

    Attributes
    ----------
    monotonic
        Seconds that only ever run on, such as `time.monotonic`. [s]
    """

    store: Store
    clock: Clock
    monotonic: Callable[[], float]
    _held: tuple[datetime, float] | None = field(default=None, init=False)

    def trouble(self) -> str | None:
        """Say what is wrong with the clock, in words; None where it can be believed."""
        now = self.clock.now()
        with self.store.read() as session:
            last = load_pulse(session, PULSE) or newest_stored(session)
        if last is None or last - BACK <= now <= last + AHEAD or self._has_run_steadily(now, last):
            self._held = None
            if last is None or abs(now - last) >= EVERY:
                with self.store.write() as session:
                    save_pulse(session, PULSE, now)
            return None
        way = "behind" if now < last else "ahead of"
        return (
            f"The clock of this machine says {now:%Y-%m-%d %H:%M} UTC and is far {way} what it said last, "
            f"{last:%Y-%m-%d %H:%M}. Until it is set right nothing is renewed and nobody is reminded."
        )

    def _has_run_steadily(self, now: datetime, last: datetime) -> bool:
        """Whether a clock that was ahead has kept its pace for so long that it is taken to be right."""
        if now < last:
            self._held = None
            return False
        elapsed = self.monotonic()
        if self._held is None or abs((now - self._held[0]).total_seconds() - (elapsed - self._held[1])) > (
            DRIFT.total_seconds()
        ):
            self._held = (now, elapsed)
        return elapsed - self._held[1] >= STEADY.total_seconds()
