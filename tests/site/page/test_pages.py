"""The pages: who sees which, what a form does, and what the browser is told to allow."""

import re

import pytest
from django.core.cache import cache

from kits.models import Checkout, Entry
from kits.services.custody import custody
from tests.kits import factories as make
from tests.labels.scan import scanned
from tests.present import present
from tests.site.browsing import PAGES_ON_SQLITE, browser, post, text_of

pytestmark = PAGES_ON_SQLITE

EVERY_PAGE = (
    "/",
    "/board/lines/",
    "/scan/",
    "/scan/?text=DAY-01",
    "/kits/",
    "/kits/DAY-01/",
    "/kits/DAY-01/as-of/",
    "/kits/DAY-01/sort/",
    "/kits/DAY-01/hand-back/",
    "/kits/DAY-01/hand-back/?opened=1",
    "/kits/DAY-01/hand-back/?opened=1&sharps=no",
)


@pytest.fixture(autouse=True)
def _no_tries_yet() -> None:
    cache.clear()


@pytest.fixture
def school() -> scanned.Labelled:
    return scanned.labelled()


# ------------------------------------------------------------------------------------ who sees what
def test_whoever_is_not_signed_in_is_asked_to_sign_in_and_comes_back(
    school: scanned.Labelled,
) -> None:
    for path in EVERY_PAGE:
        answer = browser().get(path)
        assert answer.status_code == 302, path
        assert answer["Location"].startswith("/sign-in/?next="), path


def test_a_board_left_open_asks_to_sign_in_when_the_session_ran_out(
    school: scanned.Labelled,
) -> None:
    answer = browser().get("/board/lines/", headers={"HX-Request": "true", "Referer": "/"})

    assert (answer.status_code, answer["HX-Redirect"]) == (401, "/")


@pytest.mark.parametrize("role", ["guide", "instructor", "keeper"])
def test_every_page_is_there_for_those_of_the_room(school: scanned.Labelled, role: str) -> None:
    client = browser(getattr(school.world, role))
    for path in EVERY_PAGE:
        answer = client.get(path)
        assert answer.status_code == 200, path
        assert "{{" not in answer.content.decode(), path


@pytest.mark.parametrize("role", ["adviser", "stranger"])
def test_others_get_each_page_or_a_sentence_with_what_to_do(
    school: scanned.Labelled, role: str
) -> None:
    client = browser(getattr(school.world, role))
    for path in EVERY_PAGE:
        answer = client.get(path)
        assert answer.status_code in (200, 403, 404), path
        if answer.status_code != 200:
            assert re.search(r"(Check|Ask) ", text_of(answer)), path


def test_another_rooms_kit_is_not_shown_but_may_be_handed_in(school: scanned.Labelled) -> None:
    client = browser(school.world.stranger)

    assert client.get("/kits/DAY-01/").status_code == 404
    page = client.get("/kits/DAY-01/hand-back/")
    assert page.status_code == 200
    assert "Sort later" in text_of(page)
    opened = text_of(client.get("/kits/DAY-01/hand-back/?opened=1&sharps=no"))
    assert "Wound dressing" not in opened
    post(client, "/kits/DAY-01/hand-back/", sharps="no")
    assert Entry.objects.get(kind="check-in").kit == school.world.day_01


def test_a_guide_sees_who_has_a_kit_and_undoes_their_own_acts_alone(
    school: scanned.Labelled,
) -> None:
    custody.check_out(make.act(school.world.keeper), school.world.day_01, person=school.world.guide)
    guide = browser(school.world.guide)

    assert "Gil has it" in text_of(guide.get("/kits/DAY-01/"))
    assert "Undo" not in text_of(guide.get("/scan/"))
    taken = Entry.objects.get(kind="check-out")
    assert post(guide, f"/undo/{taken.pk}/", to="/scan/").status_code == 403

    post(guide, "/scan/", text="DAY-01", intent="check-in")
    assert "Undo" in text_of(guide.get("/scan/"))
    post(guide, f"/undo/{Entry.objects.get(kind='check-in').pk}/", to="/scan/")
    assert Checkout.objects.get(in_at=None).person == school.world.guide


