"""Who may do what follows from roles by room and, with a token, its scopes."""

from typing import Any

import pytest

from gearroom.core.acts import SYSTEM, Actor, NotAllowed
from gearroom.core.models import Person
from gearroom.core.rules.roles import (
    ANYONE,
    MEMBERS,
    USE_CASES,
    Role,
    Roles,
    Scope,
    has_right_over,
)

MAIN, HUT = 1, 2


def actor(
    *roles: Role, room: int | None = MAIN, scopes: frozenset[Any] | frozenset[Scope] | None = None
) -> Actor:
    held = {room: frozenset(roles)} if roles else {}
    return Actor(person=Person(name="Jo"), roles=held, scopes=scopes)


def test_a_role_counts_in_its_room() -> None:
    keeper = actor(Role.KEEPER)
    assert keeper.may("receive", MAIN)
    assert not keeper.may("receive", HUT)


def test_for_what_is_the_whole_organisations_a_role_in_any_room_counts() -> None:
    assert actor(Role.KEEPER, room=HUT).may("edit_item")
    assert not actor(Role.GUIDE, room=HUT).may("edit_item")


def test_a_role_everywhere_counts_in_every_room() -> None:
    keeper = actor(Role.KEEPER, room=None)
    assert keeper.everywhere and keeper.may("receive", HUT) and keeper.belongs_to(HUT)
    assert keeper.room_ids == frozenset()


def test_roles_here_and_everywhere_add_up() -> None:
    both = Actor(
        person=Person(),
        roles={None: frozenset({Role.GUIDE}), HUT: frozenset({Role.KEEPER})},
    )
    assert both.may("receive", HUT) and not both.may("receive", MAIN)
    assert both.may("restock", MAIN)


@pytest.mark.parametrize("use_case", [n for n, r in USE_CASES.items() if r.roles is ANYONE])
def test_what_needs_no_role_is_anybodys(use_case: str) -> None:
    assert actor().may(use_case, HUT)


@pytest.mark.parametrize("use_case", [n for n, r in USE_CASES.items() if r.roles == MEMBERS])
def test_a_fact_is_reported_by_whoever_has_a_role_there(use_case: str) -> None:
    assert not actor().may(use_case)
    guide = actor(Role.GUIDE)
    assert guide.may(use_case) and guide.may(use_case, HUT, MAIN)
    assert not guide.may(use_case, HUT)
    with pytest.raises(NotAllowed, match="You have no role in this gear room"):
        guide.require(use_case, HUT)


@pytest.mark.parametrize("use_case", [n for n, r in USE_CASES.items() if r.everywhere])
def test_what_is_for_administrators_of_all_rooms_is_not_for_those_of_one(use_case: str) -> None:
    assert actor(Role.ADMINISTRATOR, room=None).may(use_case)
    assert not actor(Role.ADMINISTRATOR, room=HUT).may(use_case)
    assert not actor(Role.ADMINISTRATOR, room=HUT).may(use_case, HUT)


@pytest.mark.parametrize("use_case", USE_CASES)
def test_a_token_needs_the_scope_whatever_the_role(use_case: str) -> None:
    right = USE_CASES[use_case]
    role = next(iter(right.roles or right.everywhere or Role))
    room = None if role in right.everywhere else MAIN
    assert actor(role, room=room, scopes=frozenset({right.scope})).may(use_case, MAIN)
    without = actor(role, room=room, scopes=frozenset(Scope) - {right.scope})
    assert not without.may(use_case, MAIN)
    with pytest.raises(NotAllowed, match=f"does not have the scope “{right.scope}”"):
        without.require(use_case, MAIN)


def test_a_refusal_names_the_roles_that_would_do() -> None:
    with pytest.raises(NotAllowed) as caught:
        actor(Role.KEEPER).require("sign_list", MAIN)
    assert caught.value.facts == {"roles": [Role.ADVISER]}


def test_the_program_itself_may_do_everything() -> None:
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
def test_the_table_gives_each_role_no_more_than_meant(role: Role, may_not: set[str]) -> None:
    held = actor(role)
    assert {use_case for use_case in may_not if held.may(use_case, MAIN)} == set()


def test_every_scope_and_role_is_used() -> None:
    assert {right.scope for right in USE_CASES.values()} == set(Scope)
    given = [right.roles for right in USE_CASES.values() if right.roles not in (ANYONE, MEMBERS)]
    assert frozenset().union(*given) == set(Role)


# ------------------------------------------------------------------------ people's accounts
def only(role: Role, room: int | None = MAIN) -> Roles:
    return {room: frozenset({role})}


ROLES_AND_ROOMS = [(role, room) for role in Role for room in (MAIN, HUT, None)]


@pytest.mark.parametrize(("role", "room"), ROLES_AND_ROOMS)
def test_an_administrator_of_every_room_has_the_right_over_everybody(
    role: Role, room: int | None
) -> None:
    assert has_right_over(only(Role.ADMINISTRATOR, None), only(role, room))


@pytest.mark.parametrize(("role", "room"), ROLES_AND_ROOMS)
def test_an_administrator_of_a_room_has_it_over_those_of_that_room_but_its_adviser(
    role: Role, room: int | None
) -> None:
    has = has_right_over(only(Role.ADMINISTRATOR), only(role, room))
    assert has == (room == MAIN and role is not Role.ADVISER)


@pytest.mark.parametrize(("role", "room"), ROLES_AND_ROOMS)
@pytest.mark.parametrize("mine", [Role.KEEPER, Role.INSTRUCTOR])
def test_a_keeper_has_it_over_guides_of_their_room_alone(
    mine: Role, role: Role, room: int | None
) -> None:
    assert has_right_over(only(mine), only(role, room)) == (room == MAIN and role is Role.GUIDE)


@pytest.mark.parametrize(("role", "room"), ROLES_AND_ROOMS)
@pytest.mark.parametrize("mine", [Role.GUIDE, Role.ADVISER, Role.INTEGRATION])
def test_others_have_it_over_nobody_with_a_role(mine: Role, role: Role, room: int | None) -> None:
    assert not has_right_over(only(mine), only(role, room))
    assert not has_right_over(only(mine, None), only(role, room))


def test_one_role_too_many_takes_the_right_away() -> None:
    theirs: Roles = {MAIN: frozenset({Role.GUIDE}), HUT: frozenset({Role.GUIDE})}
    assert not has_right_over(only(Role.KEEPER), theirs)
    assert has_right_over({MAIN: frozenset({Role.KEEPER}), HUT: frozenset({Role.KEEPER})}, theirs)
    assert has_right_over(only(Role.KEEPER, None), theirs)
