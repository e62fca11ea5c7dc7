"""Kit lists that wait for their medical adviser's signature, and signatures that end: said ahead,
and extended by a link that needs no account.

The link says who may extend which signature, signed by this program; it does so once, since it
names the day that the signature ends on.
"""

from dataclasses import dataclass
from datetime import date, timedelta

from django.conf import settings
from django.db.models import Count, F, Max, Q, QuerySet
from django.utils.translation import gettext as _

from gearroom.core import clock
from gearroom.core.acts import Act, actor_of_person, one, secret_key
from gearroom.core.models import Membership, Person
from gearroom.core.rules.roles import Role
from kits.models import PackingListVersion
from kits.rules.lists import signatures as rule
from kits.services.lists import packing_lists
from kits.services.notices import SignatureEnds, notice_text, writing

WITHIN = timedelta(days=120)
"""How long a link may be used."""


@dataclass(frozen=True)
class Extension:
    """A signature that somebody may extend: from its last day until a later one. `done`: somebody
    has signed until later already."""

    version: PackingListVersion
    person: Person
    ends: date
    until: date
    done: bool


# ------------------------------------------------------------------------------------ what stands
def in_use() -> QuerySet[PackingListVersion]:
    """The published versions that matter: the newest of each list, and those that a kit follows;
    with how many kits do (`kits_following`)."""
    following = Count("kits", filter=Q(kits__retired_on=None), distinct=True)
    newest = Max(
        "packing_list__versions__number",
        filter=Q(packing_list__versions__published_at__isnull=False),
    )
    return (
        PackingListVersion.objects.filter(
            published_at__isnull=False, packing_list__retired_on__isnull=True
        )
        .annotate(kits_following=following, newest=newest)
        .filter(Q(kits_following__gt=0) | Q(number=F("newest")))
        .select_related("packing_list", "signed_by")
        .defer("signed_page")
        .order_by("packing_list__name", "number")
    )


def following(version: PackingListVersion) -> int:
    """How many kits follow a version of `in_use`."""
    return int(getattr(version, "kits_following", 0))


def waiting() -> list[PackingListVersion]:
    """Those that nobody has signed, or whose signature has ended."""
    return list(in_use().filter(Q(signed_until__isnull=True) | Q(signed_until__lt=_today())))


def ending() -> list[tuple[PackingListVersion, date]]:
    """Those whose signature ends within 60 days, the soonest first, each with its last day."""
    day = _today()
    until = day + timedelta(days=rule.REMINDER_DAYS[0])
    versions = in_use().filter(signed_until__range=(day, until)).order_by("signed_until", "pk")
    return [(each, each.signed_until) for each in versions if each.signed_until is not None]


def advisers() -> QuerySet[Person]:
    """The medical advisers that are still here."""
    held = Membership.objects.filter(role=Role.ADVISER.value).values("person")
    return Person.objects.filter(pk__in=held, left_on__isnull=True).order_by("pk")


def _today() -> date:
    return clock.today(settings.TIME_ZONE)


# ------------------------------------------------------------------------------------------ ahead
def look() -> None:
    """Tell of signatures that end: whoever signed, while they still advise, else every adviser;
    60, 30 and 7 days ahead, once each. After a while without power that is one notice."""
    soon, today = ending(), _today()
    everybody = list(advisers()) if soon else []
    drafts = [
        writing.Draft(
            person=person,
            fact=f"version:{version.pk}:until:{until.isoformat()}:days:{rule.step(until, today)}",
            facts=SignatureEnds(
                version=version.pk,
                list=version.packing_list.name,
                number=version.number,
                until=until.isoformat(),
                kits=following(version),
            ),
        )
        for version, until in soon
        for person in [p for p in everybody if p.pk == version.signed_by_id] or everybody
    ]
    writing.write("signature-ends", drafts)


# ------------------------------------------------------------------------------------------- link
def by_link(token: str) -> Extension:
    """What a link extends. Raises NotFound for one that was not made here, Refused
    (`link-too-old`)."""
    expired = _("This link has expired. Log in and sign the list on its own page.")
    pk, whose, ends = notice_text.read_link(token, notice_text.SIGNATURE_SALT, WITHIN, expired)
    version = one(in_use().filter(pk=pk), "link", token[:20])
    person = one(Person.objects.filter(pk=whose, left_on=None), "link", token[:20])
    last = date.fromisoformat(ends)
    done = version.signed_until is not None and version.signed_until > last
    return Extension(version, person, last, rule.extended(last, _today()), done)


def extend(extension: Extension) -> PackingListVersion:
    """Sign on for a year, in the name of whom the link was sent to; the page signed on paper and
    the note stay. Extended already, nothing happens. Raises NotAllowed where they advise no more.
    """
    if extension.done:
        return extension.version
    version, person = extension.version, extension.person
    key = secret_key(notice_text.SIGNATURE_SALT, version.pk, person.pk, extension.ends.isoformat())
    return packing_lists.sign(
        Act(actor=actor_of_person(person), key=key),
        version,
        until=extension.until,
        note=version.signature_note,
        page=bytes(version.signed_page or b""),
    )
