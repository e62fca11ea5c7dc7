"""Advice on its pages: the settings, the link of a stranger, the draft and what was sent."""

import re
from typing import Any

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from gearroom.core.rules.roles import Role
from kits.models import Advice, Item
from kits.services.advice import access, links, register, sending
from kits.services.text.planning import advice_texts
from tests.kits import factories as make
from tests.kits.advice.school import CREW, advising, answered, turn_on
from tests.kits.factories import World, act
from tests.site.browsing import PAGES_ON_SQLITE, browser, form_of, post, text_of

pytestmark = PAGES_ON_SQLITE

TRIP = {
    "people": "5",
    "children": "0",
    "days": "1",
    "season": "spring",
    "activity": "work-party",
    "hazard": ["sharp-tools"],
    "hours": "1",
}


@pytest.fixture
def w() -> World:
    return advising()


def new_link(client: Client) -> str:
    page = post(client, "/advice/new/").content.decode()
    found = re.search(r'value="http://testserver(/trip-advice/[^"]+)"', page)
    assert found
    return found[1]


def sent(w: World) -> tuple[Advice, str]:
    made, link = answered(w)
    sending.send(act(w.keeper), made, revision=made.revision, duty_confirmed=True)
    return made, f"/trip-advice/{link}/"


def draft_form(page: Any, path: str) -> dict[str, Any]:
    fields = form_of(page, path)
    texts = re.findall(r'<textarea name="([^"]+)"[^>]*>([^<]*)</textarea>', page.content.decode())
    return {**fields, **dict(texts), "save": "1"}


# ------------------------------------------------------------------------------- on, off, and who
def test_an_administrator_turns_it_on_and_names_who_sends(w: World) -> None:
    chief = make.person("Charlie", Role.ADMINISTRATOR)
    client = browser(chief)
    assert "No wording removes a duty of care" in text_of(client.get("/settings/advice/"))
    post(client, "/settings/advice/", on="1", sender=[str(w.instructor.pk)])
    assert [each.pk for each in access.senders()] == [w.instructor.pk]
    assert browser(w.instructor).get("/advice/").status_code == 200
    assert browser(w.keeper).get("/advice/").status_code == 403
    refused = post(client, "/settings/advice/", on="1")
    assert "Choose who may send advice." in text_of(refused)


def test_while_it_is_off_there_is_no_page_and_no_link_to_it(w: World) -> None:
    _made, link = sent(w)
    client, stranger = browser(w.keeper), Client()
    assert 'href="/advice/"' in client.get("/settings/").content.decode()
    turn_on([], on=False)
    assert 'href="/advice/"' not in client.get("/settings/").content.decode()
    for path in ("/advice/", "/advice/1/", "/advice/1/copies/1/"):
        assert client.get(path).status_code == 404
    for path in ("/advice/new/", "/advice/1/", "/advice/1/send/", "/advice/1/withdraw/"):
        assert post(client, path).status_code == 404
    off = stranger.get(link)
    assert off.status_code == 409
    assert "turned off" in text_of(off)
    assert "Do not go without" not in text_of(off)


# ------------------------------------------------------------------------------------- a stranger
def test_a_stranger_answers_eight_questions_and_may_correct_them(w: World) -> None:
    link, stranger = new_link(browser(w.keeper)), Client()
    page = stranger.get(link)
    text = text_of(page)
    assert all(f" {n}. " in text for n in range(1, 9))
    assert "<textarea" not in page.content.decode()
    assert str(advice_texts.CAUTION) in text and "your own records" not in text
    stranger.post(link, TRIP)
    stranger.post(link, TRIP)  # pressed twice
    assert Advice.objects.get().revision == 2
    assert "Thank you" in text_of(stranger.get(link))
    stranger.post(link, {**TRIP, "people": "7"})
    assert (Advice.objects.get().answers or {})["people"] == 7


