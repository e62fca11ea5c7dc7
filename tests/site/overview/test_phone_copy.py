"""What phones keep for when there is no network: where it is served from, and what it may hold."""

import gzip
import json
import re
import uuid
from collections.abc import Callable
from datetime import timedelta
from typing import Any
from urllib.parse import urljoin

import pytest
import time_machine
from django.test import Client
from django.utils import timezone
from pytest_django import DjangoAssertNumQueries

from gearroom.core.models import Membership, Person
from gearroom.core.rules.roles import Role
from gearroom.core.services.people import rooms
from gearroom.site.web.overview import phone_copy
from kits.models import Checkout, WithheldKind
from kits.services.custody import custody, use
from kits.services.kits import holds, kits
from kits.services.ledger import readiness, verdicts
from kits.services.restocking import sealing
from kits.services.stock import catalogue
from kits.services.text import verdict_texts
from kits.services.trips import reservations
from tests.kits import factories as make
from tests.labels.scan import scanned
from tests.present import present
from tests.site.browsing import PAGES_ON_SQLITE

pytestmark = PAGES_ON_SQLITE


@pytest.fixture
def school() -> scanned.Labelled:
    return scanned.labelled()


def browser(person: Person | None = None, **more: Any) -> Client:
    client = Client(**more)
    if person is not None:
        client.force_login(present(person.user))
    return client


# ------------------------------------------------------------------------- reading in the browser
def test_only_the_scan_page_may_run_webassembly(school: scanned.Labelled) -> None:
    client = browser(school.world.keeper)

    assert "'wasm-unsafe-eval'" in client.get("/scan/")["Content-Security-Policy"]
    for path in ("/", "/kits/", "/kits/DAY-01/", "/sign-in/", "/api/v1/kits/"):
        assert "wasm" not in client.get(path)["Content-Security-Policy"], path


def test_the_reader_comes_from_our_own_host_where_npm_has_put_it(
    school: scanned.Labelled, need: Callable[[str], str]
) -> None:
    need("barcode-detector")
    page = browser(school.world.guide).get("/scan/").content.decode()

    assert 'data-reader="/static/reading/"' in page
    for name in ("ponyfill.js", "zxing_reader.wasm"):
        assert browser().get(f"/static/reading/{name}").status_code == 200, name


def test_scripts_go_over_the_wire_compressed_and_pages_do_not(school: scanned.Labelled) -> None:
    accepts = {"Accept-Encoding": "gzip"}
    script = browser().get("/static/site/scripts/scan.js", headers=accepts)

    assert script["Content-Encoding"] == "gzip"
    assert (
        gzip.decompress(script.getvalue())
        == browser().get("/static/site/scripts/scan.js").getvalue()
    )
    for path in ("/scan/", "/api/v1/kits/"):
        answer = browser(school.world.keeper).get(path, headers=accepts)
        assert not answer.has_header("Content-Encoding"), path


# -------------------------------------------------------------------------------- what phones keep
def test_the_page_that_is_kept_is_the_same_for_everybody_and_holds_nothing_of_anybodys(
    school: scanned.Labelled,
) -> None:
    page = browser().get("/offline/")
    assert page.status_code == 200
    for somebody in (school.world.keeper, school.world.stranger):
        assert browser(somebody).get("/offline/").content == page.content
    for secret in ("csrfmiddlewaretoken", "DAY-01", "Kim"):
        assert secret not in page.content.decode()
    assert "'wasm-unsafe-eval'" in page["Content-Security-Policy"]


def test_the_worker_keeps_every_file_that_the_page_needs(school: scanned.Labelled) -> None:
    worker = browser().get("/worker.js")
    assert worker["Content-Type"] == "text/javascript"
    kept = set(
        json.loads(present(re.search(r"const FACTS = (\{.*\});", worker.content.decode()))[1])[
            "files"
        ]
    )
    page = browser().get("/offline/").content.decode()
    needed = set(re.findall(r'(?:src|href)="(/static/site/[^"]+\.(?:js|css|svg))"', page))
    for path in sorted(needed | kept):
        answer = browser().get(path)
        assert answer.status_code == 200, path
        if path.endswith(".js"):
            script = answer.getvalue().decode()
            needed |= {urljoin(path, name) for name in re.findall(r'"(\.\.?/[\w/-]+\.js)"', script)}

    assert needed <= kept


