"""Whose a webhook is, and who reads what is sent there: whoever made it, in the rooms for which
they may have one now."""

from django.db.models import Q, QuerySet

from gearroom.core.acts import Actor, one, roles_of
from gearroom.core.models import Person, User
from gearroom.core.rules.roles import Role, Roles, has_right_over
from kits.models import Webhook
from kits.services.events import reader


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


def reader_of(webhook: Webhook) -> Actor:
    """Who reads the events of a webhook: whoever made it, in its room or in all of theirs. Without
    a role once they have left, have none for it any more, or, being a program, nobody answers for
    it."""
    owner = webhook.made_by.merged_into or webhook.made_by
    roles = roles_of(owner)
    if owner.left_on is not None or not _is_answered_for(owner, roles):
        roles = {}
    return reader(Actor(person=owner, roles=roles), "edit_webhook", webhook.room_id)


def _is_answered_for(owner: Person, roles: Roles) -> bool:
    """Whether somebody still has the right over a program; true of a person."""
    if not any(Role.INTEGRATION in held for held in roles.values()):
        return True
    user = User.objects.filter(person=owner).select_related("given_by__merged_into").first()
    if user is None or user.given_by is None:
        return user is None or user.is_active
    maker = user.given_by.merged_into or user.given_by
    return user.is_active and maker.left_on is None and has_right_over(roles_of(maker), roles)
