"""Photos of what was wrong with a kit."""

from __future__ import annotations

from django.db.models import QuerySet

from gearroom.core.problems import NotFound
from kits.models import EntryKind, Kit, Photo, WithheldKind


def of_what_is_wrong(kit: Kit) -> QuerySet[Photo]:
    """The photos of what is wrong with a kit now, without their pixels; none where nothing is."""
    wrong = kit.withholdings.filter(kind=WithheldKind.SOMETHING_WRONG, released__isnull=True)
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


def photo(kit: Kit, number: int) -> Photo:
    """One photo of a kit. Raises NotFound."""
    found = Photo.objects.filter(pk=number, entry__kit=kit).first()
    if found is None:
        raise NotFound("photo", number)
    return found
