"""The address printed on every label: `/L/CODE`, in any case."""

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils.translation import gettext as _
from django.views.decorators.http import require_safe

from gearroom.core.acts.act import actor_of
from kits.models import Label, LabelKind
from kits.rules.lookup import label_codes
from kits.services.labelling import labelling
from labels.services import passerby


@require_safe
def label(request: HttpRequest, code: str) -> HttpResponse:
    """Whoever belongs to its room goes to the thing; anybody else sees what it is, whose it is and
    how to return it."""
    who = actor_of(request.user) if request.user.is_authenticated else None
    parsed = label_codes.parse(code)
    printed = (
        Label.objects.select_related(*labelling.SHOWN_WITH).filter(code=parsed).first()
        if parsed
        else None
    )
    if printed is None:
        refusal = {
            "title": _("No label has this code."),
            "detail": _("Read the code from the label again: its check character does not match.")
            if parsed is None
            else _("This looks like one of our labels, but it was not created here."),
        }
        return render(request, "site/page/refusal.html", refusal, status=404)
    facts = passerby.facts_of(printed, who)
    if facts.yours and not facts.cancelled:
        kit = printed.kit or (printed.place.kit if printed.place else None)
        if kit is not None:
            return redirect(reverse("kit", args=[kit.name]))
        if printed.kind == LabelKind.BLANK and who is not None and who.may("bind_label"):
            return redirect("bind-label", code=label_codes.shown(printed.code))
        if printed.kind != LabelKind.BLANK:
            return redirect(f"{reverse('scan')}?text={label_codes.shown(printed.code)}")
    return render(request, "site/scan/passer_by.html", {"facts": facts, "kit": printed.kit})
