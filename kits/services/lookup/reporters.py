"""Who may report a fact about a kit: whoever has a role in its home or present room, and whoever
had it last, with a role anywhere. What a fact says never refuses it."""

from gearroom.core.acts import Actor, NotFound
from kits.models import Kit
from kits.services.lookup import find
from kits.services.lookup.holders import last_checkout


def require(actor: Actor, use_case: str, kit: Kit) -> None:
    """Raise NotAllowed unless somebody may report this (a use case) about a kit."""
    if actor.may(use_case, kit.home_room_id, kit.room_id):
        return
    if had_it_last(actor, kit):
        actor.require(use_case)
    else:
        actor.require(use_case, kit.home_room_id, kit.room_id)


def kit(actor: Actor, ref: str) -> Kit:
    """A kit by label code or name that somebody may report about. Raises NotFound for another."""
    result = find.any_kit(ref, actor)
    if not find.sees_kit(actor, result) and not had_it_last(actor, result):
        raise NotFound("kit", ref)
    return result


def had_it_last(actor: Actor, kit: Kit) -> bool:
    """Whether somebody has a kit now, or else had it last."""
    held = last_checkout(kit)
    return actor.person is not None and held is not None and held.person_id == actor.person.pk
