"""What one person's phone hands over to another's login: done once, as theirs, and only as they
signed it and as both of them may."""

import hashlib
import hmac
import json
import uuid
from datetime import timedelta
from typing import Any

import pytest
import time_machine
from django.contrib.sessions.models import Session
from django.test import Client
from django.utils import timezone

from gearroom.core.models import KeptAnswer, Membership, Person, SignedIn, User
from gearroom.core.services.accounts import sign_ins
from kits.models import Entry
from tests.core.api.made import is_problem
from tests.kits import factories as make
from tests.present import present
from tests.site.browsing import browser

pytestmark = [
    pytest.mark.django_db,
    pytest.mark.parametrize("engine", ["sqlite"], indirect=True),
]
KEY = "123e4567-e89b-42d3-a456-426614174000"
AT = "2026-11-01T10:00:00.000Z"


@pytest.fixture
def world() -> make.World:
    return make.world()


def phone_of(who: Person) -> Client:
    """A phone on which somebody just signed in."""
    phone = browser(who)
    sign_ins.note(present(who.user), phone.session.session_key or "", "Mobile", "")
    return phone


def signature(
    who: Person,
    path: str,
    body: dict[str, Any],
    ahead: int | None = None,
    phone: Client | None = None,
) -> str:
    """The header as a phone on which somebody signed in makes it."""
    secret = (phone or phone_of(who)).get("/offline/kits/").json()["signs"]
    facts = [who.pk, KEY, path, ahead, body]
    text = json.dumps(facts, ensure_ascii=False, separators=(",", ":"), sort_keys=True)
    signed = hmac.new(secret.encode(), text.encode(), hashlib.sha256).hexdigest()
    return f"{who.pk} {'-' if ahead is None else ahead} {signed}"


def sent(
    sender: Person, path: str, body: dict[str, Any], header: str | None = None, **more: Any
) -> Any:
    headers = {"Idempotency-Key": KEY, **({"Gearroom-Handed-Over": header} if header else {})}
    return browser(sender).post(
        path, {**body, **more}, content_type="application/json", headers=headers
    )


def used(world: make.World, units: int = 1) -> dict[str, Any]:
    return {
        "used": [{"item": world.dressing.pk, "units": units}],
        "occurred_at": AT,
        "reason": "a “cut”, Łódź",
    }


USE = "/api/v1/kits/DAY-01/use/"


def test_it_is_theirs_by_whoever_handed_it_over_and_done_once(world: make.World) -> None:
    body = used(world)
    header = signature(world.guide, USE, body)
    for sender in (world.keeper, world.instructor, world.guide):
        answer = sent(sender, USE, body, header, device_now="2026-11-02T10:00:00Z")
        assert answer.status_code == 201, answer.content
    assert sent(world.guide, USE, body)["Idempotency-Replayed"] == "true"  # their own phone

    [entry] = Entry.objects.filter(kind="use")
    assert (entry.person, entry.detail["handed_over_by"]) == (world.guide, world.keeper.pk)
    page = browser(world.keeper).get("/kits/DAY-01/history/").content.decode()
    assert "recorded by Gil, handed over by Kim" in page


def test_when_it_was_is_as_the_clock_that_timed_it_said_whatever_the_sender_claims(
    world: make.World,
) -> None:
    hour = 3600_000
    body = {**used(world), "occurred_at": "2026-11-01T10:00:00Z"}
    header = signature(world.guide, USE, body, ahead=hour)
    assert sent(world.keeper, USE, body, header, device_now="2030-01-01T00:00:00Z").status_code
    entry = Entry.objects.get(kind="use")
    assert entry.clock_offset_s == 3600
    assert present(entry.claimed_at).isoformat()[:16] == "2026-11-01T09:00"


