"""Names, telephones and addresses that stay for ever: none do, whatever was done and said."""

import ast
import json
import uuid
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from django.apps import apps
from django.db.models import CharField, JSONField, TextField
from django.test import Client
from django.urls import reverse

from gearroom.core.models import KeptAnswer, Person, PersonalText, append_only
from gearroom.core.rules.names import OPEN
from gearroom.core.services.people import names, personal_data as core_erasing
from kits.models import Entry, EntryKind
from tests.attacks.visibility.names_school import EMAIL, NAME, PHONE, TELLS, School, telling
from tests.kits import factories as make
from tests.present import present
from tests.program import PROJECT

pytestmark = pytest.mark.django_db


@pytest.fixture
def school() -> School:
    return School()


# ------------------------------------------------------------------------------ what is written
def test_no_row_that_is_kept_for_ever_has_a_name_a_telephone_or_an_address(school: School) -> None:
    for _method, path, _body, answer in school.busy_day().values():
        expected = {"scans/": 422, "kits/DAY-01/check-out/": answer.status_code}
        assert answer.status_code in (expected.get(path, 200), 201), (path, answer.content)
    assert KeptAnswer.objects.count() == 6
    assert telling(append_only.registered(), *TELLS, "960017", "960-017") == []


def test_an_answer_that_is_given_again_is_the_first_one_byte_for_byte(school: School) -> None:
    for key, (method, path, body, answer) in school.busy_day().items():
        again = school.keeper(method, path, body, idempotency_key=key)
        if again.headers.get("Idempotency-Replayed") == "true" and again.status_code < 400:
            assert again.content == answer.content, path
        elif again.status_code == 409:
            assert again.json().items() >= answer.json().items(), path
    assert NAME in json.dumps([a.json() for *_m, a in school.busy_day().values()])


def test_what_was_typed_reads_as_it_was_typed(school: School) -> None:
    school.busy_day()
    reasons = list(Entry.objects.filter(kind="check-in").values_list("reason", flat=True))
    assert reasons == ["Gave it to JO BROWN, ring 01632-960017 or jo.brown@example.org"]
    assert Entry.objects.get(kind="check-in").reason == reasons[0]


def test_a_booking_system_names_a_leader_who_is_not_on_record(school: School) -> None:
    start = datetime.now(UTC).replace(microsecond=0) + timedelta(days=3)
    body = {
        "name": "Ridge",
        "room": "main-store",
        "departs_at": start.isoformat(),
        "returns_at": (start + timedelta(hours=6)).isoformat(),
        "people": 8,
        "leader_name": "Zo Other",
        "leader_phone": "01632 960 999",
    }
    key = str(uuid.uuid4())
    done = school.keeper("PUT", "trips/bookings/7/", body, idempotency_key=key)
    assert done.status_code == 201, done.content
    assert telling(append_only.registered(), "Zo Other", "960 999") == []
    again = school.keeper("PUT", "trips/bookings/7/", body, idempotency_key=key)
    assert again.content == done.content


def test_a_form_of_a_page_keeps_no_name(school: School) -> None:
    client = Client()
    client.force_login(present(school.w.keeper.user))
    form = {"key": str(uuid.uuid4()), "name": NAME, "phone": PHONE, "email": EMAIL}
    client.post(reverse("person", args=[school.jo.pk]), form)
    client.post(reverse("left", args=[school.jo.pk]), {"key": str(uuid.uuid4())})
    assert KeptAnswer.objects.count() >= 2
    assert telling(append_only.registered()) == []


def test_a_name_of_one_word_in_an_answer_is_kept_apart_too(school: School) -> None:
    Person.objects.filter(pk=school.jo.pk).update(name="Jolanthe")
    school.keeper.post("kits/DAY-01/check-out/", {"person": str(school.jo.pk)})
    refused = school.keeper.post("kits/DAY-01/check-out/", {"person": str(school.w.guide.pk)})
    assert "Jolanthe" in refused.content.decode()
    assert telling(append_only.registered(), "Jolanthe") == []


