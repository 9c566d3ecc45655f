"""Check characters: ISO 7064 MOD 37,36."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from apps.calc.errors import NumberingError
from apps.calc.numbering import check_char, is_valid

from .support import refusal, steady

ALPHABET = "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ"


def hybrid_check(text):
    """ISO/IEC 7064 hybrid system MOD 37,36 as the standard writes it (from memory), apart from any library."""
    p = 36
    for c in text:
        p = (p + ALPHABET.index(c)) % 36 or 36
        p = p * 2 % 37
    return ALPHABET[(37 - p) % 36]


# The Global Release Identifier example of ISO 7064 MOD 37,36, as the documentation of python-stdnum prints it.
def test_the_published_release_identifier():
    assert check_char("A12425GABC1234002") == "M"
    assert is_valid("A12425GABC1234002M")
    assert is_valid("A1-2425G-ABC1234002-M")


def test_the_job_number_of_the_house():
    assert check_char("2600147") == "N"
    assert check_char("26-00147") == "N"
    for code in ("26-00147N", "2600147N", "26-00147n", " 26 00147 N "):
        assert is_valid(code)
    assert not is_valid("26-00148N")


def test_a_label_carries_a_second_character_over_the_whole():
    whole = "26-00147N-A1" + check_char("26-00147N-A1")
    assert is_valid(whole)
    assert not is_valid(whole.replace("A1", "A2"))


NO_CODES = ["", "   ", "--", "26/00147", "26_00147", "26-00147\n", "7" * 101, None, 26, b"26"]
LETTERS_OF_OTHER_ALPHABETS = ["\u0662\u0666", "\u00dc1", "\u017f1", "\u01311"]  # the last two fold to S and I


@pytest.mark.parametrize("text", NO_CODES + LETTERS_OF_OTHER_ALPHABETS)
def test_what_is_no_code_gets_no_check_character(text):
    assert isinstance(refusal(check_char, text), NumberingError)
    assert is_valid(text) is False


@pytest.mark.parametrize("code", ["1", "N", "-"])
def test_a_check_character_alone_checks_nothing(code):
    assert is_valid(code) is False


bodies = st.text(alphabet=ALPHABET, min_size=1, max_size=16)


@given(bodies)
@steady
def test_it_agrees_with_the_standard_worked_by_hand(body):
    assert check_char(body) == hybrid_check(body)
    assert is_valid(body.lower() + " - " + hybrid_check(body))


@given(bodies)
@steady
def test_every_change_of_one_character_is_caught(body):
    code = body + check_char(body)
    for place, right in enumerate(code):
        for wrong in ALPHABET:
            assert is_valid(code[:place] + wrong + code[place + 1 :]) is (wrong == right)


def test_every_wrong_character_is_caught_whatever_stands_before_it():
    # What stands before a character comes to one of 36 states, and one character in front reaches each of them. In
    # every state the 36 characters must lead to 36 different ones: 36 x 630 pairs that are never confused.
    for before in ALPHABET:
        assert len({check_char(before + c) for c in ALPHABET}) == 36
        assert len({check_char(before + c + "147A1") for c in ALPHABET}) == 36


def swapped(code, place):
    return code[:place] + code[place + 1] + code[place] + code[place + 2 :]


def test_the_swaps_that_no_check_character_catches():
    # In each of the 36 states one pair of the 630: two characters next to each other in the alphabet.
    missed = []
    for before in ALPHABET:
        for n, one in enumerate(ALPHABET):
            for other in ALPHABET[n + 1 :]:
                if check_char(before + one + other) == check_char(before + other + one):
                    missed.append((before, one, other))
    assert len(missed) == 36
    assert len({before for before, _, _ in missed}) == 36
    assert {(ALPHABET.index(other) - ALPHABET.index(one)) % 36 for _, one, other in missed} <= {1, 35}
    assert ("9", "0", "1") in missed  # 9-01 and 9-10 have the same check character


def swaps_and_misses(codes):
    tried = [swapped(code, place) for code in codes for place in range(len(code) - 1) if code[place] != code[place + 1]]
    return len(tried), sum(map(is_valid, tried))


def test_nearly_every_swap_in_a_job_number_is_caught():
    bodies = [f"26{serial:05d}" for serial in range(1, 3000)]
    assert swaps_and_misses([body + check_char(body) for body in bodies]) == (19_002, 36)


def test_nearly_every_swap_on_a_label_is_caught():
    # Job, check character, sample, specimen and the second check character: 26-00147N-A1 and one more.
    codes = []
    for serial in range(1, 300):
        job = f"26{serial:05d}" + check_char(f"26{serial:05d}")
        codes += [whole + check_char(whole) for sample in "ABC" for n in "123" if (whole := job + sample + n)]
    assert swaps_and_misses(codes) == (22_653, 54)
