"""Texts posted to the scan door: strict bodies, keys, statuses, and what rooms may see."""

import uuid
from typing import Any

import pytest
from django.core.cache import cache

from gearroom.core.acts import Act, actor_of
from gearroom.core.acts.key_locks import locked_transaction
from gearroom.core.models import KeptAnswer, User
from gearroom.core.problem_codes import KINDS
from gearroom.core.rules.roles import Scope
from kits.models import Checkout, Movement
from kits.services.custody import custody
from labels.models import Scan
from tests.core.api.made import Caller
from tests.kits import factories as make
from tests.labels.scan import scanned as at
from tests.present import present

pytestmark = [
    pytest.mark.django_db,
    # Doors: what they write is tried on both engines with the services.
    pytest.mark.parametrize("engine", ["sqlite"], indirect=True),
]


@pytest.fixture
def labels() -> at.Labelled:
    cache.clear()
    return at.labelled()


@pytest.fixture
def keeper(labels: at.Labelled) -> Caller:
    return make.caller(labels.world.keeper)


def test_one_text_takes_a_kit_out_and_the_answer_says_all_of_it(
    labels: at.Labelled, keeper: Caller
) -> None:
    key = str(uuid.uuid4())
    answer = keeper.post(
        "scans/",
        {"text": labels.kit.code, "intent": "check-out", "holder": labels.tag.code},
        idempotency_key=key,
    )
    assert answer.status_code == 201
    body = answer.json()
    assert (body["scan_id"], body["intent"]) == (key, "check-out")
    (outcome,) = body["outcomes"]
    assert outcome["outcome"] == "taken-out"
    assert outcome["kit"]["has_it"] == "Gil"
    assert outcome["entry"]["kind"] == "check-out"
    (undo,) = outcome["next"]
    assert undo["url"] == f"/api/v1/entries/{outcome['entry']['id']}/reverse/"


def test_the_holder_may_be_the_tags_text_as_it_was_scanned(
    labels: at.Labelled, keeper: Caller
) -> None:
    tag = f"HTTPS://GEAR.UMBERFELL.EXAMPLE/L/{labels.tag.code}\r\n"
    said = {"text": labels.kit.code, "intent": "check-out", "holder": tag}
    assert keeper.post("scans/", said).status_code == 201
    assert Checkout.objects.get().person == labels.world.guide


def test_a_single_refusal_is_the_answer_with_its_status_and_the_ways_on(
    labels: at.Labelled, keeper: Caller
) -> None:
    world = labels.world
    custody.check_out(make.act(), world.day_01, person=world.guide)
    said = {"text": labels.kit.code, "intent": "check-out", "holder": str(world.instructor.pk)}
    answer = keeper.post("scans/", said)
    assert answer.status_code == 409
    assert answer.headers["Content-Type"] == "application/problem+json"
    body = answer.json()
    assert (body["code"], body["person_name"]) == ("kit-is-out", "Gil")
    assert [step["do"] for step in body["outcomes"][0]["next"]] == [
        "check-in", "check-in", "check-out",
    ]  # fmt: skip
    assert Scan.objects.get().outcome == "kit-is-out"


def test_several_are_answered_together_and_each_says_its_own(
    labels: at.Labelled, keeper: Caller
) -> None:
    texts = [labels.kit.code, labels.lot.code, "https://example.org"]
    answer = keeper.post("scans/", {"texts": texts, "intent": "check-in"})
    assert answer.status_code == 201
    told = [(each["outcome"], each["problem"] and each["problem"]["status"])
            for each in answer.json()["outcomes"]]  # fmt: skip
    assert told == [("handed-back", None), ("not-a-kit", 422), ("not-ours", 422)]
    answer = keeper.post("scans/", {"texts": texts[1:], "intent": "check-in"})
    assert answer.status_code == 200


def test_a_scan_sent_again_is_done_once(labels: at.Labelled, keeper: Caller) -> None:
    key = str(uuid.uuid4())
    said = {"scan_id": key, "text": labels.kit.code, "intent": "check-in"}
    first = keeper.post("scans/", said, idempotency_key=None)
    again = keeper.post("scans/", said, idempotency_key=None)
    assert first.status_code == again.status_code == 201
    assert first.json() == again.json()
    assert Scan.objects.count() == 1


def test_a_refusal_sent_again_is_the_first_answer(labels: at.Labelled, keeper: Caller) -> None:
    key = str(uuid.uuid4())
    said = {"text": at.wrong(labels.kit.code), "intent": "check-in"}
    first = keeper.post("scans/", said, idempotency_key=key)
    again = keeper.post("scans/", said, idempotency_key=key)
    assert first.status_code == again.status_code == 422
    assert again.headers["Idempotency-Replayed"] == "true"
    assert first.json().items() <= again.json().items()


