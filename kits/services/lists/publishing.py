"""Publishing: a draft that kits may follow from now on, and that never changes again."""

from django.db import transaction
from django.utils.translation import gettext as _

from gearroom.core.acts import Act, Refused, store
from kits.models import ListLine, PackingListVersion
from kits.services.ledger import hazards_covered
from kits.services.lists.packing_lists import locked
from kits.services.text.planning import not_carried_texts


@transaction.atomic
def publish(act: Act, version: PackingListVersion, *, anyway: bool = False) -> PackingListVersion:
    """Publish a draft: it never changes again and kits may follow it. Published already, nothing
    happens.

    Raises Refused: `list-empty` where no section has a line; `hazard-not-served` where it lacks
    what one of its hazards asks for and does not say why, unless `anyway`.
    """
    act.actor.require("edit_list")
    version = locked(version)
    if version.published_at is None:
        if not ListLine.objects.filter(section__version=version).exists():
            raise Refused("list-empty", _("There is nothing on this list yet. Add an item first."))
        if not anyway:
            _refuse_lacking(version)
        store(version, published_at=act.received_at)
    return version


def _refuse_lacking(version: PackingListVersion) -> None:
    lacking = [each for each in hazards_covered.lacking_needs(version) if not each.explained]
    if lacking:
        says = [each.says for each in lacking]
        raise Refused("hazard-not-served", not_carried_texts.publish_anyway(says), lacking=says)
