"""P27 in every way out: where no date may be told, none leaves by mail, webhook, calendar, flat answer."""

import json
from collections.abc import Iterator
from datetime import datetime, timedelta

from hypothesis import given
from hypothesis import strategies as st

from api.notify.calendar import RefillEvent, write_calendar
from api.notify.letter import Letter
from api.notify.mail import write_mail
from api.notify.webhook import payload_of
from api.reminders.decide import decide
from api.reminders.known import Known
from api.reminders.refills import follow_refill
from api.reminders.words import write_message
from api.store.tanks import StoredTank
from api.usecases.answers import flat_answer
from api.usecases.remind import Told, body_of
from forecaster.reorder import OrderSettings
from forecaster.states import State
from tests.api.reminders.days import says_when
from tests.api.reminders.made import NOW, TODAY, known, told, withheld

TANK = StoredTank(1, "t1", "Byre", "Europe/London", None, None, 0, ())
NUMBERS = ("litres", "litres_low", "litres_high", "order_from", "order_by", "order_litres")


def sent_by(what: Known) -> Iterator[tuple[str, str]]:
    """All that leaves, by way: mail as text and HTML, webhook; our own promise to write taken out."""
    for decision in decide(what):
        message = write_message(decision, what, name="Byre", page="http://localhost/tanks/t1")
        letter = Letter("m", "ann@example.org", body_of(decision, message, what, TANK, Told()), what.now)
        mail = write_mail(letter, sender="d@home.test")
        for part in mail.walk():
            if part.get_content_maintype() == "text":
                yield part.get_content_subtype(), part.get_content().replace(message.promise, "")
        yield "webhook", payload_of(letter).replace(message.promise, "")


@given(
    state=st.sampled_from([s for s in State if not s.is_told]),
    order_by=st.integers(-20, 60),
    age_h=st.integers(0, 200),
    is_told=st.booleans(),
)
def test_no_day_ahead_leaves_by_any_way_P27(state: State, order_by: int, age_h: int, is_told: bool) -> None:  # noqa: N802
    """P27: withheld, or told and not renewed since 36 hours: no date, no count of days, and no number."""
    at = NOW - timedelta(hours=37 + age_h if is_told else age_h)
    forecast = told(at, latest=order_by) if is_told else withheld(at, state=state, order_by=order_by)
    what = known(forecast, NOW, told_last=NOW - timedelta(days=9))
    for way, text in sent_by(what):
        said = text.replace(NOW.isoformat(), "")
        assert says_when(said, today=TODAY) == [], way
    flat = flat_answer(forecast, TANK, now=NOW, settings=OrderSettings())
    assert [flat[name] for name in NUMBERS] == [None] * 6
    assert says_when(flat["sentence"], today=TODAY) == []
    earlier = follow_refill(None, known(told(NOW - timedelta(days=1), latest=order_by)), ticket=None)
    refill = follow_refill(earlier, what, ticket=None)
    assert not refill.told
    event = RefillEvent("u", refill.sequence, NOW, TODAY, TODAY, refill.told, "No date.")
    assert b"STATUS:CANCELLED" in write_calendar([event], name="Byre")


def test_a_webhook_of_a_withheld_forecast_has_nulls() -> None:
    """The forecast in a webhook has null where numbers are withheld, never nought."""
    what = known(withheld(order_by=3))
    (_, text) = next(sent for sent in sent_by(what) if sent[0] == "webhook")
    data = json.loads(text)["data"]["forecast"]
    assert [data[name] for name in ("litres", "run_dry", "order", "appointment")] == [None] * 4


def test_a_told_forecast_is_told_by_every_way() -> None:
    """Where dates may be told, each way tells them: the ways are not merely silent."""
    what = known(told(latest=9))
    ways = {way for way, text in sent_by(what) if says_when(text, today=TODAY)}
    assert ways == {"plain", "html", "webhook"}
    assert flat_answer(what.forecast, TANK, now=NOW, settings=OrderSettings())["order_by"] == "2026-01-19"
    assert (
        datetime.fromisoformat(flat_answer(what.forecast, TANK, now=NOW, settings=OrderSettings())["as_of"])
        == NOW
    )
