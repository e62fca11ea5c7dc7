"""Names that look like another's, or read otherwise than they are kept."""

import unicodedata
from typing import Any

import pytest
from django.http import HttpResponse
from django.test import RequestFactory
from hypothesis import example, given, strategies as st

from gearroom.core.models import Person
from gearroom.core.rules.plain_text import plain
from gearroom.core.rules.roles import Role
from gearroom.site.http.middleware import PlainText
from kits.rules.overview import workbook
from tests.core.api.made import is_problem
from tests.kits import factories as make
from tests.site.browsing import PAGES_ON_SQLITE, browser, post

HIDDEN = {
    "right-to-left override": "\u202e",
    "isolate": "\u2067",
    "mark": "\u200f",
    "zero-width space": "\u200b",
    "zero-width joiner": "\u200d",
    "zero-width no-break space": "\ufeff",
    "word joiner": "\u2060",
    "soft hyphen": "\u00ad",
    "tag": "\U000e0041",
    "combining grapheme joiner": "\u034f",
    "Hangul filler": "\u3164",
    "variation selector": "\ufe0f",
    "Arabic letter mark": "\u061c",
}


@pytest.mark.parametrize("hidden", HIDDEN.values(), ids=HIDDEN)
@pytest.mark.parametrize("name", ["{0}Ann Lee", "Ann{0} Lee", "Ann Lee{0}", "A{0}{0}nn Lee"])
def test_what_nobody_sees_is_not_kept(hidden: Any, name: str) -> None:
    assert plain(name.format(hidden)) == "Ann Lee"


@pytest.mark.parametrize(
    "text",
    [
        "Ann Lee",
        "Zoë Ågren",
        "علی\u200cرضا",  # a name that needs its non-joiner
        "क्\u200dष",
        "\u0958",
        "שרה",
        "김민준",
        "葛\U000e0100城",
        "👩\u200d🚒",
        "❤\ufe0f",
        "1\ufe0f\u20e3",
        "two\nlines\tand a tab",
        "\x1d0104006381333931",
    ],
)
def test_what_a_script_or_a_scanner_needs_stays(text: str) -> None:
    assert plain(text) == text


def test_one_look_is_one_text() -> None:
    assert plain("Zoe\u0308") == plain("Zo\u00eb") == "Zoë"


@given(st.text())
@example("\u0d4e\u200d\u0d4e\u0300")
@example("e\u200b\u0308")
def test_of_a_plain_text_it_is_the_text_itself(text: str) -> None:
    once = plain(text)
    assert plain(once) == once
    assert len(once) <= len(text)
    assert unicodedata.is_normalized("NFC", once) or len(unicodedata.normalize("NFC", once)) > len(
        once
    )
    assert not any(unicodedata.category(c) == "Cf" and c not in "\u200c\u200d" for c in once)


# ---------------------------------------------------------------------------------------- the doors
class TestDoors:
    pytestmark = PAGES_ON_SQLITE

    def test_the_api_takes_a_name_as_it_is_seen(self) -> None:
        room = make.room()
        call = make.caller(make.person("Kim", Role.KEEPER, room))
        body = {"name": "\u202eAnn\u200b Lee", "home_room": room.slug}
        made = call("POST", "people/", body)
        assert made.json()["name"] == "Ann Lee"

        nothing = call("POST", "people/", {**body, "name": "\u200b\u202e"})
        is_problem(nothing, 422, "cannot-be-right")
        fixed = call("PATCH", f"people/{made.json()['id']}/", {"email": "a\u200b@example.org"})
        is_problem(fixed, 400, "invalid-request")

    def test_a_page_takes_a_name_as_it_is_seen(self) -> None:
        room = make.room()
        client = browser(make.person("Kim", Role.KEEPER, room))
        post(client, "/people/add/", name="\u202eAnn\u200b Lee", room=room.slug)
        assert Person.objects.filter(name="Ann Lee").exists()

    def test_a_workbook_takes_a_name_as_it_is_seen(self) -> None:
        sheets = {"shelves": [["A\u200b1"], ["A1"]]}
        book = workbook.read(sheets, known=workbook.Known(), today=make.days(0), words={})
        assert list(book.shelves) == ["A1"]
        assert [fault.code for fault in book.faults] == ["twice"]

    def test_rows_of_before_stay_as_they_are_and_are_still_there(self) -> None:
        room = make.room()
        call = make.caller(make.person("Kim", Role.KEEPER, room))
        old = Person.objects.create(name="Ann\u200b Lee", home_room=room)
        item = make.item("swab\u202e")
        assert call.get(f"people/{old.pk}/").json()["name"] == "Ann\u200b Lee"
        assert call("PATCH", f"people/{old.pk}/", {"phone": "0151"}).status_code == 200
        for row in (old, item):
            before = row.name
            row.refresh_from_db()
            assert row.name == before

    def test_a_scan_keeps_what_a_scanner_sent_and_a_password_what_somebody_chose(self) -> None:
        request = RequestFactory().post(
            "/x/?search=A\u200bnn",
            {
                "text": "\x1d01\x1e",
                "password": "a\u200bb",
                "new_password1": "e\u0308",
                "name": "e\u0308",
            },
        )
        PlainText(lambda r: HttpResponse()).process_view(request, None, [], {})
        assert request.GET["search"] == "Ann"
        assert request.POST.dict() == {
            "text": "\x1d01\x1e", "password": "a\u200bb", "new_password1": "e\u0308", "name": "ë",
        }  # fmt: skip
