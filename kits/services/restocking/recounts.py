"""Kits that have to be counted: nobody else can say any more what is in them.

Two kits mixed up on the hill are one job, which is over once both are counted. A kit that was
handed back, and for which no use was recorded within two days, is one too.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from django.db.models import Max

from gearroom.core.rules.grouping import grouped
from kits.models import Checkout, Entry, EntryKind, Kit, WithheldKind, Withholding

WAIT = timedelta(hours=48)
"""How long whoever had a kit may take to say what they used."""


@dataclass(frozen=True)
class CountJob:
    """Kits to count in one go, and since when. `mixed`: their contents are; else no use was
    recorded."""

    kits: Sequence[Kit]
    since: datetime
    mixed: bool


def jobs(kits: Iterable[Kit], at: datetime) -> list[CountJob]:
    """What is to be counted of these kits, with the kits of others that they were mixed with; the
    oldest job first. The number of queries does not grow with the kits."""
    kits = list(kits)
    rows = _mixed(kits)
    done = {kit.pk for job in rows for kit in job.kits}
    rows += _unanswered([kit for kit in kits if kit.pk not in done], at)
    return sorted(rows, key=lambda job: (job.since, job.kits[0].name))


def _mixed(kits: Sequence[Kit]) -> list[CountJob]:
    rows = Withholding.objects.open().filter(kind=WithheldKind.MIXED)
    acts = rows.filter(kit__in=kits).values("since__key")
    together = rows.filter(since__key__in=acts).select_related("kit", "since")
    groups = grouped((row.since.key, row) for row in together.order_by("kit__name"))
    return [
        CountJob([row.kit for row in group if row.kit], group[0].since.occurred_at, mixed=True)
        for group in groups.values()
    ]


def _unanswered(kits: Sequence[Kit], at: datetime) -> list[CountJob]:
    waiting = {kit.pk: kit for kit in kits if kit.to_sort_since and kit.to_sort_since <= at - WAIT}
    if not waiting:
        return []
    back = dict(
        Checkout.objects.of_whole_kits()
        .not_undone()
        .filter(kit__in=waiting, closed_by__isnull=False)
        .values_list("kit")
        .annotate(newest=Max("closed_by"))
        .order_by()
    )
    use = dict(
        Entry.objects.filter(kit__in=waiting, kind=EntryKind.USE, reversed_by__isnull=True)
        .values_list("kit")
        .annotate(newest=Max("id"))
        .order_by()
    )
    return [
        CountJob([kit], kit.to_sort_since, mixed=False)
        for pk, kit in waiting.items()
        if kit.to_sort_since and pk in back and use.get(pk, 0) < back[pk]
    ]
