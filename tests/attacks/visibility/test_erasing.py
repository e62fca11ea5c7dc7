"""Whoever is erased is erased everywhere, also in old rows; whoever asks gets all that is kept."""

import json
import uuid
from pathlib import Path
from typing import Any

import pytest
from django.apps import apps
from django.core import mail
from django.db import connection
from django.test import Client
from django.urls import reverse

from gearroom.core.models import (
    KeptAnswer,
    Membership,
    Person,
    PersonalText,
    RedactedRow,
    Redaction,
    SignedIn,
    Token,
    User,
    append_only,
)
from gearroom.core.rules.roles import Role, Scope
from gearroom.core.services.people import names, people, redaction
from kits.models import Checkout, Entry, EntryKind, Label, Notice, NotificationPreferences, Trip
from kits.services.labelling import labelling
from kits.services.ledger import audit
from kits.services.people import personal_records
from tests.attacks.visibility.names_school import EMAIL, NAME, PHONE, TELLS, School, telling
from tests.core.api.made import Caller, is_problem
from tests.kits import factories as make
from tests.kits.factories import act
from tests.kits.problems import refused
from tests.present import present

pytestmark = pytest.mark.django_db


@pytest.fixture
def school() -> School:
    return School()


def test_after_erasure_nothing_anywhere_tells_of_them(school: School) -> None:
    done = school.busy_day()
    jo = school.jo
    labelling.labels_for(act(school.w.keeper), [jo], school.w.store)
    NotificationPreferences.objects.create(
        person=jo, calendar_sha256="a" * 64, refused_address=EMAIL
    )
    Notice.objects.create(
        person=jo, kind="irregular", fact="x", created_at=act().received_at, recipient=EMAIL,
        rendered=f"To: {EMAIL}\r\nSubject: x\r\n\r\nDear {NAME}".encode(),
    )  # fmt: skip
    Notice.objects.create(
        person=school.w.keeper, kind="overdue", fact="y", created_at=act().received_at,
        facts={"person": NAME, "phone": PHONE},
        rendered=f"To: kim@example.org\r\nSubject: x\r\n\r\n{NAME} has it".encode(),
    )  # fmt: skip
    make.trip("Old ridge", school.w.store, -9, -8, leader=jo, leader_name=NAME, leader_phone=PHONE)

    answer = make.caller(school.admin).post(f"people/{jo.pk}/erase/")

    assert answer.status_code == 200, answer.content
    assert answer.json() == {"person": jo.pk, "still_named": []}
    ours = [m for m in apps.get_models() if m._meta.managed]
    assert telling(ours) == []
    gone = Person.objects.get(pk=jo.pk)
    assert (gone.name, gone.phone, gone.email) == (f"Person {jo.pk}", "", "")
    assert not Membership.objects.filter(person=jo).exists()
    assert not Label.objects.filter(person=jo, cancelled_at=None).exists()
    assert not Notice.objects.filter(person=jo, sent_at=None, taken_back_at=None).exists()
    assert list(audit.findings()) == []

    for key, (method, path, body, _first) in done.items():
        again = school.keeper(method, path, body, idempotency_key=key)
        if again.headers.get("Idempotency-Replayed") == "true":
            assert not any(each in again.content.decode() for each in (*TELLS, "JO BROWN"))
    taken = next(key for key, (*_m, body, _a) in done.items() if body.get("person") == str(jo.pk))
    again = school.keeper.post(done[taken][1], done[taken][2], idempotency_key=taken)
    assert again.json()["checkout"]["person"]["name"] == f"Person {jo.pk}"
    assert f"Person {jo.pk}" in Entry.objects.get(kind="check-in").reason


def test_a_sign_in_that_is_erased_opens_nothing(school: School) -> None:
    jo = User.objects.get(pk=present(school.jo.user_id))
    theirs = Caller(jo, scopes=[Scope.READ])
    client = Client()
    client.force_login(jo)
    SignedIn.objects.create(
        user=jo, session_key=present(client.session.session_key), on="phone",
        since=act().received_at, seen_at=act().received_at,
    )  # fmt: skip
    assert theirs.get("kits/").status_code == 200

    personal_records.erase(act(school.admin), school.jo)

    assert theirs.get("kits/").status_code == 401
    assert client.get(reverse("board")).status_code in (302, 403)
    assert not SignedIn.objects.filter(user=jo).exists()
    assert not Token.objects.filter(user=jo).exists()
    assert not client.login(username="jo.brown", password="x")


def test_a_nickname_is_taken_out_of_what_was_typed_before(school: School) -> None:
    with make.Book(make.act(school.w.keeper)) as book:
        entry = book.post(EntryKind.MOVE, room=school.w.store, reason="Browny dropped it, twice")
    personal_records.erase(act(school.admin), school.jo, ["Browny"])

    assert Entry.objects.get(pk=entry.pk).reason == f"Person {school.jo.pk} dropped it, twice"
    assert telling(append_only.registered(), "Browny") == []
    assert list(audit.findings()) == []
    row = RedactedRow.objects.get()
    assert (row.table, row.column, row.row) == ("kits_entry", "reason", str(entry.pk))