@pytest.mark.parametrize(
    ("name", "value"),
    [
        ("people", "0"),
        ("people", "10000"),
        ("people", ""),
        ("children", "6"),
        ("days", "-1"),
        ("season", ""),
        ("hours", "soon"),
        ("hazard", "dragons"),
        ("trained", "everything"),
    ],
)
def test_wrong_answers_are_refused_with_all_that_was_entered(
    w: World, name: str, value: str
) -> None:
    link, stranger = new_link(browser(w.keeper)), Client()
    refused = stranger.post(link, {**TRIP, "hours": "7.5", name: value})
    assert refused.status_code in (400, 422)
    assert "That didn’t work." in text_of(refused)
    if name not in ("hours", "hazard"):
        assert 'value="7.5"' in refused.content.decode()
    assert Advice.objects.get().answers is None


def test_the_answer_is_one_page_with_all_that_has_to_be_said(w: World) -> None:
    _made, link = sent(w)
    text = text_of(Client().get(link))
    assert "your own records" not in text
    for part in (
        str(advice_texts.STATEMENT),
        str(advice_texts.CAUTION),
        "Sent on",
        "Answered by: Keeper.",
        "Do not use for trips after",
        "What it weighs",
        "What it costs",
        "What is not included, and why",
        "Do not go without",
        "What this is based on",
        "We recommend no medicines",
    ):
        assert part in text, part
    assert "<form" not in Client().get(link).content.decode()
    late = Client().post(link, TRIP)
    assert late.status_code == 409
    assert "already been sent" in text_of(late)


def test_in_german_it_has_no_english_sentence(w: World) -> None:
    made, link = answered(w)
    german = Client(headers={"accept-language": "de"})
    for state in ("questions", "answer", "withdrawn"):
        if state == "answer":
            sending.send(act(w.keeper), made, revision=made.revision, duty_confirmed=True)
        if state == "withdrawn":
            sending.withdraw(act(w.keeper), made, reason="Ein Rückruf.")
        text = text_of(german.get(f"/trip-advice/{link}/"))
        english = re.findall(r"\b(?:the|you|your|we|this|and|not|for|with|trip)\b", text)
        assert english == [], state


def test_after_withdrawal_the_link_says_so_and_nothing_else(w: World) -> None:
    made, link = sent(w)
    post(browser(w.keeper), f"/advice/{made.pk}/withdraw/", reason="A dressing was recalled.")
    page = Client().get(link)
    assert page.status_code == 410
    text = text_of(page)
    assert "should no longer be used" in text
    assert "A dressing was recalled." in text
    assert "What we would carry" not in text
    assert Client().post(link, TRIP).status_code == 410
    again = post(browser(w.keeper), f"/advice/{made.pk}/withdraw/", reason="Again.")
    assert "has been withdrawn" in text_of(again)


def test_it_says_when_it_is_too_old(w: World, monkeypatch: pytest.MonkeyPatch) -> None:
    _made, link = sent(w)
    assert "This answer is out of date." not in text_of(Client().get(link))
    monkeypatch.setattr("gearroom.core.clock.today", lambda zone: make.days(500))
    assert "This answer is out of date." in text_of(Client().get(link))


# --------------------------------------------------------------------------------------- guessing
def test_no_guess_is_told_from_another(w: World) -> None:
    made, link = answered(w)
    answers: dict[str, set[tuple[int, int]]] = {}
    for guess in ("x", link[:-1], link + "A", link.swapcase(), str(made.pk), made.sha256):
        for method in ("get", "head", "post", "put", "delete", "patch"):
            found = getattr(Client(), method)(f"/trip-advice/{guess}/")
            text = text_of(found)
            assert link not in text
            if method in ("get", "post"):
                assert "This link is not valid, or no longer valid." in text
                assert "gear rooms" not in text
            answers.setdefault(method, set()).add((found.status_code, len(text)))
    assert all(len(each) == 1 for each in answers.values()), answers
    assert next(iter(answers["get"]))[0] == next(iter(answers["post"]))[0] == 404
    for method in ("put", "delete", "patch"):
        there = getattr(Client(), method)(f"/trip-advice/{link}/")
        assert {(there.status_code, len(text_of(there)))} == answers[method]


