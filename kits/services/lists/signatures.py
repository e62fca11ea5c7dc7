"""Signatures of kit lists: given by a medical adviser, waited for, and ending: said ahead, and
extended by a link that needs no account.

The link says who may extend which signature, signed by this program; it does so once, since it
names the day that the signature ends on.
"""

from dataclasses import dataclass
from datetime import date, timedelta

from django.conf import settings
from django.db.models import Count, F, Max, Q, QuerySet
from django.utils.translation import gettext as _

from gearroom.core import clock
from gearroom.core.acts import (
    Act,
    Invalid,
    NotAllowed,
    Refused,
    TooLarge,
    Unacceptable,
    actor_of_person,
    one,
    secret_key,
)
from gearroom.core.models import Membership, Person
from gearroom.core.rules.roles import Role
from kits.models import Kit, PackingListVersion
from kits.rules.lists import signatures as rule
from kits.services.ledger import known_then
from kits.services.ledger.book import Book
from kits.services.lists.packing_lists import locked
from kits.services.notices import SignatureEnds, notice_text, writing

WITHIN = timedelta(days=120)
"""How long a link may be used."""

MOST_PAGE_BYTES = 5 * 1024 * 1024

_WHOLE_PAGE = {
    "application/pdf": (b"%PDF-", b"%%EOF"),
    "image/png": (b"\x89PNG\r\n\x1a\n", b"IEND\xaeB`\x82"),
    "image/jpeg": (b"\xff\xd8\xff", b"\xff\xd9"),
}
"""How a whole file begins, and what stands near its end. It is kept and handed out as it came, so
nothing here opens what may have been made to harm whoever does."""
_LAST_BYTES = 2048
PAGE_KINDS = tuple(_WHOLE_PAGE)
"""The media types of a signed page."""


@dataclass(frozen=True)
class Extension:
    """A signature that somebody may extend: from its last day until a later one. `done`: somebody
    has signed until later already."""

    version: PackingListVersion
    person: Person
    ends: date
    until: date
    done: bool


# ---------------------------------------------------------------------------------------- signing
def sign(
    act: Act, version: PackingListVersion, *, until: date, note: str = "", page: bytes = b""
) -> PackingListVersion:
    """Sign a published version until a day, as its medical adviser; a page that was signed on
    paper may come with it (PDF, PNG or JPEG, told by its content). Kits that follow the version
    are judged again.

    Raises Refused (`not-published`), Unacceptable (`signature-in-the-past`), Invalid (field
    `page`), TooLarge.
    """
    act.actor.require("sign_list")
    if act.person is None:
        raise NotAllowed(
            "role-missing",
            _("A list must be signed by someone who is logged in under their own name."),
            roles=["adviser"],
        )
    page_type = page_kind(page) if page else ""
    zone = act.person.home_room.time_zone if act.person.home_room else settings.TIME_ZONE
    today = clock.local_date(act.received_at, zone)
    if until < today:
        raise Unacceptable(
            "signature-in-the-past",
            _("The last day of the signature is in the past. Enter today or a later day."),
        )
    with Book(act) as book:
        # The version before the kits, as a kit does that starts to follow it: none is missed.
        version = locked(version)
        book.lock(*Kit.objects.filter(list_version=version).values_list("pk", flat=True))
        if version.published_at is None:
            raise Refused("not-published", _("This is a draft. Publish it, then sign it."))
        known_then.remember_signature(version)
        version.signed_by = act.person
        version.signed_on, version.signed_until = today, until
        version.signature_note = note
        version.signed_page, version.signed_page_type = page or None, page_type
        version.save()
        known_then.remember_signature(version, clock.now())
    return version


def page_kind(page: bytes) -> str:
    """The media type of a signed page, told by its content. Raises Invalid, TooLarge."""
    if len(page) > MOST_PAGE_BYTES:
        raise TooLarge(
            "too-large",
            _("A signed page can be at most %(most)s MiB. Scan it in greyscale.")
            % {"most": MOST_PAGE_BYTES // 2**20},
            limit_bytes=MOST_PAGE_BYTES,
        )
    for media_type, (start, end) in _WHOLE_PAGE.items():
        if page.startswith(start) and end in page[-_LAST_BYTES:]:
            return media_type
    raise Invalid(_("The signed page must be a complete PDF, PNG or JPEG file."), field="page")


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
    return sign(
        Act(actor=actor_of_person(person), key=key),
        version,
        until=extension.until,
        note=version.signature_note,
        page=bytes(version.signed_page or b""),
    )