def test_a_browser_takes_a_new_worker_when_a_file_that_it_keeps_has_changed(
    school: scanned.Labelled, monkeypatch: pytest.MonkeyPatch
) -> None:
    before = phone_copy.version("en-gb")
    text = phone_copy._text
    phone_copy.version.cache_clear()
    changed = "site/offline/page.js"
    monkeypatch.setattr(phone_copy, "_text", lambda name: text(name) + " " * (name == changed))

    assert phone_copy.version("en-gb") != before
    phone_copy.version.cache_clear()


def test_it_is_put_on_a_phones_home_screen_with_its_own_icons(school: scanned.Labelled) -> None:
    manifest = browser().get("/app.webmanifest")
    told = json.loads(manifest.content)

    assert manifest["Content-Type"] == "application/manifest+json"
    assert (told["start_url"], told["scope"], told["display"]) == ("/scan/", "/", "standalone")
    for icon in told["icons"]:
        assert browser().get(icon["src"]).status_code == 200, icon
    assert 'rel="manifest"' in browser(school.world.guide).get("/scan/").content.decode()


def test_whoever_is_signed_in_may_send_what_they_wrote_down(school: scanned.Labelled) -> None:
    assert browser().get("/offline/ready/").status_code == 401

    told = browser(school.world.guide).get("/offline/ready/").json()

    assert (told["person"], told["name"]) == (school.world.guide.pk, "Gil")
    client = browser(school.world.guide, enforce_csrf_checks=True)
    token = client.get("/offline/ready/").json()["csrf"]
    answer = client.post(
        "/api/v1/kits/DAY-01/check-out/",
        {"already_gone": True, "person": str(school.world.guide.pk)},
        content_type="application/json",
        headers={"Idempotency-Key": str(uuid.uuid4()), "X-CSRFToken": token},
    )
    assert answer.status_code == 201
    assert Checkout.objects.get(in_at=None).person == school.world.guide


def test_a_kit_passed_on_that_was_never_taken_out_is_said_to_be_irregular(
    school: scanned.Labelled,
) -> None:
    answer = browser(school.world.guide).post(
        "/api/v1/kits/DAY-01/pass/",
        {"person": str(school.world.instructor.pk)},
        content_type="application/json",
        headers={"Idempotency-Key": str(uuid.uuid4())},
    )

    assert "was-not-taken-out" in answer.json()["entry"]["irregular"]


def test_what_is_sent_again_later_is_still_the_same_act(school: scanned.Labelled) -> None:
    client, key = browser(school.world.keeper), str(uuid.uuid4())
    done_at = timezone.now() - timedelta(hours=3)
    told = {"already_gone": True, "occurred_at": done_at.isoformat()}

    answers = [
        client.post(
            "/api/v1/kits/DAY-01/check-out/",
            {**told, "device_now": (timezone.now() + timedelta(hours=hours)).isoformat()},
            content_type="application/json",
            headers={"Idempotency-Key": key},
        )
        for hours in (0, 5)
    ]

    assert [answer.status_code for answer in answers] == [201, 201]
    assert answers[1]["Idempotency-Replayed"] == "true"
    assert Checkout.objects.count() == 1


