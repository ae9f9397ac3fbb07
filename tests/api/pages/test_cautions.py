"""Cautions stand where they matter: to print, beside the answer, and beside what is ordered or told."""

from fastapi.testclient import TestClient

from api.pages.render import render
from tests.api.pages.sights import words_of

SAID = (
    "Read the gauge, or dip the tank",
    "Do not run the tank dry",
    "do not keep pressing reset",
    "Never order more than the tank can safely take",
    "not a leak detector, not an overfill alarm and not a safety device",
    "Look at tank, pipes and bund every week",
    "Do not hose it away and do not use detergent",
    "Check beforehand that your insurance covers",
    "Never petrol or waste oil",
    "working carbon monoxide and smoke alarms",
    "Do not climb on a tank, enter it or lean into it",
    "What a bund must hold",
    "a calculation, not a design",
    "not for trade",
    "wait for the second reading",
    "gas oil can wax",
    "These figures show when a home is empty",
    "keep more oil, and a second way to keep warm",
    "Mail and messages are not sure to arrive",
    "Litres below the draw-off, and any water there, are not usable oil",
)
"""What the page to print must say."""


def test_the_page_to_print_has_every_caution() -> None:
    """Nothing that must be said is missing where it is read once and hung up."""
    words = words_of(bytes(render("cautions.html").body).decode())
    assert [said for said in SAID if said not in words] == []


def test_wherever_oil_is_ordered_or_measured_its_caution_stands_beside(
    client: TestClient, tank_id: str
) -> None:
    """The pages of orders, prices and dips each say what can hurt there."""
    for path, said in (
        ("orders", "Do not order more than the tank can safely take"),
        ("orders", "Mail is not sure to arrive"),
        ("ordering", "the driver decides at the tank"),
        ("tell/dips", "Don’t climb on, enter or lean into a tank"),
        ("why", "read the gauge before you order and before you rely on it"),
    ):
        assert said in words_of(client.get(f"/tanks/{tank_id}/{path}").text), path


def test_looking_again_is_asked_only_where_something_did_not_fit(client: TestClient, tank_id: str) -> None:
    """The box that says so is not there at first, and is once a delivery is more than the tank has room for."""
    path = f"/tanks/{tank_id}/tell/deliveries"
    assert "looked again" not in client.get(path).text

    client.post(f"/api/tanks/{tank_id}/readings", json={"at": "2026-01-10T06:00:00Z", "ullage_mm": 200})
    answer = client.post(path, data={"at": "2026-01-10T09:00", "litres": "1900", "unit": "l"})
    assert "looked again" in answer.text
