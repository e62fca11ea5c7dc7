"""What is so from one instant until another, such as a kit past due: noticed once, when it opens,
and again only after it was over. Whoever looks first opens it."""

from collections.abc import Iterable, Sequence
from datetime import datetime

from kits.models import Episode


def open_ones(*kinds: str) -> dict[tuple[str, str], Episode]:
    """The open episodes of some kinds, by kind and subject."""
    return {
        (each.kind, each.subject): each for each in Episode.objects.open().filter(kind__in=kinds)
    }


def open_new(episodes: Sequence[Episode]) -> list[Episode]:
    """Open episodes that all begin at one instant; return those that were not open, the oldest
    first. Another look at the same moment opens, and tells of, the others."""
    Episode.objects.bulk_create(episodes, ignore_conflicts=True)
    opened = Episode.objects.open().filter(
        kind__in={each.kind for each in episodes},
        subject__in=[each.subject for each in episodes],
        opened_at__in={each.opened_at for each in episodes},
    )
    return list(opened.order_by("pk"))


def close(episodes: Iterable[Episode], now: datetime) -> None:
    """Close these episodes, where nobody did yet."""
    if over := [each.pk for each in episodes]:
        Episode.objects.open().filter(pk__in=over).update(closed_at=now)
