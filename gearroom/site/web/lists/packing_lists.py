"""Kit lists: every list, one version to read and print, compared, signed, and what it would
change; a signature that ends, extended by a link. Drafts are edited in `draft_table`."""

from collections.abc import Iterable
from datetime import date
from enum import StrEnum
from typing import Any

from django.db.models import Count, QuerySet
from django.http import HttpRequest, HttpResponse, QueryDict
from django.shortcuts import redirect
from django.urls import reverse
from django.utils.translation import gettext as _, gettext_lazy, ngettext

from gearroom.core.acts import Act, Actor, Invalid, NotFound, Problem
from gearroom.core.rules.grouping import grouped
from gearroom.site.web.lists import not_carried
from gearroom.site.web.page import (
    Day,
    Done,
    PageForm,
    Several,
    ShortText,
    WholeNumber,
    actor,
    back_to,
    errors,
    form_view,
    read_field,
    read_page,
    show,
    today_here,
    words,
)
from gearroom.site.web.planning import fits
from kits.models import Kit, PackingList, PackingListVersion, Substitute
from kits.rules.ledger.facts import Line
from kits.services.advice import access as advice
from kits.services.kits import kits
from kits.services.ledger import hazards_covered
from kits.services.lists import comparison, drafts, packing_lists, publishing, signatures
from kits.services.lookup import find

MOST_LISTS = 200


class VersionState(StrEnum):
    """How a version stands."""

    DRAFT = "draft"
    UNSIGNED = "unsigned"
    ENDED = "ended"
    SIGNED = "signed"
    REPLACED = "replaced"

    @property
    def mark(self) -> str:
        """How a page marks it."""
        return {
            VersionState.DRAFT: "short",
            VersionState.SIGNED: "ok",
            VersionState.REPLACED: "",
        }.get(self, "stop")


def state_of(
    version: PackingListVersion, today: date, newest: PackingListVersion | None = None
) -> VersionState:
    """How a version stands today; `newest` is the last published one of its list."""
    if version.published_at is None:
        return VersionState.DRAFT
    if newest is not None and version.number < newest.number:
        return VersionState.REPLACED
    if version.signed_until is None:
        return VersionState.UNSIGNED
    return VersionState.SIGNED if version.signed_until >= today else VersionState.ENDED


def address(name: str, version: PackingListVersion) -> str:
    """The address of a page about a version."""
    return reverse(name, args=[version.packing_list_id, version.number])


# -------------------------------------------------------------------------------------- all lists
class VersionForm(PageForm):
    """For how many people and days a version is, against what, and a note."""

    people = WholeNumber(least=1, most=drafts.MOST_PEOPLE, label=gettext_lazy("People"))
    days = WholeNumber(least=1, most=drafts.MOST_DAYS, label=gettext_lazy("Days"))
    hazard = Several()
    note = ShortText(500)


def version_values(sent: QueryDict) -> dict[str, Any]:
    """The values of that form, as services take them. Raises Invalid."""
    values = VersionForm.read(sent)
    values["hazards"] = values.pop("hazard")
    return values


class ListForm(PageForm):
    """A new kit list."""

    name = ShortText(80)
    list_note = ShortText()


def _list_page(request: HttpRequest, problem: Problem | None = None) -> HttpResponse:
    today, who = today_here(request), actor(request)
    followers: dict[int, int] = dict(
        _kits_in_use(who).values_list("list_version").annotate(Count("pk")).order_by()
    )
    return show(
        request,
        "site/lists/lists.html",
        problem=problem,
        rows=[_row(each, followers, today) for each in packing_lists.all_lists()[:MOST_LISTS]],
        may_edit=who.may("edit_list"),
        may_advise=advice.may_send(who),
        hazards=words.HAZARDS.items(),
        values=request.POST,
        chosen=request.POST.getlist("hazard"),
    )


def _row(of: PackingList, followers: dict[int, int], today: date) -> dict[str, Any]:
    versions = list(of.versions.all())
    latest = versions[-1]
    newest = next((each for each in reversed(versions) if each.published_at), None)
    kits_now = sum(followers.get(version.pk, 0) for version in versions)
    return {
        "list": of,
        "newest": newest,
        "draft": None if latest.published_at else latest,
        "state": state_of(newest or latest, today),
        "kits": kits_now,
        "behind": kits_now - followers.get(newest.pk, 0) if newest else 0,
    }


