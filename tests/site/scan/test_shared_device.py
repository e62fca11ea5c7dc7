"""A shared device at the hatch: whose it is, who stands before it, the PIN, and that it locks."""

from datetime import timedelta
from typing import Any
from urllib.parse import parse_qs, urlsplit

import pytest
import time_machine
from django.core.cache import cache
from django.test import Client
from django.utils import timezone

from gearroom.core.models import Device, Person, Token
from gearroom.core.rules.roles import SHARED_DEVICE, USE_CASES, Role
from gearroom.core.services.accounts import shared_devices
from kits.models import Checkout, Entry, Kit, ListLine, NotificationPreferences, WithheldKind
from kits.services.custody import use
from kits.services.custody.use import UseLine
from kits.services.kits import holds
from tests.kits import factories as make
from tests.labels.scan import scanned
from tests.present import present
from tests.site.browsing import browser, form_of, post, text_of

pytestmark = pytest.mark.django_db
PIN = "2580"


@pytest.fixture(autouse=True)
def _no_tries_yet() -> None:
    cache.clear()


@pytest.fixture
def school() -> scanned.Labelled:
    school = scanned.labelled()
    shared_devices.choose_pin(make.act(school.world.keeper), PIN)
    shared_devices.choose_pin(make.act(school.world.guide), PIN)
    return school


@pytest.fixture
def device(school: scanned.Labelled) -> Client:
    """The browser of a phone that the keeper made the hatch's."""
    client = browser(school.world.keeper)
    answer = client.post("/devices/", {"room": "main-store", "name": "Phone at the hatch"})
    assert answer["Location"] == "/scan/"
    return client


def named(client: Client, person: Person, **more: str) -> Any:
    return client.post("/hatch/", {"person": person.pk, "to": "/kits/", **more})


def confirmed(client: Client, pin: str = PIN, **more: Any) -> Any:
    return client.post("/hatch/pin/", {"pin": pin, "to": "/kits/", **more})


def act_in(asked: Any) -> dict[Any, Any]:
    """The act that waits, as the address says to which somebody was sent to say who they are."""
    return {"act": parse_qs(urlsplit(asked["Location"]).query)["act"][0]}


# --------------------------------------------------------------------------------- the device
def test_it_is_the_rooms_and_no_longer_its_keepers(
    school: scanned.Labelled, device: Client
) -> None:
    page = text_of(device.get("/scan/"))

    assert "Phone at the hatch (Main store)" in page
    assert "Nobody is selected" in page
    assert device.get("/kits/DAY-01/").status_code == 200
    assert "Labels" not in page and "Settings" not in page


def test_a_guide_makes_no_shared_device(school: scanned.Labelled) -> None:
    answer = browser(school.world.guide).post("/devices/", {"room": "main-store", "name": "Mine"})

    assert answer.status_code == 403
    assert not Device.objects.exists()


def test_it_stays_signed_in_for_months_and_ends_when_a_keeper_says_so(
    school: scanned.Labelled, device: Client
) -> None:
    with time_machine.travel(timezone.now() + timedelta(days=300)):
        assert device.get("/scan/").status_code == 200

    post(browser(school.world.keeper), f"/devices/{Device.objects.get().pk}/end/")

    assert device.get("/scan/")["Location"].startswith("/sign-in/")
    assert "Ended" in text_of(browser(school.world.keeper).get("/devices/"))


def test_another_rooms_keeper_neither_sees_nor_ends_it(
    school: scanned.Labelled, device: Client
) -> None:
    other = make.person("Olga", Role.KEEPER, school.world.hut)

    assert "Phone at the hatch" not in text_of(browser(other).get("/devices/"))
    assert post(browser(other), f"/devices/{Device.objects.get().pk}/end/").status_code == 404


def test_a_shared_device_is_nobody_who_could_have_a_kit(
    school: scanned.Labelled, device: Client
) -> None:
    assert "hatch" not in text_of(browser(school.world.keeper).get("/people/"))


