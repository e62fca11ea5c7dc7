"""Label codes: what is a code, what is not, and what may be offered in its place."""

import random
import secrets
from typing import Any

import pytest
from hypothesis import given, strategies as st

from kits.rules.lookup import label_codes

code_strategy = st.integers(0, 2**32).map(
    lambda seed: label_codes.new_code(random.Random(seed).choice)
)


@given(code_strategy)
def test_it_draws_codes_of_the_alphabet_alone_with_a_right_check(code: str) -> None:
    assert len(code) == 8
    assert set(code) <= set("23456789BCDFGHJKNPRSTVX")
    assert label_codes.is_valid(code)


def test_it_draws_from_what_it_is_given_and_rarely_the_same_twice() -> None:
    assert label_codes.new_code(random.Random(7).choice) == label_codes.new_code(
        random.Random(7).choice
    )
    assert len({label_codes.new_code(secrets.choice) for _ in range(2000)}) == 2000


def test_the_check_character_is_that_of_the_standard() -> None:
    # ISO/IEC 7064 MOD 37,36 worked by hand: P=36; for each character P=(P+value) mod 36 or 36,
    # then P=2P mod 37; the check makes P+value = 1 mod 36.
    def check(stem: str) -> str:
        value = "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ".index
        product = 36
        for character in stem:
            product = ((product + value(character)) % 36 or 36) * 2 % 37
        return "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ"[(1 - product) % 36]

    for seed in range(500):
        code = label_codes.new_code(random.Random(seed).choice)
        assert check(code[:7]) == code[7]


@given(code_strategy, st.integers(0, 7), st.sampled_from("0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ"))
def test_it_finds_every_single_wrong_character_and_offers_the_right_code(
    code: str, place: int, character: Any
) -> None:
    wrong = code[:place] + character + code[place + 1 :]
    if wrong == code:
        return
    assert not label_codes.is_valid(wrong)
    assert label_codes.parse(wrong) is None
    offered = label_codes.corrections(wrong)
    assert code in offered
    assert all(label_codes.is_valid(other) for other in offered)
    assert all(sum(a != b for a, b in zip(other, wrong, strict=True)) == 1 for other in offered)


def test_it_offers_nothing_for_a_valid_code_or_another_length() -> None:
    code = label_codes.new_code(random.Random(1).choice)
    assert label_codes.corrections(code) == ()
    assert label_codes.corrections(code[:7]) == ()
    assert label_codes.corrections("") == ()


@pytest.mark.parametrize("dash", ["-", "", " ", "–", "—", "_", "ß", ")", "'", "+", "?", " - "])
@given(code=code_strategy)
def test_it_reads_a_bare_code_in_any_case_with_any_dash(dash: str, code: str) -> None:
    assert label_codes.parse(f"  {code[:4]}{dash}{code[4:]}\r\n") == code
    assert label_codes.parse(f"{code[:4]}{dash}{code[4:]}".lower()) == code
    assert label_codes.parse(label_codes.shown(code)) == code


@given(st.text(max_size=20))
def test_it_gives_a_valid_code_or_nothing_for_any_text(text: str) -> None:
    code = label_codes.parse(text)
    assert code is None or label_codes.is_valid(code)


@given(st.integers(10_000_000, 99_999_999))
def test_a_retail_code_of_eight_digits_is_never_a_label_code(number: int) -> None:
    assert not label_codes.is_valid(str(number))


def test_it_writes_the_payload_all_in_capitals() -> None:
    code = label_codes.new_code(random.Random(3).choice)
    assert (
        label_codes.payload("https://gear.example.org", code)
        == f"HTTPS://GEAR.EXAMPLE.ORG/L/{code}"
    )
    assert label_codes.payload("http://10.0.0.5:8000/", code) == f"HTTP://10.0.0.5:8000/L/{code}"


@pytest.mark.parametrize(
    "address",
    ["", "gear.example.org", "ftp://gear.example.org", "https://gear.example.org/office",
     "https://gear_room.example.org", "https://gärtchen.example", "https://me@gear.example.org"],
)  # fmt: skip
def test_it_refuses_an_address_that_a_label_cannot_carry(address: str) -> None:
    with pytest.raises(ValueError, match="public address"):
        label_codes.payload(address, label_codes.new_code(random.Random(3).choice))


def test_it_refuses_to_print_what_is_not_a_code() -> None:
    with pytest.raises(ValueError, match="not a label code"):
        label_codes.payload("https://gear.example.org", "AAAAAAAA")
