"""What a version of a list leaves out on purpose, and why: a line of its own kind."""

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import NamedTuple

from django.utils.translation import gettext as _

from gearroom.core.acts import Invalid, refuse_first
from gearroom.core.models import Person
from kits.models import Activity, Item, Need, NotCarried, PackingListVersion, WhyNotCarried
from kits.rules.text.hazards import hazards
from kits.services.text.wording import as_invalid

MOST_NOT_CARRIED = 100
FIELD = "not_carried"


class CarriedWhen(NamedTuple):
    """When something is carried all the same: for these hazards, for activities (keys), or from so
    many hours to definitive care on."""

    hazards: Sequence[str] = ()
    activities: Sequence[str] = ()
    hours_to_care: Decimal | None = None


NEVER = CarriedWhen()


@dataclass(frozen=True)
class NotCarriedDraft:
    """An item or a need (one of them) that is not carried: why, in words too; what is done instead;
    when it is carried all the same; who is trained to use it; who decided it and when; when to look
    at it again, or after what."""

    why: WhyNotCarried
    item: Item | None = None
    need: Need | None = None
    words: str = ""
    instead: str = ""
    when: CarriedWhen = NEVER
    trained: str = ""
    decided_by: Person | None = None
    decided_on: date | None = None
    look_again_on: date | None = None
    look_again_after: str = ""

    @property
    def name(self) -> str:
        """What is not carried."""
        return str(self.item or self.need)

    @property
    def key(self) -> str:
        """Which it is among the lines of its version."""
        return f"item-{self.item.pk}" if self.item else f"need-{self.need.pk if self.need else 0}"


def write(version: PackingListVersion, lines: Sequence[NotCarriedDraft]) -> None:
    """Let a draft leave out these, in place of what it left out before."""
    version.not_carried.all().delete()
    NotCarried.objects.bulk_create(
        NotCarried(
            version=version,
            item=line.item,
            need=line.need,
            why=line.why,
            words=line.words,
            instead=line.instead,
            hazards=list(line.when.hazards),
            activities=list(line.when.activities),
            hours_to_care=line.when.hours_to_care,
            trained=line.trained,
            decided_by=line.decided_by,
            decided_on=line.decided_on,
            look_again_on=line.look_again_on,
            look_again_after=line.look_again_after,
            position=position,
        )
        for position, line in enumerate(lines)
    )


def of(version: PackingListVersion) -> list[NotCarriedDraft]:
    """What a version leaves out, as a draft of the next."""
    rows = version.not_carried.select_related("item", "need", "decided_by")
    return [draft_of(row) for row in rows]


def draft_of(row: NotCarried) -> NotCarriedDraft:
    """A line as a draft says it: what it is compared by, and copied from."""
    return NotCarriedDraft(
        why=WhyNotCarried(row.why),
        item=row.item,
        need=row.need,
        words=row.words,
        instead=row.instead,
        when=CarriedWhen(tuple(row.hazards), tuple(row.activities), row.hours_to_care),
        trained=row.trained,
        decided_by=row.decided_by,
        decided_on=row.decided_on,
        look_again_on=row.look_again_on,
        look_again_after=row.look_again_after,
    )


def activity_names() -> dict[str, str]:
    """The names of activities by key, as they are on record."""
    return dict(Activity.objects.values_list("key", "name"))


def refuse_wrong(lines: Sequence[NotCarriedDraft], carried: set[int]) -> None:
    """Raise Invalid (field `not_carried`) for what cannot be: neither an item nor a need, both, one
    twice, an item that the list carries (`carried`), *another reason* without words, hazards or
    activities that nobody knows, more than there can be."""
    if len(lines) > MOST_NOT_CARRIED:
        raise Invalid(
            _("A list can leave out at most %(most)s items and needs.")
            % {"most": MOST_NOT_CARRIED},
            field=FIELD,
        )
    known = set(Activity.objects.values_list("key", flat=True))
    times = Counter((line.item, line.need) for line in lines)
    for line in lines:
        name = {"name": line.name}
        unknown = sorted(set(line.when.activities) - known)
        refuse_first(
            (
                (line.item is None) == (line.need is None),
                Invalid(_("Choose an item or a need that is not carried."), field=FIELD),
            ),
            (
                times[line.item, line.need] > 1,
                Invalid(
                    _("%(name)s is left out twice. Combine the two entries.") % name, field=FIELD
                ),
            ),
            (
                line.item is not None and line.item.pk in carried,
                Invalid(
                    _("%(name)s is on this list. Remove it from one of the two.") % name,
                    field=FIELD,
                ),
            ),
            (
                line.why == WhyNotCarried.OTHER and not line.words.strip(),
                Invalid(_("Enter why %(name)s is not carried.") % name, field=FIELD),
            ),
            (
                bool(unknown),
                Invalid(
                    _("There is no activity “%(activity)s”.")
                    % {"activity": ", ".join(unknown[:1])},
                    field=FIELD,
                ),
            ),
        )
        with as_invalid(FIELD):
            hazards(line.when.hazards)