def test_it_is_looked_up_by_its_hash_alone(w: World) -> None:
    made, link = answered(w)
    with CaptureQueriesContext(
        connection,
    ) as queries:
        links.by_link(link)
    asked = " ".join(query["sql"] for query in queries)
    assert link not in asked
    assert made.sha256 in asked


def test_no_browser_and_no_search_engine_keeps_it(w: World) -> None:
    _made, link = sent(w)
    page = Client().get(link)
    assert page["X-Robots-Tag"] == "noindex"
    assert page["Cache-Control"] == "private, no-store"
    assert page["Referrer-Policy"] == "strict-origin"


def test_answers_are_limited_by_address(w: World) -> None:
    link, stranger = new_link(browser(w.keeper)), Client()
    last = [stranger.post(link, {**TRIP, "people": "0"}).status_code for _n in range(25)]
    assert last[0] == 400
    assert last[-1] == 429


# ----------------------------------------------------------------------------------- whoever sends
def test_the_link_is_shown_once(w: World) -> None:
    client = browser(w.keeper)
    key = "11111111-1111-4111-8111-111111111111"
    first, again = (post(client, "/advice/new/", key=key) for _n in range(2))
    assert "/trip-advice/" in first.content.decode()
    assert "/trip-advice/" not in again.content.decode()
    assert "not stored" in text_of(again)
    assert Advice.objects.count() == 1


def test_a_sender_edits_a_draft_and_sends_it(w: World) -> None:
    made, link = answered(w)
    client, path = browser(w.keeper), f"/advice/{made.pk}/"
    form = draft_form(client.get(path), path)
    words = {"reason-en-gb-new": "Cuts clothes.", "reason-de-new": "Schneidet Kleidung."}
    post(client, path, **{**form, "thing-new": "Shears", "quantity-new": "2", **words})
    shown = text_of(client.get(path))
    assert "Cuts clothes." in shown and "Schneidet Kleidung." in shown
    sending_form = form_of(client.get(path), f"{path}send/")
    refused = post(client, f"{path}send/", **sending_form)
    assert "duty of care" in text_of(refused) and refused.status_code == 422
    post(client, f"{path}send/", **{**sending_form, "duty": "1"})
    assert "Cuts clothes." in text_of(Client().get(f"/trip-advice/{link}/"))
    german = Client(headers={"accept-language": "de"}).get(f"/trip-advice/{link}/")
    assert "Schneidet Kleidung." in text_of(german)
    assert "Cuts clothes." in text_of(client.get(f"{path}copies/1/"))


def test_what_would_be_sent_is_not_said_to_be_sent(w: World) -> None:
    made, _link = answered(w)
    text = text_of(browser(w.keeper).get(f"/advice/{made.pk}/"))
    assert "Not sent yet. Answered by: Keeper." in text
    assert "Sent on" not in text
    assert w.keeper.name not in text_of(Client().get(sent(w)[1]))


def test_a_reason_in_one_language_only_is_refused_and_an_empty_one_is_made_anew(w: World) -> None:
    made, _link = answered(w)
    client, path = browser(w.keeper), f"/advice/{made.pk}/"
    form = draft_form(client.get(path), path)
    english, german = (f"reason-{each}-out-blister" for each in ("en-gb", "de"))
    half = post(client, path, **{**form, english: "Bring your own."})
    assert "changed in one language only" in text_of(half) and half.status_code == 400
    assert "Bring your own." in text_of(half)
    own = {english: "Bring your own.", german: "Bringt eigene mit."}
    assert post(client, path, **{**form, **own}).status_code == 302
    form = draft_form(client.get(path), path)
    assert post(client, path, **{**form, english: "", german: ""}).status_code == 302
    assert "Bring your own." not in text_of(client.get(path))


