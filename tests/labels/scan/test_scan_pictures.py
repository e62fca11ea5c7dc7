"""Pictures posted to the scan door: of labels as phones take them, and of everything else."""

import io
import json
import random
import uuid
from collections.abc import Callable
from typing import Any

import pytest
import zxingcpp
from django.core.cache import cache
from django.core.files.uploadedfile import SimpleUploadedFile
from pytest_django import Settings

from gearroom.site.demo.photograph import photograph
from kits.models import Checkout, Entry, Movement, PackCode
from kits.services.custody import custody
from labels.models import Scan
from tests.kits import factories as make
from tests.labels.scan import scanned as at

pytestmark = [
    pytest.mark.django_db,
    # Doors: what they write is tried on both engines with the services.
    pytest.mark.parametrize("engine", ["sqlite"], indirect=True),
]


@pytest.fixture
def labels(settings: Settings) -> at.Labelled:
    cache.clear()
    settings.PUBLIC_URL = at.ADDRESS
    return at.labelled()


@pytest.fixture
def send(labels: at.Labelled) -> Callable[..., Any]:
    """Post a picture as somebody, with form fields."""

    def post(
        picture: Any, who: Any = None, key: Any = None, name: str = "photo.jpg", **fields: Any
    ) -> Any:
        caller = make.caller(who or labels.world.keeper)
        return caller.client.post(
            "/api/v1/scans/",
            {"image": SimpleUploadedFile(name, picture), **fields},
            headers={
                "authorization": f"Bearer {caller.secret}",
                "idempotency-key": key or str(uuid.uuid4()),
            },
        )

    return post


def outcomes(answer: Any) -> Any:
    return answer.json()["outcomes"]


def test_a_photograph_of_a_kits_label_takes_it_out(
    labels: at.Labelled, send: Callable[..., Any]
) -> None:
    world = labels.world
    picture = photograph(at.png_of(labels.kit), seed=3)
    answer = send(picture, intent="check-out", holder=str(world.guide.pk))
    assert answer.status_code == 201, answer.json()
    (outcome,) = outcomes(answer)
    assert outcome["kit"]["name"] == "DAY-01"
    assert outcome["kit"]["has_it"] == "Gil"
    assert outcome["read"]["symbology"].startswith("QR")
    assert len(outcome["read"]["corners"]) == 4
    assert Checkout.objects.get().person == world.guide
    row = Scan.objects.get()
    assert (len(row.picture_sha256), row.label) == (64, labels.kit)
    assert row.rung


def test_a_photograph_brings_it_back_opened_with_what_was_used(
    labels: at.Labelled, send: Callable[..., Any]
) -> None:
    world = labels.world
    custody.check_out(make.act(), world.day_01, person=world.guide)
    used = [
        {"label": at.shown(labels.lot), "units": 2},
        {"item": world.tablets.pk, "units": 1, "section": "pouch"},
    ]
    answer = send(
        photograph(at.png_of(labels.kit), seed=4),
        intent="check-in",
        as_found="opened",
        used=json.dumps(used),
        sharps_or_blood="true",
    )
    assert answer.status_code == 201, answer.json()
    assert outcomes(answer)[0]["entry"]["kind"] == "check-in"
    moved = Movement.objects.filter(to_place__kind="used").order_by("pk")
    assert [(m.units, m.lot_assumed) for m in moved] == [(2, False), (1, True)]


def test_a_dozen_labels_on_a_shelf_give_a_dozen_reads_in_reading_order(
    labels: at.Labelled, send: Callable[..., Any]
) -> None:
    world = labels.world
    kits = [make.kit(f"WALL-{n:02}", world.version, world.store) for n in range(12)]
    answer = send(at.shelf_picture([at.label(kit) for kit in kits]), many="true")
    assert answer.status_code == 200
    assert [each["kit"]["name"] for each in outcomes(answer)] == [kit.name for kit in kits]


def test_one_call_takes_out_nine_and_names_the_tenth(
    labels: at.Labelled, send: Callable[..., Any]
) -> None:
    world = labels.world
    kits = [at.filled(f"DAY-{number:02}", world) for number in range(11, 19)]
    wall = [labels.kit, *(at.label(kit) for kit in kits), at.label(world.day_02)]
    answer = send(
        at.shelf_picture(wall, across=5),
        intent="check-out",
        holder=at.shown(labels.tag),
        many="true",
    )
    assert answer.status_code == 201
    assert [each["outcome"] for each in outcomes(answer)] == ["taken-out"] * 9 + ["not-fit"]
    assert outcomes(answer)[9]["problem"]["kit"] == "DAY-02"
    assert Checkout.objects.count() == 9


