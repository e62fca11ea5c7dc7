"""An address that no mail can have: it keeps nobody else's mail back, and is refused."""

import pytest
from django.core.mail import EmailMessage

from gearroom.core.acts import Invalid
from gearroom.core.models import PasswordReset, Person
from gearroom.core.rules.roles import Role
from gearroom.core.services.accounts import sign_ins
from gearroom.core.services.people import people
from gearroom.site.mail import account_mail
from tests.kits import factories as make
from tests.present import present
from tests.site.browsing import browser, post, text_of

pytestmark = pytest.mark.django_db

LONG = "gil@" + "ü" * 60 + ".org"
MIXED = "gil@שלוםa.org"
"""Both are addresses by their form; neither has a form in ASCII."""


def test_such_an_address_stops_no_sweep_of_resets(mailoutbox: list[EmailMessage]) -> None:
    room = make.room()
    first, second = (make.person(name, Role.GUIDE, room) for name in ("Gil", "Gus"))
    Person.objects.filter(pk=first.pk).update(email=LONG)
    Person.objects.filter(pk=second.pk).update(email="gus@example.org")
    for person in (first, second):
        sign_ins.ask_reset(present(person.user).username, "https://gear.example.org")
    assert PasswordReset.objects.count() == 2

    assert account_mail.send_resets() == 1
    assert [mail.to for mail in mailoutbox] == [["gus@example.org"]]
    assert account_mail.send_resets() == 0


@pytest.mark.parametrize("address", [LONG, MIXED], ids=["long", "mixed"])
def test_such_an_address_is_refused_where_it_is_typed(address: str) -> None:
    room = make.room()
    keeper = make.person("Kim", Role.KEEPER, room)
    call = make.caller(keeper)
    made = call("POST", "people/", {"name": "Sam", "email": address, "home_room": room.slug})
    assert made.status_code == 422
    assert "email" in made.json()["errors"]
    edited = call("PATCH", f"people/{keeper.pk}/", {"email": address})
    assert edited.status_code == 422
    page = post(browser(keeper), "/people/add/", name="Sam", email=address, room=room.slug)
    assert page.status_code == 400
    assert "Email cannot be delivered to this address" in text_of(page)
    assert not Person.objects.filter(name="Sam").exists()


@pytest.mark.parametrize("address", ["", "a@ü.org", "a@" + "x" * 63 + ".org", "a@localhost"])
def test_any_other_address_is_taken(address: str) -> None:
    people.require_deliverable(address)


def test_a_domain_whose_part_is_too_long_is_none() -> None:
    with pytest.raises(Invalid, match="Email cannot be delivered to this address"):
        people.require_deliverable("a@" + "x" * 64 + ".org")