def test_whoever_was_on_record_twice_is_erased_twice(school: School) -> None:
    twin = people.add_holder(act(school.w.guide), name="J. Brown", phone="01632 960 018")
    school.keeper.post("kits/DAY-01/check-out/", {"person": str(twin.pk)})
    school.keeper.post("kits/DAY-01/check-in/", {"as_found": "sort-later"})
    personal_records.merge(act(school.w.keeper), twin, school.jo)

    personal_records.erase(act(school.admin), school.jo)

    assert telling(apps.get_models(), "Brown", "960 018") == []
    assert Person.objects.get(pk=twin.pk).name == f"Person {twin.pk}"


def test_things_that_are_named_after_somebody_are_said(school: School) -> None:
    type(school.w.hut).objects.filter(pk=school.w.hut.pk).update(how_to_return=f"Ring {NAME}")
    done = personal_records.erase(act(school.admin), school.jo)
    assert done.still_named == [f"Ring {NAME}"]


def test_the_page_that_erases_keeps_nothing_of_them(school: School) -> None:
    type(school.w.hut).objects.filter(pk=school.w.hut.pk).update(name=f"{NAME}’s hut")
    client = Client()
    client.force_login(present(school.admin.user))
    asked = client.get(reverse("erase-person", args=[school.jo.pk]))
    assert "This will be erased" in asked.content.decode()

    form = {"key": str(uuid.uuid4()), "words": "Browny\r\n"}
    done = client.post(reverse("erase-person", args=[school.jo.pk]), form, follow=True)

    assert "s hut. Change it there" in done.content.decode()
    assert Person.objects.get(pk=school.jo.pk).erased_at is not None
    assert telling(append_only.registered()) == []
    assert not PersonalText.objects.filter(person=school.jo).exists()


@pytest.mark.parametrize("what", ["has-a-kit", "leads-a-trip", "answers-for-a-kit"])
def test_what_hangs_on_somebody_is_settled_first(school: School, what: str) -> None:
    w, jo = school.w, school.jo
    if what == "has-a-kit":
        school.keeper.post("kits/DAY-01/check-out/", {"person": str(jo.pk)})
    elif what == "leads-a-trip":
        make.trip("Ridge", w.store, 2, 2, leader=jo)
    else:
        type(w.day_01).objects.filter(pk=w.day_01.pk).update(deputy=jo)
    is_problem(make.caller(school.admin).post(f"people/{jo.pk}/erase/"), 409, what)
    assert Person.objects.get(pk=jo.pk).name == NAME


def test_the_last_administrator_a_program_and_somebody_erased_are_refused(school: School) -> None:
    admin = make.caller(school.admin)
    program = make.person("Bookings", Role.INTEGRATION, school.w.store)
    for who, code in ((school.admin, "last-administrator"), (program, "not-a-person")):
        is_problem(admin.post(f"people/{who.pk}/erase/"), 409, code)
    assert admin.post(f"people/{school.jo.pk}/erase/").status_code == 200
    is_problem(admin.post(f"people/{school.jo.pk}/erase/"), 404, "not-found")
    with refused("erased-already"):
        personal_records.erase(act(school.admin), school.jo)


def test_only_an_administrator_of_every_room_erases_and_puts_names_apart(school: School) -> None:
    of_the_room = make.person("Abi", Role.ADMINISTRATOR, school.w.store)
    for who in (school.w.keeper, school.w.instructor, school.w.guide, school.w.adviser,
                school.jo, of_the_room):  # fmt: skip
        for path in (f"people/{school.jo.pk}/erase/", "redactions/"):
            is_problem(make.caller(who).post(path), 403, "role-missing")
    reader = Caller(
        User.objects.get(pk=present(school.admin.user_id)), scopes=[Scope.READ, Scope.PEOPLE]
    )
    is_problem(reader.post(f"people/{school.jo.pk}/erase/"), 403, "scope-missing")
    assert Person.objects.get(pk=school.jo.pk).name == NAME


def test_a_name_too_short_to_look_for_is_refused(school: School) -> None:
    answer = make.caller(school.admin).post(f"people/{school.jo.pk}/erase/", {"words": ["of"]})
    is_problem(answer, 422, "no-name")


def test_mails_in_the_folder_go_with_whom_they_tell_of(
    school: School, settings: Any, tmp_path: Path
) -> None:
    from gearroom.core import mail as ours

    settings.EMAIL_OUTBOX_DIR = tmp_path / "outbox"
    for to, text in ((EMAIL, "x"), ("kim@example.org", f"{NAME} has it"), ("a@example.org", "y")):
        ours.write(
            settings.EMAIL_OUTBOX_DIR,
            mail.EmailMessage("s", text, "gear@example.org", [to]),
        )
    personal_records.erase(act(school.admin), school.jo)
    left = list(settings.EMAIL_OUTBOX_DIR.glob("*.eml"))
    assert len(left) == 1