# --------------------------------------------------------------------------------------- signing in
def test_signing_in_leads_to_where_one_was_going(school: scanned.Labelled) -> None:
    present(school.world.guide.user).set_password("wet ropes hang to dry")
    present(school.world.guide.user).save()
    fields = {
        "username": present(school.world.guide.user).username,
        "password": "wet ropes hang to dry",
    }

    answer = browser().post("/sign-in/", {**fields, "to": "/kits/DAY-01/"})
    assert (answer.status_code, answer["Location"]) == (302, "/kits/DAY-01/")

    for elsewhere in ("https://elsewhere.example/", "//elsewhere.example/", "/\\elsewhere.example"):
        answer = browser().post("/sign-in/", {**fields, "to": elsewhere})
        assert answer["Location"] == "/"


def test_trying_passwords_is_slowed_down(school: scanned.Labelled) -> None:
    tries = [
        browser().post("/sign-in/", {"username": "Gil", "password": str(n)}).status_code
        for n in range(12)
    ]

    assert tries[0] == 403
    assert tries[-1] == 429


def test_a_form_from_elsewhere_is_refused_with_a_sentence(school: scanned.Labelled) -> None:
    client = browser(school.world.keeper, enforce_csrf_checks=True)

    answer = post(client, "/scan/", intent="check-out", text="DAY-01")

    assert answer.status_code == 403
    assert "has been open for too long" in text_of(answer)
    assert not Checkout.objects.exists()


def test_the_browser_may_run_nothing_that_is_not_ours(school: scanned.Labelled) -> None:
    client = browser(school.world.keeper)
    for path in (*EVERY_PAGE, "/nowhere/", "/api/v1/docs/", "/api/v1/kits/"):
        answer = client.get(path)
        policy = answer["Content-Security-Policy"]
        assert "default-src 'none'" in policy
        if not path.startswith("/scan/"):  # where the browser reads labels, in WebAssembly
            assert "unsafe" not in policy
        assert "unsafe" not in policy.replace("script-src 'self' 'wasm-unsafe-eval'", "")
        body = answer.content.decode()
        assert not re.search(r"<script(?![^>]*\bsrc=)", body), path
        assert not re.search(r"<[^>]+\s(style|on\w+)=", body), path


def test_what_is_not_there_is_said_in_a_sentence(school: scanned.Labelled) -> None:
    client = browser(school.world.guide)
    for path in ("/nowhere/", "/kits/NOT-THERE/", "/L/2222-2222"):
        answer = client.get(path)
        assert answer.status_code == 404
        sentences = ("This page does not exist", "There is no", "No label")
        assert any(sentence in text_of(answer) for sentence in sentences)


# ------------------------------------------------------------------------------------------- labels
def test_a_passer_by_sees_what_it_is_whose_and_how_to_return_it(school: scanned.Labelled) -> None:
    code = school.kit.code
    for path in (f"/L/{code}", f"/l/{code.lower()}/", f"/L/{code[:4]}-{code[4:]}/"):
        page = browser().get(path)
        assert page.status_code == 200
        assert "First aid kit DAY-01" in text_of(page)
        assert "Bring it to the Main store." in text_of(page)
        for secret in ("Wound dressing", "Gil", "Ready", "D1"):
            assert secret not in text_of(page)


def test_whoever_belongs_there_goes_to_the_thing(school: scanned.Labelled) -> None:
    client = browser(school.world.guide)

    assert client.get(f"/L/{school.kit.code}")["Location"] == "/kits/DAY-01/"
    assert client.get(f"/L/{school.pouch.code}")["Location"] == "/kits/DAY-01/"
    assert client.get(f"/L/{school.lot.code}")["Location"].startswith("/scan/?text=")
    assert browser(school.world.stranger).get(f"/L/{school.kit.code}").status_code == 200


@pytest.mark.parametrize("path", EVERY_PAGE)
def test_a_page_goes_out_without_the_indentation_of_its_templates(
    path: str, school: scanned.Labelled
) -> None:
    page = browser(school.world.keeper).get(path).content.decode()

    assert page.count("\n") > 20
    assert not re.search(r"^[ \t]+<", page, re.MULTILINE)