@form_view("look", "lists", page_of=_list_page)
def all_lists(act: Act, request: HttpRequest) -> Done:
    """Every kit list with how its newest versions stand; a form makes a new one."""
    draft = drafts.Draft(**version_values(request.POST))
    values = ListForm.read(request.POST)
    made = drafts.make_list(act, name=values["name"], note=values["list_note"], draft=draft)
    return Done(
        _("%(name)s has been created as a draft. Now add its sections and items.")
        % {"name": made.packing_list.name},
        to=address("list-edit", made),
    )


@read_page()
def newest(request: HttpRequest, id: int) -> HttpResponse:
    """Go to the newest published version of a list, or to its draft where there is no other."""
    of_list = PackingList.objects.filter(pk=id)
    rows = PackingListVersion.objects.filter(packing_list__in=of_list).defer("signed_page")
    row = rows.filter(published_at__isnull=False).order_by("-number").first() or rows.first()
    if row is None:
        raise NotFound("kit list", id)
    return redirect(address("list-version", row))


# ------------------------------------------------------------------------------------ one version
@read_page()
def version(
    request: HttpRequest, id: int, number: int, problem: Problem | None = None
) -> HttpResponse:
    """One version, to read, to print with its reasons, and to sign."""
    who, today, of = actor(request), today_here(request), packing_lists.version_of(id, number)
    others = list(of.packing_list.versions.select_related("signed_by").defer("signed_page"))
    newest = next((each for each in reversed(others) if each.published_at), None)
    lacking = hazards_covered.lacking_needs(of)
    sections = [(section, list(section.lines.all())) for section in of.sections.all()]
    instead = substitutes(line.item_id for _section, lines in sections for line in lines)
    return show(
        request,
        "site/lists/version/version.html",
        problem=problem,
        version=of,
        state=state_of(of, today, newest),
        newest=newest,
        today=today,
        versions=[(each, state_of(each, today, newest)) for each in reversed(others)],
        latest=others[-1],
        hazards=words.hazards(of.hazards),
        lacking=lacking,
        needs_confirming=any(not each.explained for each in lacking),
        not_carried=not_carried.shown(of, today),
        fit=fits.shown(of, kits_of_list(who, of.packing_list_id)),
        sections=[
            (section, [(line, instead.get(line.item_id, ())) for line in lines])
            for section, lines in sections
        ],
        kits=_kits_in_use(who).filter(list_version=of).order_by("name"),
        values=request.POST,
        may_edit=who.may("edit_list"),
        may_sign=who.may("sign_list"),
    )


def substitutes(items: Iterable[int]) -> dict[int, list[Substitute]]:
    """What will do instead of each of these things, by name."""
    rows = Substitute.objects.filter(item__in=set(items)).select_related("instead")
    return grouped((row.item_id, row) for row in rows.order_by("instead__name"))


@form_view("edit_list")
def new_draft(act: Act, request: HttpRequest, id: int, number: int) -> Done:
    """A new draft, copied from the latest version."""
    made = drafts.new_draft(act, packing_lists.version_of(id, number).packing_list)
    return Done(
        _(
            "Version %(number)d has been created as a draft, copied from the latest version. "
            "Change it as you like."
        )
        % {"number": made.number},
        to=address("list-edit", made),
    )


@form_view("edit_list", "list-version", refused=version)
def publish(act: Act, request: HttpRequest, id: int, number: int) -> Done:
    """Publish a draft: from then on it never changes."""
    publishing.publish(
        act, packing_lists.version_of(id, number), anyway=bool(request.POST.get("anyway"))
    )
    return Done(
        _("Version %(number)d has been published. It now needs the medical adviser’s signature.")
        % {"number": number}
    )


class SignatureForm(PageForm):
    """Until when a signature is valid, and what the adviser notes."""

    until = Day(required=False, label=gettext_lazy("Signature valid until"))
    note = ShortText()


