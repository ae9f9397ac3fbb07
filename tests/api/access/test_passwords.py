"""Passwords: long rather than odd, none that are guessed first, whole, and hashed slowly."""

import statistics
import time

import pytest
from hypothesis import given
from hypothesis import strategies as st

from api.usecases.accounts.passwords import (
    LEAST_ALONE,
    check_password,
    hash_password,
    is_guessed_first,
    is_password,
    normalise_password,
)
from forecaster.errors import InputError

FIRST_TRIED = [
    "passwordpassword", "Password123456789", "123456789012345", "qwertyuiopasdfghjkl", "aaaaaaaaaaaaaaaa",
    "abcabcabcabcabcabc", "iloveyouiloveyou1", "P@ssw0rdP@ssw0rd!", "letmeinletmein2024", "qwertyuiop0987654",
    "heatingoil123456", "dipcast-dipcast-1", "987654321098765", "zyxwvutsrqponmlkji", "adminadminadmin1",
]  # fmt: skip
"""Long, and made of nothing but what lists of found-out passwords hold; written down from memory."""
GOOD = [
    "correct horse battery staple", "vier alte Esel im Regen", "the boiler sings at dawn", "🛢🛢🛢 kerosène älter 17",
    "Zq8#kLm2@vNp5!rT", "漢字かな交じりの長い合言葉です", "nobody expects my tortoise",
]  # fmt: skip


@pytest.mark.parametrize("typed", FIRST_TRIED)
def test_what_is_tried_first_is_refused(typed: str) -> None:
    """Common words, rows of keys, numbers and repetitions make no password, however long."""
    with pytest.raises(InputError, match="tried first"):
        check_password(typed, has_second_factor=False)


@pytest.mark.parametrize("typed", GOOD)
def test_any_characters_make_a_password(typed: str) -> None:
    """Blanks, signs, pictures and any script are taken, and no kind of character is asked for."""
    assert check_password(typed, has_second_factor=False) == normalise_password(typed)


def test_what_the_person_is_called_is_no_password() -> None:
    """The parts of one's own address count as common words."""
    context = ("annabel.dale@windmill.example",)
    assert is_guessed_first("annabeldale2024", context)
    assert not is_guessed_first("annabeldale2024")


@pytest.mark.parametrize(
    ("typed", "alone", "with_factor"),
    [
        ("x7 q", False, False),
        ("k9#mNv!w", False, True),
        ("k9#mNv!wq2&Lz5", False, True),
        ("k9#mNv!wq2&Lz57", True, True),
    ],
)
def test_fifteen_characters_alone_eight_with_a_second_factor(
    typed: str, alone: bool, with_factor: bool
) -> None:
    """The least length is fifteen where the password stands alone, and eight beside a second factor."""
    for has_factor, is_taken in ((False, alone), (True, with_factor)):
        if is_taken:
            assert check_password(typed, has_second_factor=has_factor)
        else:
            with pytest.raises(InputError, match="or more"):
                check_password(typed, has_second_factor=has_factor)


@pytest.mark.parametrize(
    ("typed", "what"),
    [(" " * 20, "or more"), ("é" * 10_000, "at most"), ("", "or more"), ("v9 " * 342, "at most")],
)
def test_blanks_and_what_is_endless_are_refused_I4(typed: str, what: str) -> None:  # noqa: N802
    """I4: only blanks are none, and more than 1,024 characters are refused before anything is hashed."""
    began = time.monotonic()
    with pytest.raises(InputError, match=what):
        check_password(typed, has_second_factor=False)
    assert time.monotonic() - began < 0.5


def test_every_character_counts() -> None:
    """Of two passwords of 100 characters that differ in the 90th only one signs in."""
    long = "tall trees in the far valley, " * 4
    kept, other = long[:89] + "x" + long[90:100], long[:89] + "y" + long[90:100]
    hashed = hash_password(check_password(kept, has_second_factor=False))
    assert is_password(kept, hashed)
    assert not is_password(other, hashed)


def test_one_password_however_its_letters_were_typed() -> None:
    """A letter with its accent, in one piece or in two, is the same password."""
    hashed = hash_password(check_password("caf\u00e9 by the old harbour", has_second_factor=False))
    assert is_password("cafe\u0301 by the old harbour", hashed)


def test_hashes_are_argon2id_with_a_salt_of_their_own() -> None:
    """The same password twice has two hashes, both of the recommended kind."""
    one, two = (hash_password("the same long phrase") for _ in range(2))
    assert one != two
    assert one.startswith("$argon2id$")


def test_an_unknown_account_takes_as_long_as_a_wrong_password() -> None:
    """The time that a refusal takes does not tell whether there is such an account: medians within a third."""
    hashed = hash_password("the one that is kept")
    is_password("warm up", None)

    def took(kept: str | None) -> float:
        began = time.process_time()
        assert not is_password("a wrong long phrase", kept)
        return time.process_time() - began

    pairs = [(took(None), took(hashed)) for _ in range(3)]
    unknown, wrong = (statistics.median(column) for column in zip(*pairs, strict=True))
    assert unknown == pytest.approx(wrong, rel=0.33)


@given(st.text(min_size=LEAST_ALONE, max_size=60))
def test_whatever_is_typed_is_taken_or_refused_with_a_mend(typed: str) -> None:
    """No text makes the check fail, and what it takes is long enough."""
    fields = set()
    try:
        taken = check_password(typed, has_second_factor=False, context=("ann@example.org",))
        fields = {"password"} if len(taken) >= LEAST_ALONE else set()
    except InputError as bad:
        fields = {problem.field for problem in bad.problems}
    assert fields == {"password"}
