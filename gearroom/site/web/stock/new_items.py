"""An item that is new here, entered where it first arrives, and the code on its packs."""

from urllib.parse import urlencode

from django.http import QueryDict
from django.utils.translation import gettext_lazy as _

from gearroom.core.acts.act import Act
from gearroom.site.web.page.forms import Choice, PageForm, ShortText, Tick, WholeNumber
from kits.models import Item
from kits.rules.ledger.facts import Kind
from kits.services.stock import catalogue

LONGEST_CODE = 8000


class NewItemForm(PageForm):
    """What has to be entered of an item at first."""

    name = ShortText(120)
    kind = Choice(Kind, message=_("Choose the kind of item."))
    base_unit = ShortText(40)
    sterile = Tick()
    needs_date = Tick()


class PackForm(PageForm):
    """How many units the packs with a code hold."""

    gtin = ShortText(20)
    holds = WholeNumber(least=1, label=_("Units in a pack"))


def add_item(act: Act, sent: QueryDict) -> Item:
    """Add the item of a form."""
    return catalogue.add_item(act, **NewItemForm.read(sent))


def add_pack_code(act: Act, item: Item, sent: QueryDict) -> str:
    """Note that packs with the code of a form, if it has one, are of an item. The query of the page
    on which it arrives: the code again, or the item."""
    text = sent.get("text", "")[:LONGEST_CODE]
    if not sent.get("gtin"):
        return urlencode({"item": item.pk})
    values = PackForm.read(sent)
    catalogue.put_pack_code(act, item, gtin=values["gtin"], units_per_pack=values["holds"])
    return urlencode({"text": text} if text else {"item": item.pk})
