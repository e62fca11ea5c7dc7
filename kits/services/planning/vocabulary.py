"""The words that planning is in, which an organisation edits: needs, activities, what an item
serves, and what a hazard asks of a list. What was recorded with a word that is retired stays."""

from collections.abc import Iterable
from typing import TypeVar

from django.conf import settings
from django.db import transaction
from django.utils.text import slugify
from django.utils.translation import gettext as _

from gearroom.core import clock
from gearroom.core.acts import Act, Invalid, NotFound, store
from gearroom.core.acts.rows import locked, name_taken, one, refuse_taken_name
from gearroom.core.rules.grouping import grouped
from kits.models import Activity, HazardNeed, Item, ItemNeed, Need, NeedGroup
from kits.rules.planning.records.units_per_use import MOST_UNITS
from kits.services.text.wording import HAZARDS

MOST_NAME, MOST_REASON, MOST_LEAST = 80, 300, 1000
LONGEST_KEY = 40

Word = TypeVar("Word", Need, Activity)


def need_of(key: str) -> Need:
    """A need by its key. Raises NotFound."""
    return one(Need.objects.filter(key=key), "need", key)


def activity_of(key: str) -> Activity:
    """An activity by its key. Raises NotFound."""
    return one(Activity.objects.filter(key=key), "activity", key)


# ------------------------------------------------------------------------------- needs, activities
def add_need(act: Act, *, name: str, group: str) -> Need:
    """Add a need to a group. Raises Invalid, Refused (`name-taken`)."""
    act.actor.require("edit_list")
    if group not in NeedGroup.values:
        raise Invalid(_("Choose a group."), field="group")
    return _named(Need(group=group), name)


def edit_need(act: Act, need: Need, *, name: str, group: str) -> Need:
    """Rename a need, or move it to another group. Raises Invalid, Refused (`name-taken`)."""
    act.actor.require("edit_list")
    if group not in NeedGroup.values:
        raise Invalid(_("Choose a group."), field="group")
    with transaction.atomic():
        fresh = locked(act, need)
        fresh.group = group
        return _named(fresh, name)


def add_activity(act: Act, *, name: str) -> Activity:
    """Add an activity. Raises Invalid, Refused (`name-taken`)."""
    act.actor.require("edit_list")
    return _named(Activity(), name)


def rename_activity(act: Act, activity: Activity, *, name: str) -> Activity:
    """Rename an activity. Raises Invalid, Refused (`name-taken`)."""
    act.actor.require("edit_list")
    with transaction.atomic():
        return _named(locked(act, activity), name)


def retire(act: Act, word: Word) -> Word:
    """Offer a need or an activity no more, and count a need no more in plans."""
    act.actor.require("edit_list")
    with transaction.atomic():
        fresh = locked(act, word)
        if fresh.retired_on is None:
            store(fresh, retired_on=clock.today(settings.TIME_ZONE))
    return fresh


def bring_back(act: Act, word: Word) -> Word:
    """Take a retired need or activity into use again."""
    act.actor.require("edit_list")
    with transaction.atomic():
        fresh = locked(act, word)
        store(fresh, retired_on=None)
    return fresh


def _named(word: Word, name: str) -> Word:
    """Give a word its name and, where it is new, a key of its own, and save it."""
    word.name = " ".join(name.split())
    if not 0 < len(word.name) <= MOST_NAME:
        raise Invalid(
            _("Enter a name of at most %(most)d characters.") % {"most": MOST_NAME}, field="name"
        )
    rows = type(word).objects
    taken = _("“%(name)s” already exists. Choose another name.") % {"name": word.name}
    if rows.filter(name__iexact=word.name).exclude(pk=word.pk).exists():
        raise name_taken(taken)
    if not word.key:
        word.key = _key(word.name, set(rows.values_list("key", flat=True)))
    with refuse_taken_name(taken):
        word.save()
    return word


def _key(name: str, taken: set[str]) -> str:
    plain = slugify(name)[: LONGEST_KEY - 4].strip("-") or "other"
    numbered = (f"{plain}-{n}" for n in range(2, len(taken) + 3))
    return plain if plain not in taken else next(key for key in numbered if key not in taken)


# ----------------------------------------------------------------------------- what an item serves
def put_serves(
    act: Act,
    item: Item,
    need: Need,
    *,
    best: bool = True,
    units_per_use: int = 1,
    needs_training: bool = False,
) -> ItemNeed:
    """Say that an item serves a need, as the best there is or instead of it (`best` False), with
    so many units a use, and whether only somebody trained for it uses it; or change that. Raises
    Invalid."""
    act.actor.require("edit_list")
    if not 1 <= units_per_use <= MOST_UNITS:
        raise Invalid(
            _("Enter how many units one use takes, from 1 to %(most)d.") % {"most": MOST_UNITS},
            field="units_per_use",
        )
    if need.retired_on is not None:
        raise Invalid(_("“%(need)s” has been retired.") % {"need": need.name}, field="need")
    row, _made = ItemNeed.objects.update_or_create(
        item=item,
        need=need,
        defaults={
            "best": best,
            "units_per_use": units_per_use,
            "needs_training": needs_training,
        },
    )
    return row


def remove_serves(act: Act, item: Item, need: Need) -> None:
    """Say that an item no longer serves a need. Raises NotFound."""
    act.actor.require("edit_list")
    if not ItemNeed.objects.filter(item=item, need=need).delete()[0]:
        raise NotFound("need", need.key)


# ------------------------------------------------------------------------------ what a hazard asks
def put_hazard_need(
    act: Act, hazard: str, need: Need, *, units: int = 1, reason: str
) -> HazardNeed:
    """Say that a list that serves a hazard must have so many units for a need, and why; or change
    that. Raises Invalid."""
    act.actor.require("edit_list")
    if hazard not in HAZARDS:
        raise Invalid(_("Choose a hazard."), field="hazard")
    if not 1 <= units <= MOST_LEAST:
        raise Invalid(_("Enter at least 1 unit."), field="units")
    if not (reason := " ".join(reason.split())[:MOST_REASON]):
        raise Invalid(_("Enter why lists must have something for this need."), field="reason")
    if need.retired_on is not None:
        raise Invalid(_("“%(need)s” has been retired.") % {"need": need.name}, field="need")
    row, _made = HazardNeed.objects.update_or_create(
        hazard=hazard, need=need, defaults={"units": units, "reason": reason}
    )
    return row


def remove_hazard_need(act: Act, hazard: str, need: Need) -> None:
    """Ask a need no more of lists that serve a hazard. Raises NotFound."""
    act.actor.require("edit_list")
    if not HazardNeed.objects.filter(hazard=hazard, need=need).delete()[0]:
        raise NotFound("need", need.key)


def trained_for(items: Iterable[int]) -> dict[int, list[Need]]:
    """The needs for which only somebody trained uses an item, by the item's id."""
    rows = ItemNeed.objects.filter(item__in=set(items), needs_training=True)
    return grouped((row.item_id, row.need) for row in rows.select_related("need"))
