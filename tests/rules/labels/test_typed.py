"""What a scanner or a person types, on any country's keyboard, and what it is taken for."""

import random
from datetime import date
from typing import Any

import pytest
from hypothesis import given, strategies as st

from kits.rules.lookup import label_codes
from labels.rules.codes import typed
from labels.rules.codes.typed import TextKind
from tests.present import present

TODAY = date(2026, 11, 25)

# The four rows of a keyboard, key by key as they lie on the desk, plain and with Shift. A scanner
# set for the US presses the US key; the computer gives the character that lies there.
US = (
    "`1234567890-=qwertyuiop[]asdfghjkl;'zxcvbnm,./",
    '~!@#$%^&*()_+QWERTYUIOP{}ASDFGHJKL:"ZXCVBNM<>?',
)
KEYBOARDS = {
    "US": US,
    "British": (
        "`1234567890-=qwertyuiop[]asdfghjkl;'zxcvbnm,./",
        '¬!"£$%^&*()_+QWERTYUIOP{}ASDFGHJKL:@ZXCVBNM<>?',
    ),
    "German": (
        "^1234567890ß´qwertzuiopü+asdfghjklöäyxcvbnm,.-",
        '°!"§$%&/()=?`QWERTZUIOPÜ*ASDFGHJKLÖÄYXCVBNM;:_',
    ),
    "French": (
        "²&é\"'(-è_çà)=azertyuiop^$qsdfghjklmùwxcvbn,;:!",
        "~1234567890°+AZERTYUIOP¨£QSDFGHJKLM%WXCVBN?./§",
    ),
    "Belgian": (
        "²&é\"'(§è!çà)-azertyuiop^$qsdfghjklmùwxcvbn,;:=",
        "³1234567890°_AZERTYUIOP¨*QSDFGHJKLM%WXCVBN?./+",
    ),
    "Spanish": (
        "º1234567890'¡qwertyuiop`+asdfghjklñ´zxcvbnm,.-",
        'ª!"·$%&/()=?¿QWERTYUIOP^*ASDFGHJKLÑ¨ZXCVBNM;:_',
    ),
    "Swedish": (
        "§1234567890+´qwertyuiopå¨asdfghjklöäzxcvbnm,.-",
        '½!"#¤%&/()=?`QWERTYUIOPÅ^ASDFGHJKLÖÄZXCVBNM;:_',
    ),
    "Norwegian": (
        "|1234567890+\\qwertyuiopå¨asdfghjkløæzxcvbnm,.-",
        '§!"#¤%&/()=?`QWERTYUIOPÅ^ASDFGHJKLØÆZXCVBNM;:_',
    ),
    "Danish": (
        "½1234567890+´qwertyuiopå¨asdfghjklæøzxcvbnm,.-",
        '§!"#¤%&/()=?`QWERTYUIOPÅ^ASDFGHJKLÆØZXCVBNM;:_',
    ),
}
HOSTS = ("https://gear.example.org", "https://umberfell.example", "http://10.0.0.5:8000")

code_strategy = st.integers(0, 2**32).map(
    lambda seed: label_codes.new_code(random.Random(seed).choice)
)


def typed_on(keyboard: str, text: str, *, lock: bool = False, held: bool = False) -> str:
    """What a computer with this keyboard makes of a US scanner's key presses.

    `lock`: Caps Lock is on, letters change case. `held`: Shift is held down for the whole text.
    """
    plain, shifted = KEYBOARDS[keyboard]
    out = []
    for character in text:
        row = 1 if character in US[1] else 0
        key = US[row].index(character)
        if held:
            row = 1
        given = (plain, shifted)[row][key]
        out.append(given.swapcase() if lock and given.isalpha() and given not in "éèçàß" else given)
    return "".join(out)


@pytest.mark.parametrize("lock", [False, True], ids=["", "caps-lock"])
@pytest.mark.parametrize("host", HOSTS)
@pytest.mark.parametrize("keyboard", KEYBOARDS)
def test_a_scanned_label_resolves_on_every_keyboard(keyboard: str, host: str, lock: bool) -> None:
    for seed in range(500):
        code = label_codes.new_code(random.Random(seed).choice)
        text = typed_on(keyboard, label_codes.payload(host, code), lock=lock)
        found = typed.resolve(text + "\r", today=TODAY)
        assert (found.kind, found.code) == (TextKind.OWN, code), text


@pytest.mark.parametrize("keyboard", KEYBOARDS)
def test_a_scanned_label_resolves_when_the_scanner_holds_shift(keyboard: str) -> None:
    for seed in range(500):
        code = label_codes.new_code(random.Random(seed).choice)
        text = typed_on(keyboard, label_codes.payload(HOSTS[0], code), held=True)
        found = typed.resolve(text, today=TODAY)
        assert (found.kind, found.code) == (TextKind.OWN, code), text


