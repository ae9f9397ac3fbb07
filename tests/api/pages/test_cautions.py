"""Cautions stand where they matter: the page to be read once and hung up has them all."""

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
