"""What a list leaves out comes up again from its day on: once to each whom it concerns, until it is
edited, signed anew or its day is moved."""

from collections.abc import Iterable
from dataclasses import replace
from datetime import date, timedelta

import pytest
from django.utils import timezone
from pytest_django import Settings

from gearroom.core.models import Person
from kits.models import NotCarried, PackingListVersion, WhyNotCarried
from kits.rules.mail.plain_text import as_text
from kits.services.lists import drafts, look_again, publishing, signatures
from kits.services.lists.not_carried import NotCarriedDraft
from kits.services.mail.digest import digest_data, digest_text
from tests.kits import factories as make
from tests.kits.factories import World, days
from tests.site.browsing import browser

pytestmark = pytest.mark.django_db

DAY = days(10)
LINE = NotCarriedDraft(
    WhyNotCarried.NO_TRAINING, look_again_on=DAY, look_again_after="the spring course"
)


@pytest.fixture
def w(settings: Settings) -> World:
    """A list that leaves out a gauge until a day that is ten days off, signed a month ago."""
    settings.PUBLIC_URL = "https://gear.example.org"
    made = make.world()
    month_ago = timezone.now() - timedelta(days=30)
    PackingListVersion.objects.update(signed_on=days(-30), published_at=month_ago)
    NotCarried.objects.create(
        version=made.version,
        item=made.gauge,
        why=LINE.why,
        look_again_on=DAY,
        look_again_after=LINE.look_again_after,
    )
    return made


def due(on: date = DAY) -> list[tuple[int, list[str]]]:
    """The version (by number) and names of what is due on a day."""
    return [(row.version.number, [line.name for line in row.lines]) for row in look_again.due(on)]


def next_version(w: World, lines: Iterable[NotCarriedDraft]) -> PackingListVersion:
    draft = drafts.new_draft(make.act(w.keeper), w.version.packing_list)
    says = replace(drafts.draft_of(draft), not_carried=list(lines))
    drafts.edit_draft(make.act(w.keeper), draft, says)
    return publishing.publish(make.act(w.keeper), draft)


def letter(person: Person) -> str:
    row = Person.objects.select_related("home_room").get(pk=person.pk)
    return as_text(digest_text.letter(digest_data.gather([row], timezone.now())[person.pk]))


def put_day(day: date) -> None:
    NotCarried.objects.update(look_again_on=day)


def test_it_is_due_from_its_day_on(w: World) -> None:
    assert due(days(9)) == []
    assert due(days(10)) == [(w.version.number, [w.gauge.name])]
    assert due(days(40)) == [(w.version.number, [w.gauge.name])]


def test_signed_anew_it_is_quiet(w: World) -> None:
    put_day(days(-1))
    assert due(days(0))
    signatures.sign(make.act(w.adviser), w.version, until=days(300))
    assert due(days(0)) == []


def test_moved_to_a_later_day_it_is_quiet_until_then(w: World) -> None:
    put_day(days(-1))
    later = next_version(w, [replace(LINE, item=w.gauge, look_again_on=days(60))])
    assert due(days(0)) == []
    assert due(days(60)) == [(later.number, [w.gauge.name])]


def test_edited_it_is_quiet_and_only_copied_it_is_not(w: World) -> None:
    put_day(days(-1))
    line = replace(LINE, item=w.gauge, look_again_on=days(-1))
    copied = next_version(w, [line])
    assert due(days(0)) == [(copied.number, [w.gauge.name])]
    next_version(w, [replace(line, instead="Look at the lips.")])
    assert due(days(0)) == []


def test_a_draft_changes_nothing_yet(w: World) -> None:
    put_day(days(-1))
    draft = drafts.new_draft(make.act(w.keeper), w.version.packing_list)
    drafts.edit_draft(make.act(w.keeper), draft, replace(drafts.draft_of(draft), not_carried=()))
    assert due(days(0)) == [(w.version.number, [w.gauge.name])]
    publishing.publish(make.act(w.keeper), draft)
    assert due(days(0)) == []


def test_the_letter_says_it_once_to_the_adviser_and_to_whoever_answers_for_a_kit(w: World) -> None:
    put_day(days(1))
    assert "due for review" not in letter(w.adviser)
    put_day(days(0))
    for person in (w.adviser, w.instructor):
        says = letter(person)
        assert says.count(f"{w.gauge.name}: due today") == 1, says
        assert "the spring course" in says
        assert person in digest_data.readers()


def test_nobody_who_has_no_kit_of_that_list_hears_of_it(w: World) -> None:
    put_day(days(0))
    assert w.gauge.name not in letter(w.stranger)


def test_the_board_shows_it_to_those_alone(w: World) -> None:
    put_day(days(-1))
    for person, shown in ((w.adviser, True), (w.instructor, True), (w.guide, False)):
        page = browser(person).get("/").content.decode()
        assert ("Not carried: due for review" in page) is shown, person
    signatures.sign(make.act(w.adviser), w.version, until=days(300))
    assert "Not carried: due for review" not in browser(w.adviser).get("/").content.decode()


def test_the_list_marks_a_day_that_is_past_and_a_replaced_version_does_not(w: World) -> None:
    address = f"/lists/{w.version.packing_list_id}/{w.version.number}/"
    put_day(days(1))
    assert "was due" not in browser(w.keeper).get(address).content.decode()
    put_day(days(-1))
    page = browser(w.keeper).get(address).content.decode()
    assert "was due" in page
    assert "the spring course" in page
    next_version(w, [replace(LINE, item=w.gauge, look_again_on=days(60))])
    assert "was due" not in browser(w.keeper).get(address).content.decode()


def test_two_kits_of_one_list_are_one_cause(w: World) -> None:
    put_day(days(-1))
    assert w.day_01.list_version == w.day_02.list_version == w.version
    assert letter(w.instructor).count(f"{w.gauge.name}: was due") == 1
    assert len(look_again.due_to(make.act(w.instructor).actor, days(0))) == 1
