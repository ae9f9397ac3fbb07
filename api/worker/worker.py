"""The worker: asks the jobs what is due, claims it, does it; again and again until it is stopped.

Flow     clock -> guard -> jobs due -> claim -> **run** -> claim finished

Several workers may run against one database. Each run is claimed under its job and slot; whoever
inserts the claim runs it, and a claim whose owner died is taken over when its lease is over.
"""

import logging
import os
import secrets
import socket
import threading
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

from api.ports import Clock
from api.store import Session, Store, StoreUnavailableError
from api.store.claims import (
    begin_notice,
    claim_slot,
    drop_old_claims,
    end_notice,
    finish_slot,
    is_taken,
    list_notices,
)
from api.usecases.watch_clock import ClockWatch
from api.worker.jobs import Job

_log = logging.getLogger(__name__)

PERIOD_S = 20.0
"""So often the jobs are asked what is due. [s]"""
CLOCK = "clock"


def new_owner() -> str:
    """Name this worker among all that may run.

    Examples
    --------
    >>> new_owner() == new_owner()
    False
    """
    return f"{socket.gethostname()}/{os.getpid()}/{secrets.token_hex(4)}"


@dataclass(slots=True)
class Worker:
    """Runs jobs.

    Attributes
    ----------
    jobs
        In the order in which they are asked.
    send
        Sends the messages that wait; it claims each by itself. None: nothing is sent from here.
    tell
        Writes a message about the service to the person who runs it; None: it is logged only.
    watch
        Says whether the clock can be believed.
    """

    store: Store
    clock: Clock
    jobs: Sequence[Job]
    watch: ClockWatch
    send: Callable[[], object] | None = None
    tell: Callable[[Session, str], None] | None = None
    owner: str = field(default_factory=new_owner)

    def tick(self) -> list[tuple[str, str]]:
        """Do all that is due now; the runs that this worker did, by job and slot.

        Raises
        ------
        StoreUnavailableError
            When the database does not answer; the next tick tries again.
        """
        if self._is_held():
            return []
        done = [
            (job.name, slot)
            for job in self.jobs
            for slot in job.due(self.clock.now())
            if self._run(job, slot)
        ]
        if self.send is not None:
            self.send()
        return done

    def run(self, stop: threading.Event) -> None:
        """Tick until told to stop; whatever goes wrong is logged and tried again."""
        from apscheduler.schedulers.background import BackgroundScheduler

        scheduler = BackgroundScheduler(timezone="UTC")
        # one job, asked often; what is due is in the database, so a late or lost tick loses nothing
        scheduler.add_job(
            self._tick_safely, "interval", seconds=PERIOD_S, max_instances=1, coalesce=True,
            misfire_grace_time=None,
        )  # fmt: skip
        self._tick_safely()
        scheduler.start()
        try:
            stop.wait()
        finally:
            scheduler.shutdown(wait=True)

    def _tick_safely(self) -> None:
        try:
            self.tick()
        except StoreUnavailableError:
            _log.warning("the database does not answer; the worker tries again")
        except Exception:
            _log.exception("a tick of the worker failed")

    def _is_held(self) -> bool:
        trouble = self.watch.trouble()
        with self.store.read() as session:
            is_told = any(notice.cause == CLOCK for notice in list_notices(session))
        if is_told != (trouble is not None):
            with self.store.write() as session:
                if trouble is None:
                    end_notice(session, CLOCK, now=self.clock.now())
                elif begin_notice(session, CLOCK, trouble, now=self.clock.now()):
                    _log.error("%s", trouble)
                    if self.tell is not None:
                        self.tell(session, trouble)
        return trouble is not None

    def _run(self, job: Job, slot: str) -> bool:
        now = self.clock.now()
        with self.store.read() as session:
            if is_taken(session, job.name, slot, now=now):
                return False
        with self.store.write() as session:
            if not claim_slot(session, job.name, slot, owner=self.owner, now=now, lease=job.lease):
                return False
        cause = f"job {job.name}"
        try:
            job.run(slot)
        except Exception as bad:
            _log.exception("the job %s failed", job.name)
            words = f"The job {job.name} failed ({type(bad).__name__}); it is tried again."
            with self.store.write() as session:
                if begin_notice(session, cause, words, now=self.clock.now()) and self.tell is not None:
                    self.tell(session, words)
            return False
        with self.store.write() as session:
            finish_slot(session, job.name, slot, owner=self.owner, now=self.clock.now())
            end_notice(session, cause, now=self.clock.now())
            if job.kept is not None:
                drop_old_claims(session, job.name, keep=job.kept)
        return True
