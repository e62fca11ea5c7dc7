"""What is told to somebody of several rooms: a keeper reads the lines of their own room alone."""

import pytest
from django.test import Client
from django.urls import reverse

from gearroom.core.models import Membership, Person
from gearroom.core.rules.roles import Role
from kits.models import Kit, Notice
from kits.rules.mail.plain_text import as_text
from kits.services.mail import composing, notice_log, sending
from kits.services.mail.digest import digest
from kits.services.notices import writing
from kits.services.recalls import recalls
from tests.kits import factories as make
from tests.present import present

pytestmark = pytest.mark.django_db


@pytest.fixture
def w() -> make.World:
    """Ines answers for kits of the store and of the hut, and keeps both rooms' shelves."""
    made = make.world()
    hut_kit = make.kit("HUT-01", made.version, made.hut, responsible=made.instructor)
    assert hut_kit.fit_until is None
    for room in (made.store, made.hut):
        Membership.objects.get_or_create(person=made.instructor, room=room, role=Role.KEEPER.value)
    made.instructor.email = "ines@example.org"
    made.instructor.save(update_fields=["email"])
    return made


def tell(person: Person, fact: str, kit: Kit) -> None:
    facts = {"person": kit.name, "phone": "", "address": "a@b", "said": "no"}
    writing.notify([person], "address-refused", fact, kit=kit, facts=facts)


def test_a_keeper_reads_the_lines_of_their_room_alone_in_anothers_next_weekly_email(
    w: make.World,
) -> None:
    whole = as_text(digest.preview(w.instructor)[1])
    assert "HUT-01" in whole
    seen = make.caller(w.keeper).get(f"notices/weekly/?person={w.instructor.pk}").json()
    for part in ("subject", "text", "html"):
        assert "HUT-01" not in seen[part]
    assert "DAY-02" in seen["text"]


def test_nor_does_the_page_show_them(w: make.World, client: Client) -> None:
    client.force_login(present(w.keeper.user))
    page = client.get(reverse("weekly"), {"person": w.instructor.pk})
    assert page.status_code == 200
    assert b"DAY-02" in page.content
    assert b"HUT-01" not in page.content


def test_nor_does_the_email_that_was_sent_say_them_to_a_keeper_of_one_room(
    w: make.World, client: Client
) -> None:
    sent = next(n for n in sending.send_weekly() if n.person_id == w.instructor.pk)
    assert "HUT-01" in notice_log.text(make.actor(w.instructor), sent)
    seen = make.caller(w.keeper).get(f"notices/{sent.pk}/").json()["text"]
    assert "HUT-01" not in seen
    assert "Ines" in seen
    client.force_login(present(w.keeper.user))
    assert b"HUT-01" not in client.get(reverse("notice", args=[sent.pk])).content


def test_one_that_tells_of_one_room_alone_is_read_by_its_keepers_as_before(w: make.World) -> None:
    Kit.objects.filter(name="HUT-01").update(responsible=None)
    Membership.objects.filter(person=w.instructor, room=w.hut).delete()
    sent = next(n for n in sending.send_weekly() if n.person_id == w.instructor.pk)
    assert "DAY-02" in notice_log.text(make.actor(w.keeper), sent)


def test_a_recall_told_to_a_keeper_of_two_rooms_shows_no_keeper_of_one_the_others_kits(
    w: make.World,
) -> None:
    hut_kit = Kit.objects.get(name="HUT-01")
    lot = make.some(w.dressing, w.hut_shelf, 4, "D3", make.days(90))
    make.put_in(hut_kit, lot, w.hut_shelf, 2)
    recalls.start(make.act(w.keeper), item=w.dressing, scope="all")
    notice = Notice.objects.get(person=w.instructor, kind="recall")
    assert "HUT-01" in notice_log.text(make.actor(w.instructor), notice)
    for each in Notice.objects.filter(kind="recall"):
        answer = make.caller(w.keeper).get(f"notices/{each.pk}/")
        assert answer.status_code == 404 or "HUT-01" not in answer.json()["text"]


def test_of_notices_that_went_in_one_mail_a_keeper_reads_none_of_another_room(
    w: make.World,
) -> None:
    hut_kit = Kit.objects.get(name="HUT-01")
    for number, kit in enumerate((w.day_01, hut_kit)):
        tell(w.instructor, f"x:{number}", kit)
    lead, other = Notice.objects.filter(kind="address-refused").order_by("pk")
    written = composing.write([lead], with_it=[other])[lead.pk]
    lead.facts = {**lead.facts, **written.facts}
    lead.save(update_fields=["facts"])
    assert "HUT-01" not in notice_log.text(make.actor(w.keeper), lead)


def test_the_weekly_email_of_somebody_of_no_room_of_theirs_is_not_there(w: make.World) -> None:
    stranger = make.caller(make.person("Hanna", Role.KEEPER, w.hut))
    answer = stranger.get(f"notices/weekly/?person={w.guide.pk}")
    assert answer.status_code == 404
    missing = stranger.get("notices/weekly/?person=999999")
    assert missing.json()["detail"].replace("999999", "N") == answer.json()["detail"].replace(
        str(w.guide.pk), "N"
    )


def test_whoever_may_not_see_people_gets_no_telephone_with_a_notice(w: make.World) -> None:
    w.instructor.phone = "07700 900123"
    w.instructor.save(update_fields=["phone"])
    tell(w.instructor, "x", w.day_01)
    adviser = make.caller(make.person("Abe", Role.ADVISER, w.store))
    rows = adviser.get("notices/").json()["results"]
    assert rows and all(row["person"]["phone"] == "" for row in rows)
