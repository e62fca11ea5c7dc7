"""Kit lists and their versions, with all that is shown of them.

A version is a draft (`drafts`) until it is published (`publishing`) and never changes afterwards;
only its signature (`signatures`) does.
"""

from django.db.models import Prefetch, QuerySet

from gearroom.core.acts.rows import one
from kits.models import ListLine, ListSection, NotCarried, PackingList, PackingListVersion


def all_lists() -> QuerySet[PackingList]:
    """Kit lists with their versions in short."""
    versions = PackingListVersion.objects.select_related("signed_by").defer("signed_page")
    return PackingList.objects.prefetch_related(Prefetch("versions", versions.order_by("number")))


def all_versions() -> QuerySet[PackingListVersion]:
    """Versions with all that is shown of them."""
    lines = ListLine.objects.select_related("item")
    sections = ListSection.objects.prefetch_related(Prefetch("lines", lines))
    return (
        PackingListVersion.objects.select_related("packing_list", "signed_by", "created_by")
        .defer("signed_page")
        .prefetch_related(Prefetch("sections", sections), left_out())
    )


def left_out() -> "Prefetch[str, QuerySet[NotCarried], str]":
    """What versions leave out on purpose, loaded with them."""
    return Prefetch("not_carried", NotCarried.objects.select_related("item", "need", "decided_by"))


def version_of(packing_list: int, number: int) -> PackingListVersion:
    """A version of a list, with all that is shown of it. Raises NotFound."""
    # By a query of lists, which know that no id is as large as an address may have.
    of_list = PackingList.objects.filter(pk=packing_list)
    versions = all_versions().filter(packing_list__in=of_list, number=number)
    return one(versions, "version of that kit list", number)


def locked(version: PackingListVersion) -> PackingListVersion:
    """The version's row, fresh and locked; rows that point at it may be written meanwhile."""
    return (
        PackingListVersion.objects.select_for_update(of=("self",), no_key=True)
        .select_related("packing_list")
        .get(pk=version.pk)
    )


def replaced_by(version: PackingListVersion) -> PackingListVersion | None:
    """The version that was published next, where there is one: what a published version was
    replaced by."""
    if version.published_at is None:
        return None
    return (
        version.packing_list.versions.filter(published_at__isnull=False)
        .filter(number__gt=version.number)
        .order_by("number")
        .first()
    )


def newest_published(version: PackingListVersion) -> PackingListVersion | None:
    """The newest published version of the same list."""
    return (
        PackingListVersion.objects.filter(
            packing_list=version.packing_list_id, published_at__isnull=False
        )
        .defer("signed_page")
        .order_by("-number")
        .first()
    )