def test_the_same_picture_with_the_same_key_is_done_once(
    labels: at.Labelled, send: Callable[..., Any]
) -> None:
    world = labels.world
    picture, key = at.shelf_picture([labels.kit]), str(uuid.uuid4())
    said = {"intent": "check-out", "holder": str(world.guide.pk)}
    first = send(picture, key=key, **said)
    again = send(picture, key=key, **said)
    assert (first.status_code, again.status_code) == (201, 201)
    assert again.json() == first.json()
    assert again.headers["Idempotency-Replayed"] == "true"
    assert Checkout.objects.count() == 1


def test_another_picture_with_the_same_key_is_refused(
    labels: at.Labelled, send: Callable[..., Any]
) -> None:
    key = str(uuid.uuid4())
    send(at.shelf_picture([labels.kit]), key=key, intent="check-in")
    answer = send(at.shelf_picture([labels.lot]), key=key, intent="check-in")
    assert (answer.status_code, answer.json()["code"]) == (422, "key-reused")


# ----------------------------------------------------------------------------- what is not ours
def test_a_picture_without_a_code_says_what_to_do(
    labels: at.Labelled, send: Callable[..., Any]
) -> None:
    blank = at.jpeg(at.Image.new("L", (640, 480), 200))
    answer = send(blank, intent="check-out")
    assert (answer.status_code, answer.json()["code"]) == (422, "nothing-read")
    assert "Move closer" in answer.json()["detail"]
    assert Scan.objects.get().means == "nothing"


@pytest.mark.parametrize(
    ("content", "means"),
    [
        ("https://example.org/menu", "link"),
        ("WIFI:T:WPA;S:Hut;P:secret;;", "wi-fi"),
        ("BEGIN:VCARD\r\nVERSION:3.0\r\nFN:Somebody\r\nEND:VCARD\r\n", "contact"),
        (bytes(range(40)), "binary"),
    ],
)
def test_somebody_elses_code_is_said_to_be_not_ours(
    labels: at.Labelled, send: Callable[..., Any], content: str | bytes, means: str
) -> None:
    answer = send(at.symbol(content), intent="check-in")
    assert (answer.status_code, answer.json()["code"]) == (422, "not-ours")
    assert outcomes(answer)[0]["means"] == means
    assert not Entry.objects.filter(kind="check-in").exists()


def test_our_code_with_a_wrong_check_character_is_refused_and_offered(
    labels: at.Labelled, send: Callable[..., Any]
) -> None:
    text = f"{at.ADDRESS.upper()}/L/{at.wrong(labels.kit.code)}"
    answer = send(at.symbol(text), intent="check-in")
    assert (answer.status_code, answer.json()["code"]) == (422, "code-wrong")
    (step,) = outcomes(answer)[0]["next"]
    assert (step["url"], step["fields"]["text"]) == ("/api/v1/scans/", at.shown(labels.kit))


def test_a_lot_label_where_a_kit_is_wanted_is_a_clear_problem(
    labels: at.Labelled, send: Callable[..., Any]
) -> None:
    answer = send(photograph(at.png_of(labels.lot), seed=5), intent="check-out")
    assert (answer.status_code, answer.json()["code"]) == (422, "not-a-kit")


def test_a_makers_symbol_is_ready_to_be_confirmed_and_a_problem_where_a_kit_is_wanted(
    labels: at.Labelled, send: Callable[..., Any]
) -> None:
    world = labels.world
    PackCode.objects.create(gtin="09501234567891", item=world.dressing)
    gs1 = at.symbol(
        "(01)09501234567891(17)281031(10)D3(21)S1", zxingcpp.BarcodeFormat.DataMatrix, gs1=True
    )
    answer = send(gs1, intent="receive", place=str(world.shelf.pk))
    assert answer.status_code == 200
    (outcome,) = outcomes(answer)
    assert outcome["packs"][0]["number"] == "D3"
    assert outcome["packs"][0]["expiry"] == "2028-10-31"
    assert outcome["next"][0]["url"] == "/api/v1/stock/receive/"
    assert send(gs1, intent="check-out").json()["code"] == "not-a-kit"


