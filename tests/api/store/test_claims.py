"""Claims: a slot belongs to one, whoever asks at the same time."""

from concurrent.futures import ThreadPoolExecutor
from datetime import timedelta

from api.store import Store
from api.store.claims import claim_slot, drop_old_claims, is_taken
from tests.api.conftest import NOW

LEASE = timedelta(minutes=5)


def test_four_claimers_share_slots_without_overlap(store: Store) -> None:
    """Of 40 slots asked for by four at once each is given once."""
    check_each_slot_once(store)


def check_each_slot_once(store: Store) -> None:
    """Ask from four threads and count."""

    def claim(owner: str) -> int:
        won = 0
        for slot in range(40):
            with store.write() as session:
                won += claim_slot(session, "night", str(slot), owner=owner, now=NOW, lease=LEASE)
        return won

    with ThreadPoolExecutor(4) as pool:
        assert sum(pool.map(claim, "abcd")) == 40


def test_a_run_that_keeps_failing_is_given_up(store: Store) -> None:
    """After five attempts a slot is not taken again."""
    won, now = [], NOW
    for _ in range(8):
        with store.write() as session:
            won.append(claim_slot(session, "night", "x", owner="a", now=now, lease=LEASE))
        now += 2 * LEASE
    assert won == [True] * 5 + [False] * 3
    with store.read() as session:
        assert is_taken(session, "night", "x", now=now)


def test_old_claims_go_by_number(store: Store) -> None:
    """The newest slots stay, whatever the clock says."""
    with store.write() as session:
        for slot in range(10, 20):
            claim_slot(session, "look", str(slot), owner="a", now=NOW, lease=LEASE)
        drop_old_claims(session, "look", keep=3)
    with store.read() as session:
        assert [s for s in range(10, 20) if is_taken(session, "look", str(s), now=NOW)] == [17, 18, 19]
