"""A fact is never refused for what it says; but who reports it must be one who may.

Every report of a fact that the API takes, by whoever must not report it: nobody's role, a token
that only reads, a role in another room alone. Nothing is written then.
"""

from collections.abc import Callable
from typing import Any

import pytest

from gearroom.core.models import User
from gearroom.core.rules.roles import Role, Scope
from kits.models import Checkout, Entry, Kit
from kits.services.custody import custody
from tests.core.api.made import Caller, is_problem
from tests.kits import factories as make
from tests.present import present
from tests.site.browsing import browser, post

pytestmark = pytest.mark.django_db

KIT = "kits/DAY-01/"
OF_ANY_KIT = {
    "emergency": (f"{KIT}check-out/", {"emergency": True}),
    "emergency, reported late": (f"{KIT}check-out/", {"emergency": True, "already_gone": True}),
    "emergency, by scan": (
        "scans/",
        {"text": "DAY-01", "intent": "check-out", "emergency": True},
    ),
    "hand-back": (f"{KIT}check-in/", {"as_found": "sort-later"}),
    "hand-back, by scan": ("scans/", {"text": "DAY-01", "intent": "check-in"}),
}
"""What whoever has a role anywhere may report of any kit."""

OF_NEAR_KITS = {
    "gone": (f"{KIT}check-out/", {"already_gone": True}),
    "gone, by scan": ("scans/", {"text": "DAY-01", "intent": "check-out", "already_gone": True}),
    "pass": (f"{KIT}pass/", {"person": "{guide}"}),
    "use": (f"{KIT}use/", {"used": [{"item": "{dressing}", "units": 1}]}),
    "needed": (f"{KIT}needed/", {"needed": [{"words": "a second splint"}]}),
    "not ours": (f"{KIT}not-ours/", {"inside": True}),
    "mixed": (f"{KIT}mixed/", {"kits": ["DAY-02"]}),
    "something wrong": (f"{KIT}withhold/", {"kind": "something-wrong", "note": "torn"}),
    "lost": (f"{KIT}lost/", {}),
    "found": (f"{KIT}lost/", {"found": True}),
}
"""What is reported by whoever has a role in the kit's home or present room, or had it last."""


@pytest.fixture
def world() -> make.World:
    return make.world()


def said(world: make.World, body: object) -> Any:
    """The body with the numbers of the world's people and things."""
    known = {"{guide}": str(world.guide.pk), "{dressing}": world.dressing.pk}

    def filled(value: Any) -> Any:
        if isinstance(value, dict):
            return {name: filled(each) for name, each in value.items()}
        if isinstance(value, list):
            return [filled(each) for each in value]
        return known.get(value, value) if isinstance(value, str) else value

    return filled(body)


@pytest.fixture
def nothing_happened(world: make.World) -> Callable[[], bool]:
    """Says whether nothing was written since."""
    before = Entry.objects.count()
    return lambda: Entry.objects.count() == before and not Checkout.objects.exists()


every_fact = pytest.mark.parametrize("fact", [*OF_ANY_KIT, *OF_NEAR_KITS])
near_fact = pytest.mark.parametrize("fact", list(OF_NEAR_KITS))


def report(caller: Caller, world: make.World, fact: Any) -> Any:
    path, body = {**OF_ANY_KIT, **OF_NEAR_KITS}[fact]
    return caller.post(path, said(world, body))


@every_fact
def test_nobody_without_a_role_reports_a_fact(
    world: make.World, fact: Any, nothing_happened: Callable[[], bool]
) -> None:
    answer = report(make.caller(make.person("Nora")), world, fact)

    assert answer.status_code in (403, 404), answer.content
    assert nothing_happened()


@every_fact
@pytest.mark.parametrize("scopes", [[Scope.READ], [Scope.READ, Scope.TRIPS]])
def test_a_token_for_something_else_reports_no_fact(
    world: make.World, fact: Any, scopes: list[Scope], nothing_happened: Callable[[], bool]
) -> None:
    keeper = User.objects.get(pk=present(world.keeper.user_id))

    answer = report(Caller(keeper, scopes), world, fact)

    is_problem(answer, 403, "scope-missing")
    assert nothing_happened()


@near_fact
def test_a_fact_about_another_rooms_kit_is_that_rooms_to_report(
    world: make.World, fact: Any, nothing_happened: Callable[[], bool]
) -> None:
    answer = report(make.caller(make.person("Hal", Role.KEEPER, world.hut)), world, fact)

    assert answer.status_code == (422 if "scan" in fact else 404), answer.content
    assert nothing_happened()


@pytest.mark.parametrize("fact", list(OF_ANY_KIT))
def test_anybody_with_a_role_takes_a_kit_to_an_emergency_and_hands_one_in(
    world: make.World, fact: object
) -> None:
    answer = report(make.caller(make.person("Hal", Role.GUIDE, world.hut)), world, fact)

    assert answer.status_code in (200, 201), answer.content


@every_fact
def test_whoever_has_a_role_in_the_room_reports_every_fact(world: make.World, fact: Any) -> None:
    answer = report(make.caller(make.person("Gwen", Role.GUIDE, world.store)), world, fact)

    assert answer.status_code in (200, 201), answer.content


@pytest.mark.parametrize(
    "fact", [each for each in OF_NEAR_KITS if each != "pass" and not each.startswith("gone")]
)
def test_whoever_had_it_last_reports_what_became_of_it(world: make.World, fact: object) -> None:
    rescuer = make.person("Hal", Role.GUIDE, world.hut)
    custody.check_out(make.act(rescuer), world.day_01, emergency=True)
    if fact == "mixed":
        custody.check_out(make.act(rescuer), world.day_02, emergency=True)

    answer = report(make.caller(rescuer), world, fact)

    assert answer.status_code in (200, 201), answer.content


def test_whoever_has_it_passes_it_on_though_it_is_of_another_room(world: make.World) -> None:
    rescuer, other = (make.person(name, Role.GUIDE, world.hut) for name in ("Hal", "Ivy"))
    held = custody.check_out(make.act(rescuer), world.day_01, emergency=True).checkout

    answer = make.caller(rescuer).post(f"{KIT}pass/", {"person": str(other.pk)})

    assert answer.status_code == 200, answer.content
    present(held).refresh_from_db()
    assert present(held).person == other


def test_a_hand_in_is_not_refused_for_the_kits_that_it_names(world: make.World) -> None:
    """Whoever brings a kit may say what became of it: that holds another back as *wet* would."""
    hal = make.person("Hal", Role.GUIDE, world.hut)

    answer = make.caller(hal).post(f"{KIT}check-in/", {"mixed_with": ["DAY-02"]})

    assert answer.status_code == 200, answer.content
    held = Kit.objects.get(name="DAY-02").withholdings.get()
    assert held.since.person == hal


def test_a_page_takes_no_report_of_somebody_without_a_role(
    world: make.World, nothing_happened: Callable[[], bool]
) -> None:
    nora = browser(make.person("Nora"))

    post(nora, "/scan/", text="DAY-01", intent="check-out", emergency="1")
    post(nora, "/scan/", text="DAY-01", intent="check-in", as_found="sort-later")
    post(nora, "/kits/DAY-01/hand-back/", as_found="sort-later")

    assert nothing_happened()