def test_a_day_that_was_chosen_stays_until_it_is_sent(w: World) -> None:
    made, _link = answered(w)
    client, path = browser(w.keeper), f"/advice/{made.pk}/"
    form = form_of(client.get(path), f"{path}send/")
    day = str(make.days(30))
    refused = post(client, f"{path}send/", **{**form, "not_after": day})
    assert form_of(refused, f"{path}send/")["not_after"] == day


def test_what_was_typed_is_shown_again_with_what_is_wrong(w: World) -> None:
    made, _link = answered(w)
    client, path = browser(w.keeper), f"/advice/{made.pk}/"
    form = draft_form(client.get(path), path)
    words = {"reason-en-gb-new": "Give 400 mg.", "reason-de-new": "Gib 400 mg."}
    refused = post(client, path, **{**form, "thing-new": "Shears", "quantity-new": "2", **words})
    assert refused.status_code == 422
    assert "looks like a dose" in text_of(refused)
    assert "Gib 400 mg." in text_of(refused)
    medicine = {**form, "thing-new": w.tablets.name, "quantity-new": "2", **words}
    assert "is a medicine" in text_of(post(client, path, **medicine))
    nothing = {**form, "thing-new": "no such thing", "quantity-new": "1"}
    assert post(client, path, **nothing).status_code == 404


def test_of_two_senders_at_once_the_second_is_told(w: World) -> None:
    turn_on([w.keeper.pk, w.instructor.pk])
    made, _link = answered(w)
    one, two, path = browser(w.keeper), browser(w.instructor), f"/advice/{made.pk}/"
    first, second = (draft_form(client.get(path), path) for client in (one, two))
    sent_by_two = form_of(two.get(path), f"{path}send/")
    assert post(one, path, **first).status_code == 302
    late = post(two, path, **second)
    assert late.status_code == 412
    assert "changed this draft" in text_of(late)
    assert post(two, f"{path}send/", **sent_by_two, duty="1").status_code == 412


def test_an_item_that_is_retired_since_still_shows(w: World) -> None:
    made, _link = answered(w)
    Item.objects.update(retired_on=make.days(0))
    assert browser(w.keeper).get(f"/advice/{made.pk}/").status_code == 200
    assert register.state_of(links.answer(made, CREW)).value == "draft"


# -------------------------------------------------------------------------------------------- API
def test_a_program_makes_reads_sends_and_withdraws(w: World) -> None:
    call = make.caller(w.keeper)
    made = call.post("advice/", {})
    assert made.status_code == 201
    number = made.json()["advice"]["id"]
    link = made.json()["address"].removeprefix("http://testserver")
    assert Client().post(link, TRIP).status_code == 302
    (row,) = call.get("advice/").json()["results"]
    assert (row["id"], row["state"]) == (number, "draft")
    whole = call.get(f"advice/{number}/").json()
    assert whole["trip"]["people"] == 5 and whole["not_carried"] and whole["caution"]
    body = {"revision": whole["advice"]["revision"], "duty_confirmed": False}
    assert call.post(f"advice/{number}/send/", body).status_code == 422
    done = call.post(f"advice/{number}/send/", {**body, "duty_confirmed": True}).json()
    assert done["advice"]["state"] == "sent"
    assert done["page"]["statement"] == str(advice_texts.STATEMENT)
    gone = call.post(f"advice/{number}/withdraw/", {"reason": "A recall."}).json()
    assert (gone["advice"]["state"], gone["page"]) == ("withdrawn", None)


def test_while_it_is_off_the_api_answers_as_if_nothing_were_there(w: World) -> None:
    made, _link = answered(w)
    turn_on([], on=False)
    for who in (w.keeper, w.guide):
        call = make.caller(who)
        for path in ("advice/", f"advice/{made.pk}/"):
            assert call.get(path).status_code == 404
        for path in ("advice/", f"advice/{made.pk}/send/", f"advice/{made.pk}/withdraw/"):
            assert call.post(path, {}).status_code == 404
