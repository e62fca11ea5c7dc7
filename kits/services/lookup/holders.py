"""Who has a kit now."""

from collections.abc import Iterable

from django.db.models import QuerySet
from django.utils.translation import gettext as _

from gearroom.core.acts import Refused
from gearroom.core.models import Person
from kits.models import Checkout, Kit, Place, Seal
from kits.services.text import wording


def open_checkout(kit: Kit, section: Place | None = None) -> Checkout | None:
    """The checkout that has the kit (or the section) out now."""
    return (
        Checkout.objects.select_related("person", "trip", "section")
        .open()
        .filter(kit=kit, section=section)
        .first()
    )


def open_checkouts(kit: Kit) -> QuerySet[Checkout]:
    """Every checkout that has the kit or a section of it out now."""
    return (
        Checkout.objects.select_related("kit__home_room", "section", "person")
        .open()
        .filter(kit=kit)
    )


def of_places(places: Iterable[Place]) -> dict[int, Person | None]:
    """Who has each section now: who took it or its kit out, else who answers for the kit."""
    sections = [p for p in places if p.kit_id]
    out = (
        Checkout.objects.open()
        .filter(kit__in={p.kit_id for p in sections})
        .select_related("person")
    )
    holders = {(checkout.kit_id, checkout.section_id): checkout.person for checkout in out}
    answers_for = {
        kit.pk: kit.responsible
        for kit in Kit.objects.filter(pk__in={p.kit_id for p in sections}).select_related(
            "responsible"
        )
    }
    return {
        p.pk: holders.get((p.kit_id or 0, p.pk))
        or holders.get((p.kit_id or 0, None))
        or answers_for[p.kit_id or 0]
        for p in sections
    }


def refuse_if_out(kit: Kit) -> None:
    """Raise Refused (`kit-is-out`) while somebody has the kit or a section of it."""
    for held in open_checkouts(kit):
        raise kit_is_out(held)


class KitIsOut(Refused):
    """Somebody has the kit."""


def kit_is_out(held: Checkout) -> KitIsOut:
    """The refusal that says who has the kit and how to go on when it is here all the same."""
    who = held.person.name if held.person else _("an unnamed person")
    what = held.kit.name
    if held.section:
        what = _("%(section)s of %(kit)s") % {"section": held.section.name, "kit": held.kit.name}
    return KitIsOut(
        "kit-is-out",
        _(
            "%(who)s has had %(what)s since %(since)s. If it is here, hand it back for them "
            "first, then take it out."
        )
        % {
            "who": who,
            "what": what,
            "since": wording.moment(held.out_at, held.kit.home_room.time_zone),
        },
        kit=held.kit.name,
        person=held.person_id,
        person_name=who,
        phone=held.person.phone if held.person else "",
        since=held.out_at.isoformat(),
        checkout=held.pk,
        sealed=Seal.objects.unbroken().filter(kit=held.kit, section=held.section).exists(),
    )


def last_checkout(kit: Kit) -> Checkout | None:
    """The time that a kit is out, or else was out last, with its trip."""
    return (
        Checkout.objects.select_related("trip").not_undone().filter(kit=kit).order_by("-id").first()
    )