@pytest.mark.parametrize("keyboard", KEYBOARDS)
def test_a_bare_code_resolves_or_is_refused_but_never_becomes_another(keyboard: str) -> None:
    resolved = 0
    for seed in range(2000):
        code = label_codes.new_code(random.Random(seed).choice)
        found = typed.resolve(typed_on(keyboard, label_codes.shown(code)), today=TODAY)
        assert found.kind is not TextKind.OWN or found.code == code
        resolved += found.kind is TextKind.OWN
    assert resolved >= 1990


@pytest.mark.parametrize("keyboard", ["French", "Belgian"])
def test_a_makers_code_typed_on_azerty_is_put_right(keyboard: str) -> None:
    found = typed.resolve(typed_on(keyboard, "9501101530003"), today=TODAY)
    assert present(found.maker).best.gtin == "09501101530003"
    found = typed.resolve(typed_on(keyboard, "(01)09501101530003(10)AMQ-7"), today=TODAY)
    assert (present(found.maker).best.gtin, present(found.maker).best.lot) == (
        "09501101530003",
        "AMQ-7",
    )


@given(code_strategy, st.integers(0, 7), st.sampled_from(label_codes.ALPHABET + "01AILMOQUWYZ"))
def test_a_code_with_one_wrong_character_is_refused_with_what_to_do(
    code: str, place: int, character: Any
) -> None:
    wrong = code[:place] + character + code[place + 1 :]
    if wrong == code or wrong.isdigit():
        return
    for text in (wrong, label_codes.shown(wrong).lower(), f"HTTPS://GEAR.EXAMPLE.ORG/L/{wrong}"):
        found = typed.resolve(text, today=TODAY)
        assert (found.kind, found.code) == (TextKind.OWN_WRONG, wrong)
        assert present(found.says).text.startswith("Check the code")
        assert code in label_codes.corrections(present(found.code))


@pytest.mark.parametrize("ending", ["", "/", "?s=1", "#top", "/?from=camera"])
@pytest.mark.parametrize("host", ["gear.example.org", "other.example:8443", "10.0.0.5", "l.org"])
def test_a_label_of_any_host_resolves_whatever_trails_it(host: str, ending: str) -> None:
    code = label_codes.new_code(random.Random(5).choice)
    for text in (f"https://{host}/l/{code.lower()}{ending}", f"HTTPS://{host}/L/{code}{ending}"):
        assert typed.resolve(text, today=TODAY).code == code


@pytest.mark.parametrize(
    ("text", "kind"),
    [
        ("", TextKind.EMPTY),
        ("  \r\n", TextKind.EMPTY),
        ("https://shop.example/plasters?colour=blue", TextKind.LINK),
        ("https://shop.example/l/abcdefghijk", TextKind.LINK),
        ("WIFI:T:WPA;S:hut;P:secret;;", TextKind.WIFI),
        ("BEGIN:VCARD\nVERSION:3.0\nN:Doe\nEND:VCARD", TextKind.CONTACT),
        ("MECARD:N:Doe;;", TextKind.CONTACT),
        ("\x00\x01\x02\x7f binary", TextKind.BINARY),
        ("Take two and call me", TextKind.OTHER),
        ("GROUP-01", TextKind.OTHER),
        ("]d2010950110153000317270500103344X", TextKind.MAKER),
        ("https://id.example/01/09501101530003/10/AB1?17=270500", TextKind.MAKER),
        ("9501101530003", TextKind.MAKER),
        ("9501101530004", TextKind.MAKER_WRONG),
        ("0109501101530003172713011012", TextKind.MAKER_WRONG),
    ],
)
def test_it_tells_what_is_not_ours(text: str, kind: TextKind) -> None:
    found = typed.resolve(text, today=TODAY)
    assert found.kind is kind
    assert found.code is None
    assert bool(found.says) == (kind is not TextKind.MAKER)


def test_a_gs1_symbol_is_never_taken_for_a_label_of_ours() -> None:
    found = typed.resolve("10A88\x1d17270131", today=TODAY, from_gs1_symbol=True)
    assert found.kind is TextKind.MAKER
    assert not present(found.maker).confirm
    assert present(found.maker).best.lot == "A88"


@given(st.text(max_size=60))
def test_any_text_is_something_and_ours_only_with_a_right_check(text: str) -> None:
    found = typed.resolve(text, today=TODAY)
    assert found.kind is not TextKind.OWN or label_codes.is_valid(present(found.code))
    assert (found.maker is not None) == (found.kind is TextKind.MAKER)
