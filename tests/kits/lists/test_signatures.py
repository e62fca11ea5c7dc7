"""A list that waits for its adviser's signature is said, and one that ends is, ahead."""

from datetime import date, timedelta

import pytest
import time_machine
from django.utils import timezone
from pytest_django import Settings

from gearroom.core.models import Membership, Person
from kits.models import Notice, PackingListVersion
from kits.rules.lists import signatures as signing
from kits.rules.mail.plain_text import Letter, as_text
from kits.services.lists import signatures
from kits.services.mail import notice_texts
from kits.services.mail.digest import digest_data, digest_text
from kits.services.notices.notice_text import signature_token
from tests.kits import factories
from tests.kits.factories import World, days
from tests.site.browsing import browser

pytestmark = pytest.mark.django_db


@pytest.fixture
def w(settings: Settings) -> World:
    settings.PUBLIC_URL = "https://gear.example.org"
    return factories.world()


def ends_in(w: World, number: int) -> None:
    PackingListVersion.objects.filter(pk=w.version.pk).update(signed_until=days(number))


def letter_of(person: Person) -> Letter:
    found = Person.objects.select_related("home_room").get(pk=person.pk)
    return digest_text.letter(digest_data.gather([found], timezone.now())[person.pk])


# ----------------------------------------------------------------------------------------- ahead
@pytest.mark.parametrize(
    ("left", "step"),
    [(61, None), (60, 60), (31, 60), (30, 30), (8, 30), (7, 7), (0, 7), (-1, None)],
)
def test_it_is_said_sixty_thirty_and_seven_days_ahead(left: int, step: int | None) -> None:
    today = date(2027, 1, 1)
    assert signing.step(today + timedelta(days=left), today) == step


def test_a_signature_is_extended_by_a_year_from_its_own_end() -> None:
    assert signing.extended(date(2027, 3, 1), date(2027, 2, 1)) == date(2028, 3, 1)
    assert signing.extended(date(2028, 2, 29), date(2028, 2, 1)) == date(2029, 2, 28)
    assert signing.extended(date(2027, 1, 1), date(2027, 6, 1)) == date(2028, 5, 31)


def test_whoever_signed_is_told_once_each_time_and_nobody_else(w: World) -> None:
    other = factories.person("Ole", None)
    Membership.objects.create(person=other, role="adviser", room=None)
    ends_in(w, 61)
    signatures.look()
    assert not Notice.objects.exists()
    for ahead in (60, 45, 30, 7, 1):
        with time_machine.travel(timezone.now() + timedelta(days=61 - ahead), tick=False):
            signatures.look()
            signatures.look()
    assert Notice.objects.filter(kind="signature-ends", person=w.adviser).count() == 3
    assert Notice.objects.count() == 3


def test_where_whoever_signed_has_left_every_adviser_is_told(w: World) -> None:
    other = factories.person("Ole", None)
    Membership.objects.create(person=other, role="adviser", room=None)
    Person.objects.filter(pk=w.adviser.pk).update(left_on=days(0))
    ends_in(w, 20)
    signatures.look()
    assert [n.person for n in Notice.objects.all()] == [other]


def test_a_list_that_nothing_follows_and_a_newer_one_replaced_is_not_spoken_of(w: World) -> None:
    PackingListVersion.objects.filter(pk=w.version.pk).update(signed_until=days(5))
    factories.Kit.objects.update(retired_on=days(0))
    PackingListVersion.objects.create(
        packing_list=w.version.packing_list, number=2, people=1, days=1,
        created_at=timezone.now(), published_at=timezone.now(),
        signed_by=w.adviser, signed_on=days(0), signed_until=days(300),
    )  # fmt: skip
    assert (signatures.waiting(), signatures.ending()) == ([], [])


# ------------------------------------------------------------------------------------------ link
def test_the_mail_extends_it_in_one_tap_without_an_account(w: World) -> None:
    ends_in(w, 20)
    signatures.look()
    link = notice_texts.row(Notice.objects.get()).url.removeprefix("https://gear.example.org")
    client = browser()

    page = client.get(link)
    assert page.status_code == 200 and page.content.decode().count('<button class="go"') == 1
    assert client.post(link).status_code == 302
    client.post(link)

    version = PackingListVersion.objects.get(pk=w.version.pk)
    assert version.signed_until == signing.extended(days(20), factories.today())
    assert version.signed_by == w.adviser
    assert "now signed until" in client.get(link).content.decode()
    assert signatures.ending() == []


def test_a_link_that_was_not_made_here_and_one_of_who_advises_no_more_sign_nothing(
    w: World,
) -> None:
    ends_in(w, 20)
    assert browser().get("/sign/made-up/").status_code == 404
    said = signature_token(w.version.pk, w.adviser.pk, days(20))
    Membership.objects.filter(person=w.adviser).delete()
    assert browser().post(f"/sign/{said}/").status_code == 403
    assert PackingListVersion.objects.get(pk=w.version.pk).signed_until == days(20)


# -------------------------------------------------------------------------- weekly email and board
def unsigned(w: World) -> None:
    PackingListVersion.objects.filter(pk=w.version.pk).update(
        signed_by=None, signed_on=None, signed_until=None
    )


def test_an_adviser_hears_of_a_list_that_waits_and_never_of_no_kits(w: World) -> None:
    assert w.adviser not in digest_data.readers()
    unsigned(w)
    assert w.adviser in digest_data.readers()

    letter = letter_of(w.adviser)

    text = " ".join(as_text(letter).split())
    assert letter.subject == "1 kit list is waiting for your signature"
    assert "LISTS WAITING FOR YOUR SIGNATURE - Day walk, version 1, used by 2 kits" in text
    assert "0 kits" not in text and "No kit is reserved" not in text
    assert "WAITING FOR YOUR SIGNATURE" not in as_text(letter_of(w.instructor))


def test_one_that_ends_stands_in_the_weekly_email_with_its_link(w: World) -> None:
    ends_in(w, 40)
    (part,) = letter_of(w.adviser).parts
    assert part.heading == "Signatures expiring soon"
    assert "/sign/" in part.rows[0].url


def test_the_board_says_to_an_adviser_what_waits_for_their_signature(w: World) -> None:
    unsigned(w)
    client = browser(w.adviser)
    assert "Waiting for your signature" in client.get("/").content.decode()
    assert "Waiting for your signature" not in browser(w.keeper).get("/").content.decode()