# ------------------------------------------------------------------------------ without a name
def test_whoever_comes_takes_out_and_hands_back_without_saying_who_they_are(
    school: scanned.Labelled, device: Client
) -> None:
    fields = {"text": "DAY-01", "intent": "check-out", "holder": school.world.guide.pk}
    post(device, "/scan/", **fields)
    assert Checkout.objects.get(in_at=None).person == school.world.guide

    post(device, "/scan/", text="DAY-01", intent="check-in", as_found="sort-later")
    assert Entry.objects.get(kind="check-in").person == Device.objects.get().user.person


def test_whoever_sorts_is_asked_who_they_are_and_goes_on_where_they_were(
    school: scanned.Labelled, device: Client
) -> None:
    asked = device.get("/kits/DAY-01/sort/")
    assert asked["Location"] == "/hatch/?to=%2Fkits%2FDAY-01%2Fsort%2F"
    page = device.get(asked["Location"])
    assert "Gil" in text_of(page) and "Sam" not in text_of(page)

    there = named(device, school.world.guide, to="/kits/DAY-01/sort/")
    assert there["Location"] == "/kits/DAY-01/sort/"
    post(device, "/kits/DAY-01/sort/", **{"only-look": "1"})

    assert Kit.objects.get(name="DAY-01").looked_inside_by == school.world.guide


def test_a_tag_says_who_it_is(school: scanned.Labelled, device: Client) -> None:
    answer = device.post("/hatch/", {"tag": scanned.shown(school.tag), "to": "/kits/"})

    assert answer["Location"] == "/kits/"
    assert "under your name" in text_of(device.get("/scan/"))
    wrong = device.post("/hatch/", {"tag": scanned.shown(school.kit)})
    assert wrong.status_code == 422


def test_a_program_stands_before_no_device(school: scanned.Labelled, device: Client) -> None:
    make.person("Booking", Role.INTEGRATION)
    make.person("Counter", Role.INTEGRATION, school.world.store)

    page = text_of(device.get("/hatch/"))

    assert "Kim" in page and "Booking" not in page and "Counter" not in page


def test_nobody_of_another_room_can_be_chosen(school: scanned.Labelled, device: Client) -> None:
    answer = named(device, school.world.stranger)

    assert answer.status_code == 404
    assert "There is no person" in text_of(answer)
    assert "Sam" not in text_of(answer)


# ------------------------------------------------------------------------------------ the PIN
def test_a_keepers_act_needs_their_pin_and_is_done_with_it(
    school: scanned.Labelled, device: Client
) -> None:
    holds.withhold(make.act(), school.world.day_01, WithheldKind.DRYING)
    named(device, school.world.guide)
    assert "Checked: release the kit" not in text_of(device.get("/kits/DAY-01/"))
    named(device, school.world.keeper)
    form = form_of(device.get("/kits/DAY-01/"), "/kits/DAY-01/release/") | {"kind": "drying"}

    asked = post(device, "/kits/DAY-01/release/", **form)
    assert asked["Location"].startswith("/hatch/pin/")
    wrong = confirmed(device, "0000")
    assert wrong.status_code == 403
    assert "Wrong PIN" in text_of(wrong)
    assert not Entry.objects.filter(kind="release").exists()
    done = confirmed(device, **act_in(asked))  # the fifth tap, and nothing more

    assert done["Location"] == "/kits/DAY-01/"
    assert Entry.objects.get(kind="release").person == school.world.keeper


def test_an_act_that_waits_is_done_by_whoever_was_asked_and_by_nobody_after(
    school: scanned.Labelled, device: Client
) -> None:
    def sort() -> Any:
        return act_in(post(device, "/kits/DAY-01/sort/", **{"only-look": "1"}))

    sort()
    assert named(device, school.world.keeper)["Location"] == "/kits/"  # another's, who went away
    device.post("/hatch/lock/")
    waits = sort()
    device.post("/hatch/lock/")
    assert named(device, school.world.keeper, **waits)["Location"] == "/kits/"  # it is forgotten
    device.post("/hatch/lock/")
    waits = sort()
    with time_machine.travel(timezone.now() + timedelta(minutes=3)):
        assert named(device, school.world.keeper, **waits)["Location"] == "/kits/"  # and now too
    device.post("/hatch/lock/")
    assert Kit.objects.get(name="DAY-01").looked_inside_by != school.world.guide
    named(device, school.world.guide, **sort())

    assert Kit.objects.get(name="DAY-01").looked_inside_by == school.world.guide