def test_a_phone_keeps_the_kits_of_its_persons_rooms_with_what_is_inside(
    school: scanned.Labelled,
) -> None:
    world = school.world
    sealing.reseal(make.act(), world.day_01, "0417")
    custody.check_out(make.act(), world.day_01, person=world.guide)
    book = browser(world.keeper).get("/offline/kits/").json()

    (kit,) = [each for each in book["kits"] if each["name"] == "DAY-01"]
    assert kit["out"]["name"] == "Gil"
    assert kit["seal"] == "0417"
    assert [world.dressing.pk, world.dressings.pk, 6] in kit["sections"][0]["lines"]
    assert book["things"][str(world.dressing.pk)]["name"] == world.dressing.name
    assert book["batches"][str(world.dressings.pk)]["until"] == make.days(400).isoformat()
    assert book["labels"][school.kit.code] == ["kit", "DAY-01"]
    assert book["labels"][school.pouch.code] == ["kit", "DAY-01"]
    assert book["labels"][school.tag.code] == ["person", world.guide.pk]
    assert book["labels"][school.lot.code] == ["batch", world.dressings.pk]
    assert school.blank.code not in book["labels"]


def test_a_phone_keeps_how_each_kit_stands_on_the_days_to_come(school: scanned.Labelled) -> None:
    world = school.world
    gorge = make.trip("Gorge", world.store, first=9, last=12)
    reservations.reserve(make.act(world.keeper), world.day_01, gorge)

    book = browser(world.guide).get("/offline/kits/").json()

    assert book["judged_until"] == make.days(34).isoformat()
    (kit,) = [each for each in book["kits"] if each["name"] == "DAY-01"]
    assert kit["first_expiry"] == present(make.fresh(world.day_01).first_expiry).isoformat()
    for n in range(35):
        day = make.days(n)
        (said,) = [each for each in kit["verdicts"] if each["from"] <= day.isoformat()][-1:]
        with time_machine.travel(timezone.now() + timedelta(days=n), tick=True):
            judged = verdicts.judged_one(world.day_01)
        trip = judged.question.trip
        assert said["verdict"] == judged.verdict.word, day
        assert said["text"] == verdict_texts.verdict(judged.verdict), day
        assert max(said["through"], day.isoformat()) == judged.question.through.isoformat(), day
        assert (said["trip"], said["trip_name"]) == (
            (trip.pk, trip.name) if trip else (None, "")
        ), day
    assert [each["trip_name"] for each in kit["verdicts"]] == ["", "Gorge", ""]


def test_a_phone_keeps_nothing_of_rooms_that_are_not_its_persons(school: scanned.Labelled) -> None:
    type(school.world.guide).objects.filter(pk=school.world.guide.pk).update(phone="01632 960111")
    custody.check_out(make.act(), school.world.day_01, person=school.world.guide)

    stranger = browser(school.world.stranger).get("/offline/kits/")
    adviser = browser(school.world.adviser).get("/offline/kits/")

    assert stranger.json()["kits"] == []
    assert school.kit.code not in stranger.json()["labels"]
    assert "Gil" not in stranger.content.decode()
    assert adviser.json()["people"] == []
    assert "01632 960111" not in adviser.content.decode()
    assert "01632 960111" in browser(school.world.keeper).get("/offline/kits/").content.decode()
    assert browser().get("/offline/kits/").status_code == 401


def test_kits_that_have_not_changed_are_not_sent_again(school: scanned.Labelled) -> None:
    client = browser(school.world.guide)
    tag = client.get("/offline/kits/")["ETag"]

    assert client.get("/offline/kits/", headers={"If-None-Match": tag}).status_code == 304
    custody.check_out(make.act(), school.world.day_01, person=school.world.guide)
    assert client.get("/offline/kits/", headers={"If-None-Match": tag}).status_code == 200


def lose_their_role(world: Any) -> None:
    Membership.objects.filter(person=world.guide).update(role=Role.ADVISER.value)


def be_renamed(world: Any) -> None:
    type(world.instructor).objects.filter(pk=world.instructor.pk).update(name="Ines Hall")


