"""Photos of what was wrong with a kit."""

from django.db.models import Q, QuerySet

from gearroom.core.acts.act import Actor
from gearroom.core.acts.rows import one
from kits.models import EntryKind, Kit, Photo, WithheldKind
from kits.services.lookup import find


def of_what_is_wrong(kit: Kit) -> QuerySet[Photo]:
    """The photos of what is wrong with a kit now, without their pixels; none where nothing is."""
    wrong = kit.withholdings.open().filter(kind=WithheldKind.SOMETHING_WRONG)
    return (
        Photo.objects.defer("jpeg")
        .filter(
            entry__kit=kit,
            entry__kind=EntryKind.WITHHOLD,
            entry__reversed_by__isnull=True,
            entry__gte=wrong.values("since")[:1],
        )
        .order_by("pk")
    )


def photo(actor: Actor, kit: Kit, number: int) -> Photo:
    """One photo of a kit: of what is wrong with it now, or of an act that somebody may see. Raises
    NotFound."""
    now = of_what_is_wrong(kit).values("pk")
    acts = find.entries_of(actor).filter(kit=kit)
    photos = Photo.objects.filter(Q(pk__in=now) | Q(entry__in=acts), pk=number)
    return one(photos, "photo", number)
