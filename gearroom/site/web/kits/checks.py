"""The regular check of an instrument in a kit: its question, answered in one tap."""

from django.http import HttpRequest
from django.utils.translation import gettext as _, gettext_lazy

from gearroom.core.acts.act import Act
from gearroom.core.acts.problems import Invalid
from gearroom.site.web.page.form_views import form_view
from gearroom.site.web.page.forms import PageForm, ShortText, WholeNumber, YesOrNo
from gearroom.site.web.page.shell import Done
from kits.models import Lot
from kits.services.lookup import find
from kits.services.stock import instruments


class CheckForm(PageForm):
    """How an instrument did."""

    lot = WholeNumber(label=gettext_lazy("Instrument"))
    passed = YesOrNo(message=gettext_lazy("Choose whether the instrument passed its check."))
    answer = ShortText(200)


@form_view("check_instrument", "kit", part="#checks")
def check_instrument(act: Act, request: HttpRequest, kit: str) -> Done:
    """Record that an instrument inside passed its check, or failed it."""
    checked = find.kit(act.actor, kit)
    pk, passed, answer = CheckForm.read(request.POST).values()
    inside = Lot.objects.select_related("item").filter(
        holdings__place__kit=checked, holdings__units__gt=0
    )
    lot = inside.filter(pk=pk).first()
    if lot is None:
        raise Invalid(_("This instrument is not in this kit. Reload the page."))
    instruments.check(act, lot, passed=passed, answer=answer)
    says = (
        _("%(thing)s %(serial)s passed its check.")
        if passed
        else _("%(thing)s %(serial)s failed its check and is on hold.")
    )
    return Done(says % {"thing": lot.item.name, "serial": lot.serial})
