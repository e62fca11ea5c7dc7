"""What one person's phone hands over to another's login: done once, as theirs, and only as they
signed it and as both of them may."""

import hashlib
import hmac
import json
import uuid
from typing import Any

import pytest

from gearroom.core.models import KeptAnswer, Membership, Person, User
from gearroom.core.services.accounts import handed_over
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


def signature(who: Person, path: str, body: dict[str, Any], ahead: int | None = None) -> str:
    """The header as a phone on which somebody signed in makes it."""
    facts = [who.pk, KEY, path, ahead, body]
    text = json.dumps(facts, ensure_ascii=False, separators=(",", ":"), sort_keys=True)
    secret = handed_over.signing_key(present(who.user))
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