def test_a_short_kit_goes_with_a_reason_and_a_keepers_pin(
    school: scanned.Labelled, device: Client
) -> None:
    world = school.world
    use.log_use(make.act(world.guide), world.day_01, [UseLine(world.dressing, 6)])
    ListLine.objects.filter(item=world.dressing).update(criticality="important")
    named(device, world.keeper)
    page = post(device, "/scan/", intent="check-out", text="DAY-01", holder=str(world.guide.pk))
    assert "Reason for taking the kit out although it is not ready" in text_of(page)
    why = {"short_reason": "an easy afternoon", "holder": str(world.guide.pk)}

    asked = post(device, "/scan/", intent="check-out", text="DAY-01", **why)
    assert asked["Location"].startswith("/hatch/pin/")
    done = confirmed(device, **act_in(asked))

    assert "Taken out" in text_of(done)
    assert Checkout.objects.get().short_reason == "an easy afternoon"


def test_a_guides_pin_makes_no_keeper_of_them(school: scanned.Labelled, device: Client) -> None:
    named(device, school.world.guide)
    confirmed(device)

    assert post(device, "/kits/DAY-01/release/", kind="drying").status_code == 403


def test_trying_pins_is_stopped_and_right_ones_do_not_count(
    school: scanned.Labelled, device: Client
) -> None:
    named(device, school.world.keeper)
    for _ in range(12):
        assert confirmed(device).status_code == 302
    tries = [confirmed(device, f"{n:04}").status_code for n in range(10)]

    assert tries == [403] * 8 + [429] * 2
    assert confirmed(device).status_code == 429


@pytest.mark.parametrize("pin", ["", "12", "12345", "abcd", "1111", "1234", "9876", "１２３５"])
def test_a_pin_is_four_digits_that_are_not_guessed_at_once(
    school: scanned.Labelled, pin: str
) -> None:
    answer = choose(browser(school.world.instructor), pin)

    assert answer.status_code == 400
    assert Person.objects.get(pk=school.world.instructor.pk).pin == ""


def choose(client: Client, pin: str, password: str = "wet ropes hang to dry") -> Any:
    user = client.session["_auth_user_id"]
    user = Person.objects.get(user=user).user
    present(user).set_password("wet ropes hang to dry")
    present(user).save()
    client.force_login(present(user))
    return client.post("/signed-in/pin/", {"pin": pin, "password": password})


def test_only_with_the_password_is_a_pin_chosen(school: scanned.Labelled) -> None:
    client = browser(school.world.instructor)

    assert choose(client, "1379", password="guessed it").status_code == 403
    assert choose(client, "1379").status_code == 302
    assert Person.objects.get(pk=school.world.instructor.pk).pin not in ("", "1379")


# ---------------------------------------------------------------------------------- it locks
def test_it_locks_after_two_minutes_that_nobody_touched_it(
    school: scanned.Labelled, device: Client
) -> None:
    start = timezone.now()
    with time_machine.travel(start, tick=False) as now:
        named(device, school.world.guide)
        now.shift(timedelta(minutes=1, seconds=59))
        assert device.get("/kits/DAY-01/sort/").status_code == 200
        now.shift(timedelta(minutes=1, seconds=59))
        assert device.get("/kits/DAY-01/sort/").status_code == 200
        now.shift(timedelta(minutes=2, seconds=1))
        assert device.get("/kits/DAY-01/sort/")["Location"].startswith("/hatch/?to=")