def test_the_same_key_with_another_text_is_refused(labels: at.Labelled, keeper: Caller) -> None:
    key = str(uuid.uuid4())
    said = {"intent": "check-in"}
    keeper.post("scans/", {"text": labels.kit.code, **said}, idempotency_key=key)
    answer = keeper.post("scans/", {"text": labels.lot.code, **said}, idempotency_key=key)
    assert (answer.status_code, answer.json()["code"]) == (422, "key-reused")


# On PostgreSQL a claim is the connection's, which this test has but one of.
def test_a_scan_in_flight_is_not_done_twice(labels: at.Labelled, keeper: Caller) -> None:
    key = uuid.uuid4()
    with locked_transaction(key):
        answer = keeper.post("scans/", {"text": labels.kit.code}, idempotency_key=str(key))
    assert (answer.status_code, answer.json()["code"]) == (409, "in-flight")
    assert answer.headers["Retry-After"]


def test_only_identifying_goes_without_a_key(labels: at.Labelled, keeper: Caller) -> None:
    assert keeper.post("scans/", {"text": "DAY-01"}, idempotency_key=None).status_code == 200
    answer = keeper.post("scans/", {"text": "DAY-01", "intent": "check-in"}, idempotency_key=None)
    assert (answer.status_code, answer.json()["code"]) == (400, "key-missing")


def test_identifying_stores_that_it_was_read_and_without_a_key_nothing(
    labels: at.Labelled, keeper: Caller
) -> None:
    for said in ({"text": "DAY-01"}, {"texts": ["nothing of ours", labels.tag.code]}):
        assert keeper.post("scans/", said, idempotency_key=None).status_code == 200
    refusal = keeper.post("scans/", {"text": "nothing of ours"}, idempotency_key=None)
    assert (refusal.status_code, refusal.json()["code"]) == (422, "not-ours")
    wrong = keeper.post("scans/", {"text": "DAY-01", "colour": "red"}, idempotency_key=None)
    assert wrong.status_code == 400
    assert (Scan.objects.count(), KeptAnswer.objects.count()) == (0, 0)
    keeper.post("scans/", {"text": "DAY-01"})
    assert (Scan.objects.count(), KeptAnswer.objects.count()) == (1, 0)


def test_a_short_name_is_the_only_kit_it_fits_and_else_the_choices_are_offered(
    labels: at.Labelled, keeper: Caller
) -> None:
    world = labels.world
    make.kit("GROUP-01", world.version, world.store)
    (found,) = keeper.post("scans/", {"text": "d 1"}).json()["outcomes"]
    assert (found["means"], found["kit"]["name"]) == ("kit", "DAY-01")
    answer = keeper.post("scans/", {"text": "1", "intent": "check-in"}).json()
    assert (answer["code"], answer["kits"]) == ("which-kit", ["DAY-01", "GROUP-01"])
    ways = [step["fields"]["text"] for step in answer["outcomes"][0]["next"]]
    assert ways == ["DAY-01", "GROUP-01"]
    assert keeper.get("kits/d1/").json()["name"] == "DAY-01"
    assert keeper.get("kits/1/").json()["code"] == "which-kit"
    assert [row["name"] for row in keeper.get("kits/?search=d1").json()["results"]] == ["DAY-01"]
    stranger = make.caller(world.stranger)
    assert stranger.get("kits/d1/").status_code == 404
    assert stranger.post("kits/d1/check-in/").status_code == 404
    assert keeper.post("kits/d1/check-in/").status_code == 200


def test_two_different_keys_are_refused(labels: at.Labelled, keeper: Caller) -> None:
    said = {"text": "DAY-01", "scan_id": str(uuid.uuid4())}
    answer = keeper.post("scans/", said)
    assert (answer.status_code, list(answer.json()["errors"])) == (422, ["scan_id"])


@pytest.mark.parametrize(
    "body",
    [
        {},
        {"text": "DAY-01", "texts": ["DAY-01"]},
        {"texts": []},
        {"texts": ["DAY-01"] * 101},
        {"text": 1},
        {"text": "x" * 8001},
        {"text": "DAY-01", "colour": "red"},
        {"text": "DAY-01", "intent": "steal"},
        {"text": "DAY-01", "swap": "true"},
        {"text": "DAY-01", "scan_id": "one"},
        {"text": "DAY-01", "used": [{"units": 1}]},
        {"text": "DAY-01", "used": [{"item": 1, "units": 1.5}]},
        {"text": "DAY-01", "used": [{"item": 1, "units": -1}]},
        {"text": "DAY-01", "used": [{"item": 1, "units": 0}]},
        {"text": "DAY-01", "used": [{"item": 1, "units": 10**12}]},
        {"text": "DAY-01", "used": [{"item": "1", "units": 1}]},
        {"text": "DAY-01", "due_at": "tomorrow"},
        {"text": "DAY-01", "as_found": "lost"},
        {"image": "not a file", "text": "DAY-01"},
    ],
)
def test_a_wrong_body_is_refused_and_changes_nothing(
    labels: at.Labelled, keeper: Caller, body: Any
) -> None:
    answer = keeper.post("scans/", body)
    assert answer.status_code == 400, answer.json()
    assert answer.json()["errors"]
    assert not Scan.objects.exists()


