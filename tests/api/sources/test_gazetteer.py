"""Towns are found by name without a network, told apart where names are alike, and know their civil time."""

import pytest

from api.sources.gazetteer import find_town, find_towns, fold, nearest_town


def test_towns_of_one_name_have_words_that_differ() -> None:
    """Each Newport is told from the others by its region or by the larger town next to it."""
    words = [town.words for town in find_towns("newport")]
    assert len(set(words)) == len(words) >= 3
    assert "Newport, Wales, United Kingdom" in words


@pytest.mark.parametrize("typed", ["Münster", "munster", "  MÜNSTER "])
def test_accents_capitals_and_blanks_do_not_matter(typed: str) -> None:
    """A name is found however it is written; the largest of that name comes first."""
    assert find_towns(typed)[0].region == "Germany"


def test_a_beginning_finds_longer_names_only_where_no_town_bears_it() -> None:
    """What is no whole name finds those that begin so; an unknown name finds nothing."""
    assert {fold(town.name)[:7] for town in find_towns("Enniski")} == {"enniski"}
    assert {fold(town.name) for town in find_towns("Hexham")} == {"hexham"}
    assert find_towns("Xyzzyville") == find_towns("x") == ()


@pytest.mark.parametrize(
    ("typed", "among"),
    [
        ("St Ives", "Saint Ives, England, United Kingdom, 18 km from Saint Neots"),
        ("saint ives", "St Ives, England, United Kingdom, 19 km from Redruth"),
        ("St. Andrews", "Saint Andrews, Scotland, United Kingdom, 18 km from Dundee"),
        ("Londonderry", "Derry, Northern Ireland, United Kingdom"),
        ("München", "Munich, Germany"),
        ("Cologne", "Köln, Germany"),
        ("Newcastle", "Newcastle upon Tyne, England, United Kingdom"),
    ],
)
def test_a_town_is_found_by_any_of_its_names(typed: str, among: str) -> None:
    """Shortened, in another tongue, of old or with more behind it: a wrong town would bring wrong weather."""
    assert among in [town.words for town in find_towns(typed)]


def test_a_number_finds_the_same_town_again() -> None:
    """What was offered is found by its number; a number of nothing finds nothing."""
    (town,) = find_towns("Enniskillen")
    assert find_town(town.id) == town
    assert find_town(-1) is None


def test_a_place_takes_the_civil_time_of_the_town_next_to_it() -> None:
    """Hills on both sides of a border have each their own zone."""
    assert nearest_town(54.35, -7.60).timezone == "Europe/London"
    assert nearest_town(53.28, -9.05).timezone == "Europe/Dublin"