@pytest.mark.parametrize("what", ["body", "path", "ahead", "person", "key", "stranger's"])
def test_what_was_changed_on_the_way_is_refused(
    world: make.World, what: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    body, path = used(world), USE
    header = signature(world.guide, USE, body)
    person, _, proof = header.split()
    match what:
        case "body":
            body = used(world, 2)
        case "path":
            path = "/api/v1/kits/DAY-02/use/"
        case "ahead":
            header = f"{person} 7000 {proof}"
        case "person":
            header = f"{world.instructor.pk} - {proof}"
        case "key":
            monkeypatch.setattr("tests.attacks.requests.test_handed_over.KEY", str(uuid.uuid4()))
        case _:
            header = f"999999 - {'0' * 64}"

    is_problem(sent(world.keeper, path, body, header), 403, "handed-over-refused")
    assert not Entry.objects.filter(kind="use").exists()
    assert not KeptAnswer.objects.exists()


@pytest.mark.parametrize(
    "header", ["x", "1 - 12", "1 - " + "g" * 64, "1 " + "9" * 14 + " " + "0" * 64]
)
def test_a_header_of_another_form_is_malformed(world: make.World, header: str) -> None:
    is_problem(sent(world.keeper, USE, used(world), header), 400, "malformed-headers")


def test_it_ends_with_the_password_and_with_the_login(world: make.World) -> None:
    body = used(world)
    header = signature(world.guide, USE, body)
    user = present(world.guide.user)
    user.set_password("another one entirely")
    user.save()
    is_problem(sent(world.keeper, USE, body, header), 403, "handed-over-refused")
    header = signature(world.guide, USE, body)
    User.objects.filter(pk=user.pk).update(is_active=False)
    is_problem(sent(world.keeper, USE, body, header), 403, "handed-over-refused")


def handed(world: make.World, header: str, **more: Any) -> Any:
    """What comes of it where the keeper sends what the guide used."""
    return sent(world.keeper, USE, {**used(world), **more}, header)


def at(minutes: int) -> str:
    """So many minutes from now, as a phone writes it."""
    return f"{timezone.now() + timedelta(minutes=minutes):%Y-%m-%dT%H:%M:%S.000}Z"


def test_a_phone_that_was_signed_out_from_elsewhere_has_signed_nothing(world: make.World) -> None:
    lost, other = phone_of(world.guide), phone_of(world.guide)
    body = {**used(world), "occurred_at": at(-60)}
    header = signature(world.guide, USE, body, phone=lost)
    row = SignedIn.objects.get(session_key=lost.session.session_key)

    other.post(f"/signed-in/{row.pk}/end/", {"key": str(uuid.uuid4())})

    is_problem(handed(world, header, occurred_at=body["occurred_at"]), 403, "handed-over-refused")
    by_the_other = signature(world.guide, USE, body, phone=other)
    assert handed(world, by_the_other, occurred_at=body["occurred_at"]).status_code == 201


@pytest.mark.parametrize(("minutes", "status"), [(-60, 201), (1, 403)])
def test_whoever_signs_out_on_the_phone_leaves_what_it_signed_before(
    world: make.World, minutes: int, status: int
) -> None:
    phone, when = phone_of(world.guide), at(minutes)
    header = signature(world.guide, USE, {**used(world), "occurred_at": when}, phone=phone)

    phone.post("/sign-out/")

    assert handed(world, header, occurred_at=when).status_code == status
    own = sent(world.guide, USE, {**used(world), "occurred_at": when})
    assert own.status_code == 201  # sent by their own next login, it is never lost


def test_a_phone_whose_clock_is_ahead_signed_before_it_was_signed_out(world: make.World) -> None:
    phone, when = phone_of(world.guide), at(30)
    body = {**used(world), "occurred_at": when}
    header = signature(world.guide, USE, body, ahead=3600_000, phone=phone)

    phone.post("/sign-out/")

    assert handed(world, header, occurred_at=when).status_code == 201


@pytest.mark.parametrize(("days", "status"), [(30, 201), (32, 403)])
def test_a_month_after_signing_out_it_is_sent_by_whoever_did_it(
    world: make.World, days: int, status: int
) -> None:
    phone, when = phone_of(world.guide), at(-60)
    header = signature(world.guide, USE, {**used(world), "occurred_at": when}, phone=phone)
    phone.post("/sign-out/")

    with time_machine.travel(timezone.now() + timedelta(days=days), tick=False):
        assert handed(world, header, occurred_at=when).status_code == status
        sign_ins.note(present(world.guide.user), "another", "Mobile", "")
        assert SignedIn.objects.exclude(ended_at=None).exists() == (status == 201)


def test_a_login_that_ran_out_signed_until_then(world: make.World) -> None:
    phone = phone_of(world.guide)
    before, after = at(-60), at(15 * 24 * 60)
    by = {
        when: signature(world.guide, USE, {**used(world), "occurred_at": when}, phone=phone)
        for when in (before, after)
    }
    with time_machine.travel(timezone.now() + timedelta(days=16), tick=False):
        Session.objects.filter(session_key=phone.session.session_key).delete()
        is_problem(handed(world, by[after], occurred_at=after), 403, "handed-over-refused")
        assert handed(world, by[before], occurred_at=before).status_code == 201


def test_whoever_left_and_whoever_got_another_password_signed_nothing(world: make.World) -> None:
    header = signature(world.guide, USE, used(world))
    sign_ins.end_everywhere(present(world.guide.user), timezone.now())

    is_problem(handed(world, header), 403, "handed-over-refused")


@pytest.mark.parametrize("when", ["", "yesterday", "2026-11-01T10:00:00", None, 7])
def test_what_says_no_time_was_signed_by_nobody(world: make.World, when: Any) -> None:
    body = {**used(world), "occurred_at": when}
    header = signature(world.guide, USE, body)

    assert handed(world, header, occurred_at=when).status_code in (400, 403)
    assert not Entry.objects.filter(kind="use").exists()


def test_only_what_both_may_do_is_done(world: make.World) -> None:
    seal = "/api/v1/kits/DAY-01/reseal/"
    body = {"seal": "0417", "anyway": True}
    role = Membership.objects.filter(person=world.guide)
    by_keeper, by_guide = signature(world.keeper, seal, body), signature(world.guide, seal, body)

    # A stranger of another room carries what a keeper did: it is not theirs to send.
    assert sent(world.stranger, seal, body, by_keeper).status_code in (403, 404)
    # Whoever has no role any more did nothing, whoever carries it.
    role.delete()
    assert sent(world.keeper, seal, body, by_guide).status_code in (403, 404)
    assert not Entry.objects.filter(kind="reseal").exists()
    answer = sent(world.instructor, seal, body, by_keeper)
    assert answer.status_code == 201, answer.content


def test_nothing_else_can_be_handed_over(world: make.World) -> None:
    path, body = "/api/v1/kits/DAY-01/withhold/", {"why": "drying"}
    header = signature(world.keeper, path, body)
    is_problem(sent(world.keeper, path, body, header), 403, "handed-over-refused")


def test_a_program_with_a_token_hands_over_only_what_its_scopes_allow(world: make.World) -> None:
    body = used(world)
    header = signature(world.guide, USE, body)
    call = make.caller(world.keeper)
    answer = call.post("kits/DAY-01/use/", body, idempotency_key=KEY, gearroom_handed_over=header)
    assert answer.status_code == 201, answer.content
