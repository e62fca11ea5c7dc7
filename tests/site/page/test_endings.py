"""What a page ends or throws away can be undone, has its opposite beside it, or asks once."""

import re
from pathlib import Path

import pytest

from gearroom.site.web.urls import urlpatterns

TEMPLATES = Path(__file__).resolve().parents[3] / "gearroom" / "site" / "templates" / "site"

UNDO = "an act on record: the page after it offers Undo"
OPPOSITE = "the same page offers the opposite"
ASKS = "the button opens what it means, and the button that does it"
PAGE = "a page of its own says what comes of it, or asks for a reason"
HARMLESS = "it only logs out: whoever it is logs in again"

ENDINGS = {
    "release": UNDO,
    "take-out": UNDO,
    "out-of-date": UNDO,
    "empty-kit": UNDO,
    "withhold": OPPOSITE,
    "end-role": OPPOSITE,
    "left": OPPOSITE,
    "trip-release": OPPOSITE,
    "recall-close": OPPOSITE,
    "shelf": OPPOSITE,
    "serves": OPPOSITE,
    "hazard-needs": OPPOSITE,
    "revoke-token": ASKS,
    "end-device": ASKS,
    "remove-sheet": ASKS,
    "end-offer": ASKS,
    "close-bought-kit": ASKS,
    "end-calendar": ASKS,
    "webhook-remove": ASKS,
    "calendar-cancel-trip": ASKS,
    "calendar-stop": OPPOSITE,
    "calendar-remove": ASKS,
    "webhook-rotate": ASKS,
    "webhook-leave-out": ASKS,
    "webhook-off": OPPOSITE,
    "new-calendar": ASKS,
    "give-sign-in": ASKS,
    "keep-kit": ASKS,
    "location": ASKS,
    "order-discard": ASKS,
    "order-rest": OPPOSITE,
    "order-take-back": OPPOSITE,
    "list-publish": PAGE,
    "withdraw-advice": PAGE,
    "cancel-label": PAGE,
    "merge-person": PAGE,
    "erase-person": PAGE,
    "undo": PAGE,
    "hatch-end": HARMLESS,
    "end-sign-in": HARMLESS,
    "end-other-sign-ins": HARMLESS,
}
"""The addresses whose forms end, remove or replace something, with what keeps that from being done
by a slip. `keep-kit` asks before it retires a kit; its other acts have their opposites."""

WORDS = re.compile(
    r"end|remove|revoke|cancel|close|release|withdraw|erase|merge|left|empty|retire|dispose|undo"
)
NOT_ENDINGS = {
    "extend-signature": "it makes a signature last longer",
    "trip-extend": "it makes a trip last longer",
    "blank-workbook": "it is only read",
    "wall-calendar": "it is only read",
    "send-advice": "it sends",
    "webhook-send-again": "it sends",
    "calendars": "it adds",
    "calendar": "it takes over what was looked at",
    "calendar-change": "it changes a calendar, which its form does again",
    "calendar-read": "it reads",
    "calendar-use": "it is the opposite of stopping",
    "calendar-keep-trip": "it leaves a trip as it is",
}


def test_every_address_that_ends_something_is_decided() -> None:
    named = {each.name for each in urlpatterns if each.name and WORDS.search(each.name)}
    assert named - ENDINGS.keys() - NOT_ENDINGS.keys() == set()
    known = {each.name for each in urlpatterns}
    assert (ENDINGS.keys() | NOT_ENDINGS.keys()) <= known


@pytest.mark.parametrize("name", [name for name, how in ENDINGS.items() if how == ASKS])
def test_a_form_that_ends_something_for_good_asks_once(name: str) -> None:
    forms = [
        form
        for path in TEMPLATES.rglob("*.html")
        for form in re.findall(r"<form.*?</form>", path.read_text(), re.S)
        if f'{{% url "{name}"' in form.split(">")[0] + form.split("%}")[0] + "%}"
    ]
    assert forms
    assert any("site/page/ask_once.html" in form for form in forms)