def test_a_board_that_refreshes_itself_does_not_keep_it_open(
    school: scanned.Labelled, device: Client
) -> None:
    with time_machine.travel(timezone.now(), tick=False) as now:
        named(device, school.world.guide)
        for _ in range(5):
            now.shift(timedelta(seconds=30))
            device.get("/board/lines/", headers={"HX-Request": "true"})
        assert device.get("/kits/DAY-01/sort/").status_code == 302


def test_it_is_locked_by_hand(school: scanned.Labelled, device: Client) -> None:
    named(device, school.world.guide)

    device.post("/hatch/lock/")

    assert device.get("/kits/DAY-01/sort/").status_code == 302


def test_whoever_left_is_nobody_there(school: scanned.Labelled, device: Client) -> None:
    named(device, school.world.guide)
    Person.objects.filter(pk=school.world.guide.pk).update(left_on=make.days(0))

    assert device.get("/kits/DAY-01/sort/").status_code == 302


# ------------------------------------------------------------- what is never done at the hatch
def test_nobodys_own_account_is_touched_there(school: scanned.Labelled, device: Client) -> None:
    keeper = school.world.keeper
    named(device, keeper)
    confirmed(device)

    for path in ("/settings/", "/notices/", "/notices/settings/", "/tokens/", "/signed-in/",
                 f"/people/{keeper.pk}/", "/devices/"):  # fmt: skip
        answer = device.get(path)
        assert answer.status_code == 403, path
        assert "your own device" in text_of(answer), path
    post(device, f"/people/{keeper.pk}/", name="Kim", email="thief@example.org")
    post(device, "/notices/settings/", weekly_on="1")
    post(device, "/tokens/", name="x", scope=["read"], days="30")
    device.post("/signed-in/pin/", {"pin": "1379", "password": ""})

    assert Person.objects.get(pk=keeper.pk).email == ""
    assert not NotificationPreferences.objects.exists() and not Token.objects.exists()


def test_the_api_knows_the_device_too(school: scanned.Labelled, device: Client) -> None:
    keeper = school.world.keeper
    named(device, keeper)

    made = device.post(
        "/api/v1/tokens/",
        {"name": "x", "scopes": ["read"]},
        content_type="application/json",
        headers={"Idempotency-Key": "7d0b4f0e-0a6e-4b1e-9d3c-1f2a3b4c5d61"},
    )
    assert (made.status_code, made.json()["code"]) == (403, "not-at-the-hatch")
    changed = device.patch(
        f"/api/v1/people/{keeper.pk}/",
        {"email": "thief@example.org"},
        content_type="application/json",
        headers={"Idempotency-Key": "7d0b4f0e-0a6e-4b1e-9d3c-1f2a3b4c5d62", "If-Match": "*"},
    )
    assert (changed.status_code, changed.json()["code"]) == (403, "not-at-the-hatch")
    assert Person.objects.get(pk=keeper.pk).email == ""
    assert device.get("/api/v1/kits/").status_code == 200
    assert not Token.objects.exists()


def test_only_a_keeper_with_their_pin_stops_it_being_shared(
    school: scanned.Labelled, device: Client
) -> None:
    assert device.post("/sign-out/")["Location"] == "/hatch/"
    assert device.post("/hatch/end/")["Location"].startswith("/hatch/?to=")
    named(device, school.world.guide)
    confirmed(device)
    assert device.post("/hatch/end/").status_code == 403

    named(device, school.world.keeper)
    confirmed(device)
    assert device.post("/hatch/end/")["Location"] == "/sign-in/"
    assert Device.objects.get().ended_at is not None
    assert device.get("/scan/").status_code == 302


def test_on_a_device_of_ones_own_nobody_is_asked(school: scanned.Labelled) -> None:
    client = browser(school.world.keeper)

    assert client.get("/hatch/")["Location"] == "/"
    assert client.post("/hatch/", {"person": school.world.guide.pk})["Location"] == "/"


def test_every_use_case_of_the_table_is_there_and_none_is_of_an_account() -> None:
    assert set(SHARED_DEVICE) <= set(USE_CASES)
    account = {"own_account", "own_tokens", "choose_notices", "edit_member", "edit_device"}
    assert not account & set(SHARED_DEVICE)
