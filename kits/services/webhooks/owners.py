"""Whose a webhook is, and of which rooms it gets events: those for which whoever made it may have
one now."""

from django.db.models import Q, QuerySet

from gearroom.core.acts import Actor, one, roles_of
from gearroom.core.models import Person, User
from gearroom.core.rules.roles import USE_CASES, Role, Roles, has_right_over
from kits.models import Webhook


def webhooks_of(actor: Actor) -> QuerySet[Webhook]:
    """Those that somebody may see and change: their own, and of the rooms that they administer; of
    every room whoever administers all."""
    rows = Webhook.objects.select_related("room", "made_by__merged_into")
    if Role.ADMINISTRATOR in actor.roles.get(None, ()):
        return rows
    theirs = [room for room, roles in actor.roles.items() if Role.ADMINISTRATOR in roles]
    return rows.filter(Q(made_by=actor.person) | Q(room__in=theirs))


def get(actor: Actor, webhook: int) -> Webhook:
    """One of those. Raises NotFound."""
    return one(webhooks_of(actor).filter(pk=webhook), "webhook", webhook)


def rooms_of(webhook: Webhook) -> frozenset[int] | None:
    """The rooms (ids; None: all) that a webhook gets events of now: of none once whoever made it
    has left, has no role for it any more, or, being a program, nobody answers for it."""
    owner = webhook.made_by.merged_into or webhook.made_by
    roles = roles_of(owner)
    if owner.left_on is not None or not _is_answered_for(owner, roles):
        return frozenset()
    rights = USE_CASES["edit_webhook"].roles or frozenset()
    may = {room for room, held in roles.items() if held & rights}
    if webhook.room_id is not None:
        return frozenset({webhook.room_id}) if may & {None, webhook.room_id} else frozenset()
    return None if None in may else frozenset(room for room in may if room is not None)


def _is_answered_for(owner: Person, roles: Roles) -> bool:
    """Whether somebody still has the right over a program; true of a person."""
    if not any(Role.INTEGRATION in held for held in roles.values()):
        return True
    user = User.objects.filter(person=owner).select_related("given_by__merged_into").first()
    if user is None or user.given_by is None:
        return user is None or user.is_active
    maker = user.given_by.merged_into or user.given_by
    return user.is_active and maker.left_on is None and has_right_over(roles_of(maker), roles)
