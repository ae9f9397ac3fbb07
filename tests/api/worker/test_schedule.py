"""What is due when: every civil day once, whatever the clocks do."""

from collections import Counter
from collections.abc import Callable
from datetime import UTC, date, datetime, timedelta

from api.worker.schedule import AFTER_MIDNIGHT, night_slot

ZONES = ("Europe/London", "America/St_Johns", "Australia/Lord_Howe", "Pacific/Chatham", "Asia/Tokyo")
"""Half hours and quarters among them; Lord Howe's clocks change by half an hour."""


def check_once_a_day(slot_of: Callable[[str, datetime], str | None], *, step: timedelta) -> None:
    """Every civil day of three years has one slot, named anew at each question until the next day's."""
    start, end = datetime(2025, 1, 1, 12, tzinfo=UTC), datetime(2028, 1, 1, 12, tzinfo=UTC)
    for zone in ZONES:
        runs: Counter[str] = Counter()
        now, last = start, None
        while now < end:
            slot = slot_of(zone, now)
            if slot is not None and slot != last:
                runs[slot] += 1
                last = slot
            now += step
        days = {date(2025, 1, 1) + timedelta(days=i) for i in range((end - start).days + 1)}
        # the first and the last civil day are not seen whole
        edges = {date(2025, 1, 1), date(2028, 1, 1)}
        assert days - {date.fromisoformat(slot[:10]) for slot in runs} <= edges, zone
        assert set(runs.values()) == {1}, zone


def test_each_civil_day_has_one_night_P23() -> None:  # noqa: N802
    """P23: of three years in five zones every date comes exactly once, both clock changes included."""
    check_once_a_day(night_slot, step=timedelta(hours=1))


def test_a_day_of_23_hours_has_its_night_after_three_true_hours() -> None:
    """On the day on which clocks go forward the work is due three hours after midnight, at four by the clock."""
    midnight = datetime(2026, 3, 29, 0, tzinfo=UTC)
    assert night_slot("Europe/London", midnight + AFTER_MIDNIGHT - timedelta(seconds=1)) is None
    assert night_slot("Europe/London", midnight + AFTER_MIDNIGHT) == "2026-03-29 Europe/London"
