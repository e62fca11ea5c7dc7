"""Where one is signed in, another password, and a forgotten one."""

import re
from datetime import timedelta
from email import message_from_bytes
from email.policy import default
from pathlib import Path
from typing import Any

import pytest
import time_machine
from django.core.cache import cache
from django.test import Client
from django.utils import timezone
from pytest_django import Settings

from gearroom.core.models import PasswordReset, Person, SignedIn
from gearroom.core.rules.roles import Role
from gearroom.site.mail import account_mail
from tests.kits import factories as make
from tests.present import present
from tests.site.browsing import post, text_of

pytestmark = pytest.mark.django_db
OLD, NEW = "wet ropes hang to dry", "the river is up today"
PHONE = "Mozilla/5.0 (Linux; Android 14; K) AppleWebKit/537.36 Mobile Safari/537.36"


@pytest.fixture(autouse=True)
def _no_tries_yet() -> None:
    cache.clear()


@pytest.fixture
def guide(tmp_path: Path, settings: Settings) -> Person:
    settings.EMAIL_OUTBOX_DIR = tmp_path / "outbox"
    settings.EMAIL_BACKEND = "gearroom.core.mail.EmlBackend"
    guide = make.world().guide
    present(guide.user).set_password(OLD)
    present(guide.user).save()
    Person.objects.filter(pk=guide.pk).update(email="gil@example.org")
    return guide


def signed_in(person: Person, password: str = OLD, **more: Any) -> Client:
    client = Client(**more)
    answer = client.post(
        "/sign-in/", {"username": present(person.user).username, "password": password}
    )
    assert answer.status_code == 302
    return client


# ------------------------------------------------------------------------------ where signed in
def test_one_sees_where_one_is_signed_in_and_ends_another(guide: Person) -> None:
    here, phone = signed_in(guide), signed_in(guide, headers={"User-Agent": PHONE})

    page = text_of(here.get("/signed-in/"))
    assert "A phone" in page and "A computer This device" in page
    row = SignedIn.objects.get(on="phone")
    post(here, f"/signed-in/{row.pk}/end/")

    assert phone.get("/kits/").status_code == 302
    assert here.get("/kits/").status_code == 200
    assert "A phone" not in text_of(here.get("/signed-in/"))


def test_all_others_are_ended_at_once(guide: Person) -> None:
    others = [signed_in(guide) for _ in range(2)]
    here = signed_in(guide)

    post(here, "/signed-in/others/end/")

    assert [client.get("/kits/").status_code for client in others] == [302, 302]
    assert here.get("/kits/").status_code == 200


def test_nobody_elses_sign_in_is_ended(guide: Person) -> None:
    here = signed_in(guide)
    row = SignedIn.objects.get()
    other = make.person("Noa", Role.GUIDE, guide.home_room)
    present(other.user).set_password(OLD)
    present(other.user).save()

    assert post(signed_in(other), f"/signed-in/{row.pk}/end/").status_code == 404
    assert here.get("/kits/").status_code == 200


def test_when_it_was_last_used_is_noted_now_and_then(guide: Person) -> None:
    here = signed_in(guide)
    later = timezone.now() + timedelta(minutes=11)

    with time_machine.travel(later, tick=False):
        here.get("/kits/")

    assert SignedIn.objects.get().seen_at == later


def test_who_signed_out_or_ran_out_is_not_listed_and_forgotten_a_month_later(
    guide: Person,
) -> None:
    here, other = signed_in(guide), signed_in(guide)
    other.post("/sign-out/")

    page = here.get("/signed-in/")

    assert not re.search(r"/signed-in/\d+/end/", page.content.decode())
    assert SignedIn.objects.count() == 2  # a page that is read writes nothing
    with time_machine.travel(timezone.now() + timedelta(days=32), tick=False):
        signed_in(guide)
    assert not SignedIn.objects.exclude(ended_at=None).exists()


# ------------------------------------------------------------------------------------ password
def test_another_password_signs_out_everywhere_else(guide: Person) -> None:
    here, other = signed_in(guide), signed_in(guide)

    answer = here.post("/signed-in/password/", {"old": OLD, "new": NEW})

    assert answer.status_code == 302
    assert here.get("/kits/").status_code == 200
    assert other.get("/kits/").status_code == 302
    assert "This device" in text_of(here.get("/signed-in/"))
    signed_in(guide, NEW)