# ------------------------------------------------------------------- rows of before, and the audit
def landed(school: School) -> tuple[uuid.UUID, int]:
    """An answer and an entry as they were written before names were kept apart."""
    school.keeper.post("kits/DAY-01/check-out/", {"person": str(school.jo.pk)})
    school.keeper.post("kits/DAY-01/check-in/", {"as_found": "sort-later"})
    key, entry = uuid.uuid4(), Entry.objects.get(kind="check-in")
    body = {"checkout": {"person": {"id": school.jo.pk, "name": "J. B.", "phone": PHONE}},
            "says": f"{NAME} has it."}  # fmt: skip
    with connection.cursor() as cursor:
        for model in (KeptAnswer, Entry):
            with append_only.lifted(model):
                pass
        cursor.execute(
            "INSERT INTO core_keptanswer (key, user_id, request_sha256, status, body, created_at)"
            " VALUES (%s, NULL, %s, 200, %s, %s)",
            [KeptAnswer._meta.pk.get_db_prep_value(key, connection), "0" * 64, json.dumps(body),
             entry.recorded_at],
        )  # fmt: skip
        with append_only.lifted(Entry):
            cursor.execute(
                "UPDATE kits_entry SET reason = %s WHERE id = %s", [f"{NAME} had it", entry.pk]
            )
    assert set(telling(append_only.registered(), "Brown")) == {"core_keptanswer", "kits_entry"}
    return key, entry.pk


def test_rows_of_before_are_put_right_once_and_read_as_before(school: School) -> None:
    key, entry = landed(school)
    admin = make.caller(school.admin)

    done = admin.post("redactions/")

    assert (done.status_code, done.json()["rows"]) == (201, 2)
    assert telling(append_only.registered(), "Brown", "J. B.", PHONE) == []
    body = names.with_words(json.loads(KeptAnswer.objects.get(key=key).body))
    assert body["checkout"]["person"] == {"id": school.jo.pk, "name": "J. B.", "phone": PHONE}
    assert body["says"] == f"{NAME} has it."
    assert Entry.objects.get(pk=entry).reason == f"{NAME} had it"
    assert list(audit.findings()) == []
    assert admin.post("redactions/").json()["rows"] == 0, "nothing is left to do"
    assert present(Redaction.objects.first()).person == school.admin


def test_erasing_reaches_rows_of_before_too(school: School) -> None:
    key, entry = landed(school)
    personal_records.erase(act(school.admin), school.jo)
    assert telling(append_only.registered(), "Brown", PHONE) == []
    assert Entry.objects.get(pk=entry).reason == f"Person {school.jo.pk} had it"
    body = names.with_words(json.loads(KeptAnswer.objects.get(key=key).body))
    assert body["checkout"]["person"]["name"] == f"Person {school.jo.pk}"


def test_the_audit_knows_a_row_that_was_changed_after_its_redaction(school: School) -> None:
    _key, entry = landed(school)
    redaction.redact_landed(act(school.admin))
    with append_only.lifted(Entry), connection.cursor() as cursor:
        cursor.execute("UPDATE kits_entry SET reason = 'x' WHERE id = %s", [entry])
    (finding,) = audit.findings()
    assert finding.about == "redacted"
    assert str(entry) in finding.text


def test_afterwards_the_tables_are_protected_again(school: School) -> None:
    personal_records.erase(act(school.admin), school.jo)
    assert append_only.missing() == []


# ------------------------------------------------------------------------------------- the export
def test_somebody_gets_all_that_is_kept_about_them(school: School) -> None:
    school.busy_day()
    own = make.caller(school.jo).get(f"people/{school.jo.pk}/export/")
    assert own.status_code == 200, own.content
    tables = own.json()["tables"]
    assert tables["core.person"][0]["phone"] == PHONE
    assert tables["core.user"][0]["username"] == "jo.brown"
    assert [row["person_id"] for row in tables["kits.checkout"]] == [school.jo.pk]
    assert any("JO BROWN" in row["text"].upper() for row in tables["core.personaltext"])
    text = own.content.decode()
    assert "Kim" not in text, "others by number alone"
    for secret in ("password", "sha256", "pin", "session_key"):
        assert f'"{secret}"' not in text


def test_nobody_else_does_but_an_administrator_of_every_room(school: School) -> None:
    path = f"people/{school.jo.pk}/export/"
    for who in (school.w.keeper, school.w.guide, school.w.instructor):
        is_problem(make.caller(who).get(path), 403, "role-missing")
    is_problem(make.caller(school.w.stranger).get(path), 404, "not-found")
    assert make.caller(school.admin).get(path).status_code == 200


def test_checkouts_stay_under_the_number(school: School) -> None:
    school.busy_day()
    personal_records.erase(act(school.admin), school.jo)
    assert Checkout.objects.get(person=school.jo).kit == school.w.day_01
    assert Trip.objects.filter(leader_name=NAME).count() == 0