def test_a_nul_in_a_text_is_refused(labels: at.Labelled, keeper: Caller) -> None:
    answer = keeper.post("scans/", b'{"text": "DAY\\u0000"}')
    assert (answer.status_code, answer.json()["code"]) == (400, "malformed-body")


def test_separators_of_a_scanner_are_part_of_the_text(labels: at.Labelled, keeper: Caller) -> None:
    text = "01095012345678911728103110D3\x1d21S1\r\n"
    answer = keeper.post("scans/", {"text": text, "intent": "receive"})
    assert answer.status_code == 200
    (outcome,) = answer.json()["outcomes"]
    assert [pack["number"] for pack in outcome["packs"]] == ["D3"]
    assert outcome["next"][0]["do"] == "add-item"


def test_use_of_a_batch_of_another_thing_is_refused_and_the_kit_stays_out(
    labels: at.Labelled, keeper: Caller
) -> None:
    world = labels.world
    custody.check_out(make.act(), world.day_01, person=world.guide)
    used = [{"label": labels.lot.code, "item": world.tablets.pk, "units": 1}]
    answer = keeper.post("scans/", {"text": labels.kit.code, "intent": "check-in", "used": used})
    assert answer.status_code == 422
    assert Checkout.objects.get().in_at is None
    assert not Movement.objects.filter(to_place__kind="used").exists()


# ----------------------------------------------------------------------------------- who may
def test_a_stranger_sees_what_a_passer_by_sees_hands_in_and_finds_nothing_else(
    labels: at.Labelled,
) -> None:
    stranger = make.caller(labels.world.stranger)
    seen = stranger.post("scans/", {"text": labels.kit.code}).json()["outcomes"][0]
    assert seen["kit"] is None
    assert seen["passer_by"]["what"] == "First aid kit DAY-01"
    out = {"text": labels.kit.code, "intent": "check-out", "holder": labels.tag.code}
    assert stranger.post("scans/", out).status_code == 404
    back = stranger.post("scans/", {"text": labels.kit.code, "intent": "check-in"})
    assert back.status_code == 201
    assert back.json()["outcomes"][0]["kit"] is None
    assert stranger.get(f"labels/{labels.kit.code}/").status_code == 404
    assert stranger.get("kits/DAY-01/card/").status_code == 404


def test_a_role_that_is_missing_is_a_403_and_nothing_is_kept(labels: at.Labelled) -> None:
    adviser = make.caller(labels.world.adviser)
    answer = adviser.post(
        "scans/", {"text": labels.kit.code, "intent": "check-out", "holder": labels.tag.code}
    )
    assert (answer.status_code, answer.json()["code"]) == (403, "role-missing")
    assert not KeptAnswer.objects.exists()
    assert not Scan.objects.exists()


def test_a_token_for_reading_alone_takes_nothing_and_hands_nothing_in(labels: at.Labelled) -> None:
    user = User.objects.get(pk=present(labels.world.keeper.user_id))
    reader = Caller(user, scopes=[Scope.READ])
    assert reader.post("scans/", {"text": labels.kit.code}).status_code == 200
    for intent in ("check-out", "check-in"):
        answer = reader.post("scans/", {"text": labels.kit.code, "intent": intent})
        assert (answer.status_code, answer.json()["code"]) == (403, "scope-missing")


def test_a_trip_of_another_room_is_not_there(labels: at.Labelled) -> None:
    trip = make.trip("Hill day", labels.world.store)
    stranger = make.caller(labels.world.stranger)
    said = {"text": labels.kit.code, "intent": "check-out", "trip": str(trip.pk)}
    assert stranger.post("scans/", said).status_code == 404


def test_a_scan_reported_later_keeps_its_own_time(labels: at.Labelled, keeper: Caller) -> None:
    world = labels.world
    earlier = make.timezone.now() - make.timedelta(minutes=3)
    custody.check_out(
        Act(actor_of(User.objects.get(pk=present(world.keeper.user_id)))),
        world.day_01,
        person=world.guide,
    )
    said = {
        "text": labels.kit.code,
        "intent": "check-in",
        "occurred_at": earlier.isoformat(),
        "device_now": make.timezone.now().isoformat(),
    }
    body = keeper.post("scans/", said).json()
    # Not before the kit's last entry, which was just now.
    assert body["outcomes"][0]["entry"]["occurred_at"] >= earlier.isoformat()


def test_every_problem_of_a_scan_has_a_page_that_says_what_to_do(
    labels: at.Labelled, keeper: Caller
) -> None:
    texts = ["https://example.org", at.wrong(labels.kit.code), labels.blank.code, labels.lot.code]
    for text in texts:
        body = keeper.post("scans/", {"text": text, "intent": "check-in"}).json()
        page = keeper.client.get(body["type"])
        assert page.status_code == 200, body["type"]
        assert body["code"] in KINDS
        assert KINDS[body["code"]].status == body["status"]