CHANGES: dict[str, Callable[[make.World], object]] = {
    "a kit goes out": lambda w: custody.check_out(make.act(), w.day_01, person=w.guide),
    "something is used": lambda w: use.log_use(make.act(), w.day_01, [use.UseLine(w.dressing, 1)]),
    "a seal": lambda w: sealing.reseal(make.act(), w.day_01, "0417"),
    "a kit on hold": lambda w: holds.withhold(make.act(), w.day_01, WithheldKind.DRYING),
    "a kit's name": lambda w: kits.edit_kit(make.act(), w.day_01, name="DAY-91"),
    "a trip": lambda w: reservations.reserve(make.act(), w.day_01, make.trip("Gorge", w.store)),
    "somebody's name": be_renamed,
    "their own rights": lose_their_role,
    "a label": lambda w: scanned.label(w.day_02),
    "a room's rule": lambda w: rooms.edit(make.act(), w.store, expired_always_stops=True),
    "a room's name": lambda w: rooms.edit(make.act(), w.store, name="Upper store"),
    "somebody else's role": lambda w: Membership.objects.filter(person=w.instructor).delete(),
    "an item's name": lambda w: catalogue.edit_item(make.act(), w.dressing, name="Pad"),
    "the list's signature": lambda w: readiness.rewrite(
        w.version.kits.values_list("pk", flat=True)
    ),
}


@pytest.mark.parametrize("change", CHANGES)
def test_whatever_changes_on_a_phone_is_sent_again(school: scanned.Labelled, change: str) -> None:
    client = browser(school.world.guide)
    before = client.get("/offline/kits/")

    CHANGES[change](school.world)

    again = client.get("/offline/kits/", headers={"If-None-Match": before["ETag"]})
    assert (again.status_code, again["ETag"] != before["ETag"]) == (200, True)


def test_a_new_day_is_sent_again(school: scanned.Labelled) -> None:
    client = browser(school.world.guide)
    before = client.get("/offline/kits/")

    with time_machine.travel(timezone.now() + timedelta(days=1), tick=False):
        again = client.get("/offline/kits/", headers={"If-None-Match": before["ETag"]})

    assert (again.status_code, again.content != before.content) == (200, True)


def test_a_trip_that_ends_is_sent_again(school: scanned.Labelled) -> None:
    world = school.world
    with time_machine.travel(timezone.now().replace(hour=9), tick=False):
        trip = make.trip("Hill day", world.store, 0, 0)
        reservations.reserve(make.act(), world.day_01, trip)
        ends = timezone.now() + timedelta(hours=2)
        type(trip).objects.filter(pk=trip.pk).update(returns_at=ends)
        before = browser(world.guide).get("/offline/kits/")

    with time_machine.travel(timezone.now().replace(hour=12), tick=False):
        again = browser(world.guide).get(
            "/offline/kits/", headers={"If-None-Match": before["ETag"]}
        )

    assert (again.status_code, again.content != before.content) == (200, True)


def test_a_phone_that_has_the_kits_costs_a_few_queries(
    school: scanned.Labelled, django_assert_max_num_queries: DjangoAssertNumQueries
) -> None:
    client = browser(school.world.keeper)
    headers = {"If-None-Match": client.get("/offline/kits/")["ETag"]}

    with django_assert_max_num_queries(17):
        assert client.get("/offline/kits/", headers=headers).status_code == 304


def test_the_database_is_asked_as_much_for_many_kits_as_for_few(
    school: scanned.Labelled, django_assert_max_num_queries: DjangoAssertNumQueries
) -> None:
    for number in range(3, 9):
        made = make.kit(f"DAY-{number:02}", school.world.version, school.world.store)
        scanned.label(made)
    client = browser(school.world.keeper)

    with django_assert_max_num_queries(50):
        book = client.get("/offline/kits/").json()

    assert len(book["kits"]) >= 7


def test_a_phone_knows_who_may_check_a_kit_and_whether_it_lacks_something(
    school: scanned.Labelled,
) -> None:
    def kits_of(person: Person) -> dict[Any, Any]:
        kits = browser(person).get("/offline/kits/").json()["kits"]
        return {kit["name"]: (kit["may_check"], kit["lacks"]) for kit in kits}

    assert kits_of(school.world.guide)["DAY-01"] == (True, False)
    assert kits_of(school.world.guide)["DAY-02"] == (True, True)
    assert kits_of(school.world.adviser)["DAY-01"] == (False, False)
