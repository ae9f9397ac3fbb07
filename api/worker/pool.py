"""Many tanks at once: their forecasts in processes of their own, where there are enough of them to pay for it.

A process takes some seconds to start (it loads the compiled engine), a tank about a tenth of one: with
fewer than `WORTH` tanks one process is done sooner. Each process reads what it needs itself; only names
travel. They are spawned, never forked: a database connection does not outlive a fork.

Flow     tanks -> **processes** -> refit_tanks in each -> what was renewed
"""

from collections.abc import Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from datetime import datetime
from multiprocessing import get_context

from api.ports import Clock
from api.store import Store, make_engine
from api.store.tanks import StoredTank, load_tank
from api.usecases.refit_tanks import Renewed, refit_tanks

WORTH = 150
"""With fewer tanks one process is done sooner. [tanks]"""
AT_ONCE = 25
"""Tanks handed to a process at once. [tanks]"""


@dataclass(frozen=True, slots=True)
class FixedClock:
    """Stands at the instant at which the night's work began."""

    at: datetime

    def now(self) -> datetime:
        """Tell that instant."""
        return self.at


def refit_in_processes(
    store: Store, clock: Clock, tanks: Sequence[StoredTank], *, processes: int, worth: int = WORTH
) -> Renewed:
    """Renew the forecasts of some tanks, in several processes where that pays.

    Parameters
    ----------
    processes
        At most so many.
    worth
        With fewer tanks it is done here.
    """
    if processes < 2 or len(tanks) < worth:
        return refit_tanks(store, clock, tanks)
    url = store.engine.url.render_as_string(hide_password=False)
    names = [tank.public_id for tank in tanks]
    parts = [names[i : i + AT_ONCE] for i in range(0, len(names), AT_ONCE)]
    at = clock.now()
    with ProcessPoolExecutor(min(processes, len(parts)), mp_context=get_context("spawn")) as pool:
        done = list(pool.map(_renew_some, [url] * len(parts), parts, [at] * len(parts)))
    return Renewed(sum(part.done for part in done), tuple(one for part in done for one in part.failed))


def _renew_some(url: str, names: list[str], at: datetime) -> Renewed:
    engine = make_engine(url)
    try:
        store = Store(engine)
        with store.read() as session:
            tanks = [load_tank(session, name) for name in names]
        return refit_tanks(store, FixedClock(at), tanks)
    finally:
        engine.dispose()
