"""Make the forecast of every tank anew, each by itself: one that fails stops no other.

Flow     tanks -> refresh_forecast, one transaction each -> **what was renewed, what was not**
"""

import logging
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass

from api.ports import Clock
from api.store import Store
from api.store.refits import save_refit_done, save_refit_failed
from api.store.tanks import StoredTank
from api.usecases.refresh_forecast import refresh_forecast

_log = logging.getLogger(__name__)

Refresh = Callable[[Store, Clock, str], object]
"""Makes one tank's forecast and keeps it."""


@dataclass(frozen=True, slots=True)
class Renewed:
    """How many tanks were renewed, and which were not: public id and the error's name."""

    done: int
    failed: tuple[tuple[str, str], ...]


def refit_tanks(
    store: Store, clock: Clock, tanks: Iterable[StoredTank], *, refresh: Refresh = refresh_forecast
) -> Renewed:
    """Renew the forecasts of some tanks; where one fails, the forecast before it stays.

    Parameters
    ----------
    refresh
        Makes one tank's forecast.
    """
    done, failed = 0, []
    for tank in tanks:
        error = _renew(store, clock, tank, refresh)
        now = clock.now()
        with store.write() as session:
            if error is None:
                save_refit_done(session, tank.id, now=now)
            else:
                save_refit_failed(session, tank.id, error, now=now)
        if error is None:
            done += 1
        else:
            failed.append((tank.public_id, error))
    return Renewed(done, tuple(failed))


def _renew(store: Store, clock: Clock, tank: StoredTank, refresh: Refresh) -> str | None:
    try:
        refresh(store, clock, tank.public_id)
    except Exception as bad:  # whatever it is, it is this tank's alone
        # no id and no text of the error: logs hold nothing about a home
        _log.warning("a tank's forecast could not be renewed: %s", type(bad).__name__)
        return type(bad).__name__
    return None


def zones_of(tanks: Sequence[StoredTank]) -> dict[str, list[StoredTank]]:
    """Sort tanks by the zone in which their civil days begin."""
    found: dict[str, list[StoredTank]] = {}
    for tank in tanks:
        found.setdefault(tank.zone, []).append(tank)
    return found