@pytest.mark.parametrize(
    ("old", "new", "status"), [("guessed it", NEW, 403), (OLD, "short", 400), (OLD, "", 400)]
)
def test_a_wrong_or_weak_password_changes_nothing(
    guide: Person, old: str, new: str, status: int
) -> None:
    here = signed_in(guide)

    answer = here.post("/signed-in/password/", {"old": old, "new": new})

    assert answer.status_code == status
    signed_in(guide, OLD)


def test_guessing_the_old_password_is_slowed_down(guide: Person) -> None:
    here = signed_in(guide)
    for number in range(11):
        answer = here.post("/signed-in/password/", {"old": str(number), "new": NEW})

    assert "Too many attempts" in text_of(answer)


# ----------------------------------------------------------------------------------- forgotten
def asked(name: Any) -> Any:
    return Client().post("/sign-in/forgotten/", {"name": name})


def mails(settings: Any) -> list[Any]:
    return [
        message_from_bytes(file.read_bytes(), policy=default)
        for file in sorted(settings.EMAIL_OUTBOX_DIR.glob("*.eml"))
    ]


@pytest.mark.parametrize("how", ["username", "email"])
def test_a_forgotten_password_is_chosen_anew_by_a_link_that_works_once(
    guide: Person, settings: Settings, how: str
) -> None:
    settings.PUBLIC_URL = "https://gear.example"
    here = signed_in(guide)

    assert (
        asked(present(guide.user).username if how == "username" else "GIL@example.org").status_code
        == 200
    )
    assert account_mail.send_resets() == 1
    assert account_mail.send_resets() == 0
    (mail,) = mails(settings)
    assert mail["To"].addresses[0].addr_spec == "gil@example.org"
    text = mail.get_body(["plain"]).get_content()
    path = present(re.search(r"https://gear\.example(/sign-in/new/\S+)", text))[1]

    page = Client().get(path)
    assert page.status_code == 200
    assert page["Referrer-Policy"] == "strict-origin"
    assert Client().post(path, {"new": "short"}).status_code == 400
    answer = Client().post(path, {"new": NEW})

    assert f"Log in as {present(guide.user).username}" in text_of(answer)
    assert here.get("/kits/").status_code == 302
    signed_in(guide, NEW)
    again = Client().post(path, {"new": "something else again"})
    assert again.status_code == 404
    assert "This link has expired" in text_of(again)


def test_a_link_is_over_after_an_hour(guide: Person, settings: Settings) -> None:
    asked(present(guide.user).username)
    account_mail.send_resets()
    text = mails(settings)[0].get_body(["plain"]).get_content()
    path = present(re.search(r"http://testserver(/sign-in/new/\S+)", text))[1]

    with time_machine.travel(timezone.now() + timedelta(hours=1, seconds=2)):
        assert Client().get(path).status_code == 404


def test_what_is_said_tells_nobody_who_has_a_sign_in(guide: Person) -> None:
    there, not_there = asked(present(guide.user).username), asked("nobody at all")

    assert (there.status_code, text_of(there)) == (not_there.status_code, text_of(not_there))
    assert PasswordReset.objects.count() == 1


def test_who_left_or_has_no_address_gets_no_link(guide: Person) -> None:
    Person.objects.filter(pk=guide.pk).update(email="")
    asked(present(guide.user).username)
    Person.objects.filter(pk=guide.pk).update(email="gil@example.org", left_on=make.days(0))
    asked(present(guide.user).username)

    assert not PasswordReset.objects.exists()


def test_a_mail_that_was_not_taken_is_tried_again_within_the_hour(
    guide: Person, settings: Settings, tmp_path: Path
) -> None:
    asked(present(guide.user).username)
    settings.EMAIL_OUTBOX_DIR = tmp_path / "a-file" / "outbox"
    (tmp_path / "a-file").write_text("no folder")
    assert account_mail.send_resets() == 0

    settings.EMAIL_OUTBOX_DIR = tmp_path / "outbox"
    assert account_mail.send_resets() == 1
    asked(present(guide.user).username)
    with time_machine.travel(timezone.now() + timedelta(hours=2)):
        assert account_mail.send_resets() == 0


def test_asking_again_and_again_is_slowed_down(guide: Person) -> None:
    answers = [asked(present(guide.user).username).status_code for _ in range(7)]

    assert answers == [200] * 5 + [429] * 2


@pytest.mark.parametrize("link", ["x/y", "MQ/abc-def", "%E2%82%AC/x", "OTk5OTk5OTk5OTk5OTk5OTk5/x"])
def test_a_made_up_link_leads_nowhere(guide: Person, link: str) -> None:
    assert Client().get(f"/sign-in/new/{link}/").status_code == 404
