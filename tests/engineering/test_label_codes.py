"""Short codes: outside values of the check character, and every slip of a hand caught."""

from __future__ import annotations

from itertools import product

import pytest

from readiness.engineering.label_codes import (
    ALPHABET,
    check_character,
    completed,
    is_code,
    looks_like_code,
    near_codes,
    plain_code,
    pure_check,
    shown_code,
    spoken_code,
)

VALUES = {character: value for value, character in enumerate("0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ*")}


def code_of(body: str) -> str:
    """The code with this body, which must have one."""
    code = completed(body)
    assert code is not None, body
    return code


def some_codes() -> list[str]:
    """A code for each last-but-one and last-but-two character, so that every pair of neighbors occurs."""
    found = []
    for a, b in product(ALPHABET, repeat=2):
        found += [code for rest in product(ALPHABET, repeat=2) if (code := completed(f"7K{a}{b}{''.join(rest)}"))][:2]
    return found


@pytest.mark.parametrize(
    ("values", "modulus", "check"),
    [
        # ISO/IEC 7064:2003, MOD 11-2: the standard's own example 0794 has the check character 0.
        ([0, 7, 9, 4], 11, 0),
        # ISO 27729 (ISNI) as published for ORCID identifiers: 0000-0002-1825-0097 and 0000-0002-1694-233X.
        ([int(digit) for digit in "000000021825009"], 11, 7),
        ([int(digit) for digit in "000000021694233"], 11, 10),
    ],
)
def test_pure_systems_by_published_examples(values, modulus, check):
    assert pure_check(values, modulus, 2) == check


def test_mod_37_2_by_a_published_example():
    # ISO/IEC 7064 MOD 37-2 as used for donation identification numbers: G123489654321 has the check character Y.
    assert check_character("G123489654321") == "Y"


def test_mod_37_2_by_hand():
    # 7 K M 4 R F are 7 20 22 4 27 15, with the weights 2^6 … 2^1:
    # 7·64 + 20·32 + 22·16 + 4·8 + 27·4 + 15·2 = 448 + 640 + 352 + 32 + 108 + 30 = 1610 = 43·37 + 19;
    # 1 − 19 + 37 = 19 = J.
    assert check_character("7KM4RF") == "J"
    assert completed("7KM4RF") is None, "J is not of the alphabet"
    # 7 K M 4 R 3: 15·2 becomes 3·2, the sum 1586 = 42·37 + 32; 1 − 32 + 37 = 6.
    assert check_character("7KM4R3") == "6"
    # 7 K M 4 R 4: the sum 1588 leaves 34; 1 − 34 + 37 = 4.
    assert completed("7KM4R4") == "7KM4R44"


def test_every_single_wrong_character_is_caught():
    for code in some_codes():
        for at, right in enumerate(code):
            for wrong in VALUES:
                if wrong != right:
                    assert not is_code(code[:at] + wrong + code[at + 1 :]), (code, at, wrong)


def test_every_pair_of_neighbors_swapped_is_caught():
    swapped = set()
    for code in some_codes():
        for at in range(len(code) - 1):
            one, two = code[at], code[at + 1]
            if one != two:
                swapped.add((one, two))
                assert not is_code(code[:at] + two + one + code[at + 2 :]), (code, at)
    assert swapped == {(one, two) for one, two in product(ALPHABET, repeat=2) if one != two}


def test_the_alphabet_has_none_that_look_or_sound_alike():
    alike = [
        "0OQD",
        "1IL",
        "2Z",
        "5S",
        "6G",
        "8B",
        "UV",
        "69",
        "MW",
        "BCDEGPTVZ3",
        "AJK",
        "H8",
        "MN",
        "FSX",
        "IY",
        "59",
    ]
    assert [group for group in [*alike, "QUW2"] if len(set(group) & set(ALPHABET)) > 1] == []
    assert len(set(ALPHABET)) == len(ALPHABET) == 12


@pytest.mark.parametrize(
    "typed", ["7km4r44", " 7KM-4R44 ", "7km 4r4 4", "HTTPS://FOAM.EXAMPLE:8000/Q/7KM4R44", "7KM‑4R44"]
)
def test_what_is_typed_or_scanned_is_read(typed):
    assert plain_code(typed) == "7KM4R44"
    assert is_code(plain_code(typed))


def test_shown_and_spoken():
    assert shown_code("7KM4R44") == "7KM-4R44"
    assert spoken_code("7KM4R44") == "seven King Mary, four Robert four four"


@pytest.mark.parametrize("slip", ["7KM4R45", "7MK4R44", "7KM4R4", "77KM4R44", "7KM4RR4", "0KM4R44"])
def test_the_right_code_is_among_those_near_a_slip(slip):
    assert not is_code(slip)
    assert looks_like_code(slip)
    assert code_of("7KM4R4") in near_codes(slip)
    assert all(map(is_code, near_codes(slip)))


@pytest.mark.parametrize("words", ["", "P-0101", "Engine 7", "T-211", "gasoline", "7KM4", "7KM4R44 7KM4R44", "٣" * 7])
def test_other_words_are_not_taken_for_a_code(words):
    assert not is_code(plain_code(words))
    assert not looks_like_code(plain_code(words))