# --------------------------------------------------------------------------- what is no picture
@pytest.mark.parametrize(
    ("content", "statuses"),
    [
        (b"", {400, 415, 422}),
        (b"this is a text file named .jpg\n" * 20, {415}),
        (b"%PDF-1.7\n%%EOF", {415}),
        (b"\xff\xd8\xff\xe0" + b"\0" * 40, {415, 422}),
        (b"\x89PNG\r\n\x1a\n" + b"\0" * 40, {415, 422}),
    ],
)
def test_what_is_no_picture_is_refused_with_what_to_do(
    labels: at.Labelled, send: Callable[..., Any], content: bytes, statuses: set[int]
) -> None:
    answer = send(content, intent="check-in")
    assert answer.status_code in statuses, answer.json()
    assert answer.json()["detail"]
    assert not Scan.objects.exists()


def test_a_picture_cut_short_never_fails_the_server(
    labels: at.Labelled, send: Callable[..., Any]
) -> None:
    whole = at.shelf_picture([labels.kit])
    draw = random.Random(7)
    for _ in range(6):
        cut = bytearray(whole[: draw.randrange(20, len(whole))])
        for _ in range(draw.randrange(4)):
            cut[draw.randrange(len(cut))] = draw.randrange(256)
        answer = send(bytes(cut))
        assert answer.status_code in {200, 415, 422}, answer.json()


def test_an_upload_over_the_limit_is_refused_with_the_limit(
    labels: at.Labelled, send: Callable[..., Any]
) -> None:
    picture = at.shelf_picture([labels.kit])
    answer = send(picture + b"\0" * (25 * 1024 * 1024))
    assert (answer.status_code, answer.json()["code"]) == (413, "too-large")
    assert "25 MB" in answer.json()["detail"]


def test_a_body_that_claims_two_gigabytes_is_refused_unread(labels: at.Labelled) -> None:
    caller = make.caller(labels.world.keeper)
    answer = caller.client.post(
        "/api/v1/scans/",
        b"--x\r\n",
        content_type="multipart/form-data; boundary=x",
        headers={"authorization": f"Bearer {caller.secret}"},
        CONTENT_LENGTH=str(2 * 1024**3),
    )
    assert answer.status_code == 413
    assert answer.json()["limit_bytes"] > 25_000_000


def test_too_many_pixels_are_refused_with_the_limit(
    labels: at.Labelled, send: Callable[..., Any]
) -> None:
    wall = io.BytesIO()
    at.Image.new("1", (9000, 9000)).save(wall, "PNG")
    answer = send(wall.getvalue())
    assert (answer.status_code, answer.json()["code"]) == (413, "too-large")
    assert "60" in answer.json()["detail"]


# -------------------------------------------------------------------------------------- frames
def test_a_frame_without_a_code_is_no_problem_and_leaves_no_trace(
    labels: at.Labelled, send: Callable[..., Any]
) -> None:
    blank = at.jpeg(at.Image.new("L", (640, 480), 200))
    answer = send(blank, frame="true", budget_ms="80")
    assert answer.status_code == 200
    assert outcomes(answer) == []
    assert not Scan.objects.exists()


def test_a_frame_with_a_label_does_what_was_asked(
    labels: at.Labelled, send: Callable[..., Any]
) -> None:
    picture = at.shelf_picture([labels.kit], across=1)
    answer = send(picture, frame="true", intent="check-out", holder=str(labels.world.guide.pk))
    assert answer.status_code == 201
    assert outcomes(answer)[0]["outcome"] == "taken-out"


@pytest.mark.parametrize(
    "fields",
    [
        {"intent": "steal"},
        {"budget_ms": "1000000"},
        {"budget_ms": "soon"},
        {"swap": "maybe"},
        {"used": "not json"},
        {"used": '[{"units": 1}]'},
        {"used": '[{"item": 1, "units": "3"}]'},
        {"text": "6R4B5KJ8"},
        {"colour": "red"},
    ],
)
def test_a_wrong_form_field_is_named(
    labels: at.Labelled, send: Callable[..., Any], fields: dict[str, str]
) -> None:
    answer = send(at.shelf_picture([labels.kit], across=1), **fields)
    # The lines of “used” are some text to the schema.
    assert answer.status_code == (422 if "used" in fields else 400), answer.json()
    assert {name.split(".")[0] for name in answer.json()["errors"]} == set(fields)
