"""Who may do what follows from roles by room and, with a token, its scopes."""

import pytest

from gearroom.core.act import SYSTEM, Actor
from gearroom.core.models import Person
from gearroom.core.problems import NotAllowed
from gearroom.core.rules.roles import ANYONE, USE_CASES, Role, Scope

MAIN, HUT = 1, 2


def actor(*roles, room=MAIN, scopes=None):
    held = {room: frozenset(roles)} if roles else {}
    return Actor(person=Person(name="Jo"), roles=held, scopes=scopes)


def test_a_role_counts_in_its_room():
    keeper = actor(Role.KEEPER)
    assert keeper.may("receive", MAIN)
    assert not keeper.may("receive", HUT)


def test_for_what_is_the_whole_organisations_a_role_in_any_room_counts():
    assert actor(Role.KEEPER, room=HUT).may("edit_item")
    assert not actor(Role.GUIDE, room=HUT).may("edit_item")


def test_a_role_everywhere_counts_in_every_room():
    keeper = actor(Role.KEEPER, room=None)
    assert keeper.everywhere and keeper.may("receive", HUT) and keeper.belongs_to(HUT)
    assert keeper.room_ids == frozenset()


def test_roles_here_and_everywhere_add_up():
    both = Actor(
        person=Person(),
        roles={None: frozenset({Role.GUIDE}), HUT: frozenset({Role.KEEPER})},
    )
    assert both.may("receive", HUT) and not both.may("receive", MAIN)
    assert both.may("restock", MAIN)


@pytest.mark.parametrize("use_case", [n for n, r in USE_CASES.items() if r.roles is ANYONE])
def test_a_fact_is_never_refused_for_want_of_a_role(use_case):
    assert actor().may(use_case, HUT)


@pytest.mark.parametrize("use_case", USE_CASES)
def test_a_token_needs_the_scope_whatever_the_role(use_case):
    right = USE_CASES[use_case]
    role = next(iter(right.roles))
    assert actor(role, scopes=frozenset({right.scope})).may(use_case, MAIN)
    without = actor(role, scopes=frozenset(Scope) - {right.scope})
    assert not without.may(use_case, MAIN)
    with pytest.raises(NotAllowed, match=f"lacks the scope “{right.scope}”"):
        without.require(use_case, MAIN)


def test_a_refusal_names_the_roles_that_would_do():
    with pytest.raises(NotAllowed) as caught:
        actor(Role.KEEPER).require("sign_list", MAIN)
    assert caught.value.facts == {"roles": [Role.ADVISER]}


def test_the_program_itself_may_do_everything():
    assert all(SYSTEM.may(use_case, HUT) for use_case in USE_CASES)
    assert SYSTEM.belongs_to(HUT)


@pytest.mark.parametrize(
    ("role", "may_not"),
    [
        (Role.GUIDE, {"receive", "dispose", "check_out_short", "sign_list", "edit_member"}),
        (Role.INSTRUCTOR, {"sign_list", "edit_member", "edit_room"}),
        (Role.ADVISER, {"check_out", "receive", "edit_person", "see_people"}),
        (Role.INTEGRATION, {"check_out", "restock", "see_people", "edit_item"}),
        (Role.ADMINISTRATOR, {"sign_list"}),
    ],
)
def test_the_table_gives_each_role_no_more_than_meant(role, may_not):
    held = actor(role)
    assert {use_case for use_case in may_not if held.may(use_case, MAIN)} == set()


def test_every_scope_and_role_is_used():
    assert {right.scope for right in USE_CASES.values()} == set(Scope)
    assert frozenset().union(*(r.roles for r in USE_CASES.values())) == set(Role)
