"""What can be used instead of the items of a kit list; that holds on every list."""

from django.http import HttpRequest, HttpResponse
from django.utils.translation import gettext as _

from gearroom.core.acts import Act, Problem
from gearroom.site.web.lists.packing_lists import substitutes
from gearroom.site.web.page import Done, PageForm, ShortText, Tick, form_view, show
from kits.models import Item
from kits.services.lists.packing_lists import version_of
from kits.services.lookup import find
from kits.services.stock import catalogue


class SubstituteForm(PageForm):
    """An item, another that can be used instead, how that differs, and whether it is to be ordered
    in its place."""

    of = ShortText()
    other = ShortText(120)
    note = ShortText(200)
    at_next_order = Tick()


def _page(
    request: HttpRequest, id: int, number: int, problem: Problem | None = None
) -> HttpResponse:
    version = version_of(id, number)
    items = [line.item for section in version.sections.all() for line in section.lines.all()]
    items = sorted(dict.fromkeys(items), key=lambda item: item.name)
    rows = substitutes(item.pk for item in items)
    return show(
        request,
        "site/lists/draft/can_use_instead.html",
        problem=problem,
        version=version,
        items=[item for item in items if not item.by_eye],
        rows=[(item, row) for item in items for row in rows.get(item.pk, ())],
        values=request.POST if problem else {},
        things=Item.objects.active().values_list("name", flat=True),
    )


@form_view("edit_item", "list-instead", page_of=_page)
def instead(act: Act, request: HttpRequest, id: int, number: int) -> Done:
    """Say that another item can be used instead of one on a list, or no more; on every list."""
    version_of(id, number)
    values = SubstituteForm.read(request.POST)
    of, other = find.item(values["of"]), find.item(values["other"])
    names = {"thing": of.name, "other": other.name}
    if request.POST.get("no-more"):
        catalogue.remove_substitute(act, of, other)
        return Done(_("%(other)s can no longer be used instead of %(thing)s.") % names)
    better = values["at_next_order"]
    catalogue.put_substitute(act, of, other, values["note"], at_next_order=better)
    if better:
        says = _(
            "From the next order on, %(other)s replaces %(thing)s. The remaining stock of "
            "%(thing)s is used up first."
        )
        return Done(says % names)
    return Done(_("%(other)s can now be used instead of %(thing)s on every kit list.") % names)