@form_view("sign_list", "list-version", refused=version)
def sign(act: Act, request: HttpRequest, id: int, number: int) -> Done:
    """The medical adviser signs a version until a day, with the page signed on paper if any."""
    of, values = packing_lists.version_of(id, number), SignatureForm.read(request.POST)
    file = request.FILES.get("page")
    if values["until"] is None:
        raise Invalid(_("Enter the last day on which the signature will be valid."), field="until")
    signed_page = file.read(signatures.MOST_PAGE_BYTES + 1) if file else b""
    done = signatures.sign(act, of, page=signed_page, **values)
    name = done.signed_by.name if done.signed_by else ""
    return Done(
        _("%(name)s has signed this version. The status of every kit that uses it will be updated.")
        % {"name": name},
        to=back_to(request, ""),
    )


# ------------------------------------------------------------------------------- two, held together
@read_page()
def compare(request: HttpRequest, id: int, number: int) -> HttpResponse:
    """How a version differs from another of its list: from the one before unless said."""
    after = packing_lists.version_of(id, number)
    others = list(after.packing_list.versions.exclude(pk=after.pk).values_list("number", flat=True))
    if not others:
        raise NotFound("other version of that kit list")
    earlier = max((other for other in others if other < number), default=others[0])
    sent = {"with": request.GET.get("with", str(earlier))}
    chosen = read_field(WholeNumber(label=_("Version to compare with")), sent, "with")
    before = packing_lists.version_of(id, chosen)
    compared = comparison.compared(before, after)
    names = {section.key: section.name for v in (before, after) for section in v.sections.all()}
    return show(
        request,
        "site/lists/changes/comparison.html",
        before=before,
        after=after,
        others=others,
        rows=[
            *({"how": "added", **_line(line, names)} for line in compared.lines.added),
            *({"how": "removed", **_line(line, names)} for line in compared.lines.removed),
            *(
                {
                    "how": "changed",
                    **_line(each.after, names),
                    "before": each.before,
                    "what": each.what,
                }
                for each in compared.lines.changed
            ),
        ],
        properties=[
            (name, *map(words.hazards, values)) if name == "hazards" else (name, *values)
            for name, values in compared.properties.items()
        ],
        reasons=compared.reasons,
        not_carried=not_carried.compared(before, after, today_here(request)),
    )


def _line(line: Line, names: dict[str, str]) -> dict[str, Any]:
    return {"line": line, "section": names.get(line.section, line.section)}


# ------------------------------------------------------------------------------- what it would mean
@read_page()
def effect(
    request: HttpRequest, id: int, number: int, problem: Problem | None = None
) -> HttpResponse:
    """Which kits would change if they followed this version, and what that takes from stock."""
    who, of = actor(request), packing_lists.version_of(id, number)
    result = comparison.effect(who, of)
    own = {each.kit.pk for each in result.kits if who.may("edit_kit", each.kit.home_room_id)}
    return show(
        request,
        "site/lists/changes/impact.html",
        problem=problem,
        version=of,
        effect=result,
        may_follow=own if of.published_at else set(),
    )


@form_view("edit_kit", "list-effect", refused=effect)
def follow(act: Act, request: HttpRequest, id: int, number: int) -> Done:
    """Let the ticked kits follow this version from now on."""
    of, names = packing_lists.version_of(id, number), request.POST.getlist("kit")
    if not names:
        raise Invalid(_("Select the kits that should use this version."), field="kit")
    for name in names:
        kits.follow_list(act, find.kit(act.actor, name), of)
    return Done(
        ngettext(
            "%(n)d kit now uses version %(number)d. Restock it to match.",
            "%(n)d kits now use version %(number)d. Restock them to match.",
            len(names),
        )
        % {"n": len(names), "number": number}
    )


def kits_of_list(who: Actor, packing_list: int) -> QuerySet[Kit]:
    """The kits in use that somebody sees and that follow a list, whichever version."""
    return (
        _kits_in_use(who)
        .filter(list_version__packing_list=packing_list)
        .select_related("home_room")
        .order_by("name")
    )


def _kits_in_use(who: Actor) -> QuerySet[Kit]:
    return find.kits_of(who).active()


# ------------------------------------------------------------------------------- extended by a link
def extend_by_link(request: HttpRequest, signature: str) -> HttpResponse:
    """Extend the signature of a kit list by a year, in the name of whom the link was sent to."""
    try:
        extension = signatures.by_link(signature)
        if request.method == "POST":
            signatures.extend(extension)
            return redirect(request.path)
    except Problem as problem:
        return errors.refusal(request, problem)
    return show(
        request, "site/lists/extend_signature.html", of=extension, version=extension.version
    )
