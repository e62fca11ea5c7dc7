"""Kit lists: every list, one version to read and print, compared, signed, and what it would
change. Drafts are edited in `list_editing`."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from typing import Any

from django.db.models import Count, QuerySet
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.http import require_POST, require_safe

from gearroom.core.acts.act import Act, Actor
from gearroom.core.acts.problems import Invalid, NotFound, Problem
from gearroom.site.web.page import fields, words
from gearroom.site.web.page.shell import Done, acted, actor, page, show, today_here
from kits.api.lists.packing_lists import packing_lists, versions
from kits.models import Kit, PackingList, PackingListVersion, Substitute
from kits.rules.ledger.facts import Line
from kits.rules.lists.versions import LineChange
from kits.services.kits import kits
from kits.services.lists import comparison, impact
from kits.services.lists import packing_lists as lists
from kits.services.lookup import find

MOST_LISTS = 200


@dataclass(frozen=True)
class Standing:
    """How a version stands, in one word (`state`: draft, unsigned, ended, signed) and how a page
    marks it (`mark`: ok, short or stop)."""

    state: str
    mark: str


_MARKS = {"draft": "short", "unsigned": "stop", "ended": "stop", "signed": "ok"}


def standing(version: PackingListVersion, today: date) -> Standing:
    """How a version stands today."""
    if version.published_at is None:
        state = "draft"
    elif version.signed_until is None:
        state = "unsigned"
    else:
        state = "signed" if version.signed_until >= today else "ended"
    return Standing(state, _MARKS[state])


def version_of(id: int, number: int) -> PackingListVersion:
    """A version with all that is shown of it. Raises NotFound."""
    # Asked of the lists themselves, which know that no id is as large as an address may say.
    of_list = PackingList.objects.filter(pk=id)
    found = versions().filter(packing_list__in=of_list, number=number).first()
    if found is None:
        raise NotFound("version of that kit list", number)
    return found


def address(name: str, version: PackingListVersion) -> str:
    """The address of a page about a version."""
    return reverse(name, args=[version.packing_list_id, version.number])


# ------------------------------------------------------------------------------------- every list
@page()
def every(request: HttpRequest) -> HttpResponse:
    """Every kit list with how its newest versions stand; a form makes a new one."""
    if request.method == "POST":
        try:
            return _made(request)
        except Problem as problem:
            return _every_page(request, problem)
    return _every_page(request)


def _every_page(request: HttpRequest, problem: Problem | None = None) -> HttpResponse:
    today, who = today_here(request), actor(request)
    counted = _kits_in_use(who).values_list("list_version").annotate(Count("pk"))
    followers: dict[int, int] = dict(counted.order_by())
    rows = []
    for each in packing_lists()[:MOST_LISTS]:
        every_version = list(each.versions.all())
        published = [version for version in every_version if version.published_at]
        newest = published[-1] if published else None
        draft = every_version[-1] if every_version[-1].published_at is None else None
        kits_now = sum(followers.get(version.pk, 0) for version in every_version)
        rows.append(
            {
                "list": each,
                "newest": newest,
                "draft": draft,
                "standing": standing(newest or every_version[-1], today),
                "kits": kits_now,
                "behind": kits_now - followers.get(newest.pk, 0) if newest else 0,
            }
        )
    facts = {
        "rows": rows,
        "problem": problem,
        "may_edit": who.may("edit_list"),
        "hazards": words.HAZARDS.items(),
        "said": request.POST,
        "chosen": request.POST.getlist("hazard"),
    }
    return show(request, "site/lists/lists.html", facts, status=problem.status if problem else 200)


def _made(request: HttpRequest) -> HttpResponse:
    draft = facts_said(request)
    name = fields.words(request.POST, "name", 80)
    note = fields.words(request.POST, "list_note")

    def perform(act: Act) -> Done:
        made = lists.make_list(act, name=name, note=note, draft=draft)
        says = _("%(name)s is created, as a draft. Add its sections and lines.")
        return Done(says % {"name": made.packing_list.name}, to=address("list-edit", made))

    return acted(request, perform, to=reverse("lists"))


def facts_said(request: HttpRequest) -> lists.Draft:
    """For how many people and days, against what, and a note, as a form says it."""
    said = request.POST
    return lists.Draft(
        people=fields.whole(said, "people", least=1, most=lists.MOST_PEOPLE, what=_("People")),
        days=fields.whole(said, "days", least=1, most=lists.MOST_DAYS, what=_("Days")),
        hazards=said.getlist("hazard"),
        note=fields.words(said, "note", 500),
    )


@require_safe
@page()
def one(request: HttpRequest, id: int) -> HttpResponse:
    """Go to the newest published version of a list, or to its draft where there is no other."""
    of_list = PackingList.objects.filter(pk=id)
    rows = PackingListVersion.objects.filter(packing_list__in=of_list).defer("signed_page")
    found = rows.filter(published_at__isnull=False).order_by("-number").first() or rows.first()
    if found is None:
        raise NotFound("kit list", id)
    return redirect(address("list-version", found))


# ------------------------------------------------------------------------------------ one version
@require_safe
@page()
def version(request: HttpRequest, id: int, number: int) -> HttpResponse:
    """One version, to read, to print with its reasons, and to sign."""
    return _version_page(request, version_of(id, number))


def _version_page(
    request: HttpRequest, shown: PackingListVersion, problem: Problem | None = None
) -> HttpResponse:
    who, today = actor(request), today_here(request)
    others = list(shown.packing_list.versions.select_related("signed_by").defer("signed_page"))
    instead = substitutes(
        line.item_id for section in shown.sections.all() for line in section.lines.all()
    )
    facts = {
        "version": shown,
        "standing": standing(shown, today),
        "today": today,
        "versions": [(each, standing(each, today)) for each in reversed(others)],
        "latest": others[-1],
        "hazards": words.hazards(shown.hazards),
        "sections": [
            (section, [(line, instead.get(line.item_id, ())) for line in section.lines.all()])
            for section in shown.sections.all()
        ],
        "kits": _kits_in_use(who).filter(list_version=shown).order_by("name"),
        "problem": problem,
        "said": request.POST,
        "may_edit": who.may("edit_list"),
        "may_sign": who.may("sign_list"),
    }
    status = problem.status if problem else 200
    return show(request, "site/lists/version.html", facts, status=status)


def substitutes(items: Iterable[int]) -> dict[int, list[Substitute]]:
    """What will do instead of each of these things, by name."""
    found: dict[int, list[Substitute]] = defaultdict(list)
    rows = Substitute.objects.filter(item__in=set(items)).select_related("instead")
    for row in rows.order_by("instead__name"):
        found[row.item_id].append(row)
    return found


@require_POST
@page("edit_list")
def new_draft(request: HttpRequest, id: int, number: int) -> HttpResponse:
    """A new draft, copied from the latest version."""
    shown = version_of(id, number)

    def perform(act: Act) -> Done:
        made = lists.new_draft(act, shown.packing_list)
        says = _("Version %(number)d is a draft now, a copy of the latest. Change it as you like.")
        return Done(says % {"number": made.number}, to=address("list-edit", made))

    return acted(request, perform, to=address("list-version", shown))


@require_POST
@page("edit_list")
def publish(request: HttpRequest, id: int, number: int) -> HttpResponse:
    """Publish a draft: from then on it never changes."""
    shown = version_of(id, number)

    def perform(act: Act) -> Done:
        lists.publish(act, shown)
        return Done(
            _("Version %(number)d is published. The medical adviser signs it next.")
            % {"number": shown.number}
        )

    try:
        return acted(request, perform, to=address("list-version", shown))
    except Problem as problem:
        return _version_page(request, shown, problem)


@require_POST
@page("sign_list")
def sign(request: HttpRequest, id: int, number: int) -> HttpResponse:
    """The medical adviser signs a version until a day, with the page signed on paper if any."""
    shown = version_of(id, number)
    file = request.FILES.get("page")

    def perform(act: Act) -> Done:
        until = fields.day(request.POST, "until", _("Signed until"))
        if until is None:
            raise Invalid(_("Enter the last day on which the signature is valid."), field="until")
        done = lists.sign(
            act,
            shown,
            until=until,
            note=fields.words(request.POST, "note"),
            page=file.read(lists.MOST_PAGE_BYTES + 1) if file else b"",
        )
        name = done.signed_by.name if done.signed_by else ""
        return Done(
            _("%(name)s signed it. Every kit that follows it is judged again.") % {"name": name}
        )

    try:
        return acted(request, perform, to=address("list-version", shown))
    except Problem as problem:
        return _version_page(request, shown, problem)


# ------------------------------------------------------------------------------- two, held together
@require_safe
@page()
def compare(request: HttpRequest, id: int, number: int) -> HttpResponse:
    """How a version differs from another of its list: from the one before unless said."""
    after = version_of(id, number)
    others = list(after.packing_list.versions.exclude(pk=after.pk).values_list("number", flat=True))
    if not others:
        raise NotFound("other version of that kit list")
    earlier = max((other for other in others if other < number), default=others[0])
    said = request.GET
    before = version_of(
        id, fields.whole(said, "with", what=_("With")) if "with" in said else earlier
    )
    found = comparison.compared(before, after)
    names = {s.key: s.name for v in (before, after) for s in v.sections.all()}
    facts = {
        "before": before,
        "after": after,
        "others": others,
        "rows": [
            *({"how": "added", **_line(line, names)} for line in found.lines.added),
            *({"how": "removed", **_line(line, names)} for line in found.lines.removed),
            *({"how": "changed", **_change(each, names)} for each in found.lines.changed),
        ],
        "said": [
            (name, *(words.hazards(v) if name == "hazards" else v for v in values))
            for name, values in found.said.items()
        ],
        "reasons": found.reasons,
    }
    return show(request, "site/lists/comparison.html", facts)


def _line(line: Line, names: dict[str, str]) -> dict[str, Any]:
    return {"line": line, "section": names.get(line.section, line.section)}


def _change(change: LineChange, names: dict[str, str]) -> dict[str, Any]:
    return {**_line(change.after, names), "before": change.before, "what": change.what}


# ------------------------------------------------------------------------------- what it would mean
@require_safe
@page()
def effect(request: HttpRequest, id: int, number: int) -> HttpResponse:
    """Which kits would change if they followed this version, and what that takes from stock."""
    return _effect_page(request, version_of(id, number))


def _effect_page(
    request: HttpRequest, shown: PackingListVersion, problem: Problem | None = None
) -> HttpResponse:
    who = actor(request)
    found = impact.effect(who, shown)
    mine = {each.kit.pk for each in found.kits if who.may("edit_kit", each.kit.home_room_id)}
    facts = {
        "version": shown,
        "effect": found,
        "may_follow": mine if shown.published_at else set(),
        "problem": problem,
    }
    status = problem.status if problem else 200
    return show(request, "site/lists/impact.html", facts, status=status)


@require_POST
@page("edit_kit")
def follow(request: HttpRequest, id: int, number: int) -> HttpResponse:
    """Let the ticked kits follow this version from now on."""
    shown = version_of(id, number)
    names = request.POST.getlist("kit")

    def perform(act: Act) -> Done:
        if not names:
            raise Invalid(_("Select the kits that are to follow this version."), field="kit")
        for name in names:
            kits.follow_list(act, find.kit(act.actor, name), shown)
        return Done(
            ngettext(
                "%(n)d kit follows version %(number)d now. Restock it to match.",
                "%(n)d kits follow version %(number)d now. Restock them to match.",
                len(names),
            )
            % {"n": len(names), "number": shown.number}
        )

    try:
        return acted(request, perform, to=address("list-effect", shown))
    except Problem as problem:
        return _effect_page(request, shown, problem)


def _kits_in_use(who: Actor) -> QuerySet[Kit]:
    return find.kits_of(who).active()