def test_a_reference_that_somebody_typed_shows_nobody(school: School) -> None:
    school.busy_day()
    row = PersonalText.objects.filter(person=school.jo).first()
    assert row is not None
    typed = f"x {OPEN}{school.jo.pk}.{row.pk}\ufdd1 y"
    detail: Any = {"why": typed}
    with make.Book(make.act(school.w.keeper)) as book:
        entry = book.post(EntryKind.MOVE, room=school.w.store, reason=typed, detail=detail)
    entry = Entry.objects.get(pk=entry.pk)
    assert (entry.reason, entry.detail) == (typed, {"why": typed})


def test_every_column_that_could_hold_a_name_is_decided() -> None:
    """A new column of text: either words that people type, or numbers and the program's words."""
    no_words = {
        "core_keptanswer": {"request_sha256", "body"},  # `once` sees to the body
        "core_installationchange": {"fields"},
        "core_redactedrow": {"table", "column", "row", "sha256"},
        "kits_entry": {"irregular"},
        "kits_event": {"type", "subject", "data"},
        "kits_clearance": {"reasons"},
        "kits_lotfact": {"number"},
        "kits_receipt": {"currency"},
        "kits_offer": {"currency"},
        "kits_supplierterms": {"currency"},
        "kits_sealfact": {"number"},
        "kits_statedrate": {"study"},
        "kits_listchangesource": {"study"},
        "kits_itemfact": {"said"},
        "labels_scan": {"intent", "symbology", "picture_sha256", "rung", "means", "outcome"},
    }
    undecided = {
        f"{model._meta.db_table}.{field.name}"
        for model in append_only.registered()
        for field in model._meta.concrete_fields
        if isinstance(field, CharField | TextField | JSONField)
        and not isinstance(field, names.WordsField | names.WordsJSONField)
        and not field.choices
        and field.name not in no_words.get(model._meta.db_table, ())
    }
    assert undecided == set()


def test_every_column_that_changes_is_decided() -> None:
    decided = core_erasing.TYPED | core_erasing.FACTS | core_erasing.OF_THINGS
    codes = {"slug", "time_zone", "base_unit", "gtin", "section_key", "hazards", "key", "number"}
    codes |= {"signed_page_type", "source", "serial", "code", "kind", "fact", "unsent_why"}
    codes |= {"message_id", "calendar_sha256", "subject", "layout", "guard", "who"}
    codes |= {"currency", "hazard", "activities", "sha256", "answers", "language", "public_url"}
    codes |= {"mail_host", "mail_user", "mail_password"}
    codes |= {"frost_months", "heat_months", "wet_months"}
    codes |= {"word"}
    codes |= {"digest", "etag", "last_modified", "counts"}
    codes |= {"types", "secret", "older_secret", "failure"}
    erased_whole = {"recipient", "refused_address"}
    undecided = {
        f"{model._meta.db_table}.{field.name}"
        for model in apps.get_models()
        if model._meta.app_label in ("core", "kits", "labels")
        and model not in (*append_only.registered(), *core_erasing.THEIR_OWN)
        for field in model._meta.concrete_fields
        if isinstance(field, CharField | TextField | JSONField)
        and not field.choices
        and field.name not in decided | codes | erased_whole
    }
    assert undecided == set()


def test_only_one_module_lifts_a_trigger() -> None:
    lifting = [
        str(path.relative_to(PROJECT))
        for app in ("gearroom", "kits", "labels")
        for path in (PROJECT / app).rglob("*.py")
        for node in ast.walk(ast.parse(path.read_text()))
        if (isinstance(node, ast.Attribute) and node.attr == "lifted")
        or (isinstance(node, ast.alias) and node.name == "lifted")
        or (
            isinstance(node, ast.Constant)
            and isinstance(node.value, str)
            and ("DISABLE TRIGGER" in node.value or node.value.startswith("DROP TRIGGER "))
        )
    ]
    assert set(lifting) == {
        "gearroom/core/models/append_only.py",
        "gearroom/core/services/people/redaction.py",
    }
