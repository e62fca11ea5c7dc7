"""Items: what there is to carry, each with its facts and its packs' codes."""

from collections.abc import Iterator, Mapping
from typing import Any

from django.utils.translation import gettext as _

from gearroom.core.acts import Act, Actor, Invalid
from gearroom.core.rules.sentences import say
from kits.models import Disposal, Item
from kits.rules.exchange.tables import FileRow, RowChange, Values
from kits.rules.exchange.values import Column, Type
from kits.rules.ledger import Kind
from kits.services.exchange.names import Names
from kits.services.exchange.table import (
    Filters,
    Importer,
    OnRecord,
    Row,
    Table,
    as_read,
    by_number_or_name,
    number_of,
    row_by_row,
)
from kits.services.stock import catalogue

_YES, _WHOLE = Type.YES_NO, Type.WHOLE
_SMALL = 32_767

COLUMNS = (
    Column(
        "number",
        say("Number"),
        say("The item’s number here. Leave it empty for a new item."),
        _WHOLE,
        most=10**9 - 1,
        blank_keeps=True,
    ),
    Column("name", say("Name"), say("What it is called."), needed=True),
    Column(
        "kind",
        say("Kind"),
        say("What kind of item it is."),
        Type.CHOICE,
        choices=tuple(Kind),
    ),
    Column(
        "base_unit",
        say("Counted in"),
        say("The smallest unit that is counted, such as piece, pair or tablet."),
        longest=40,
        blank_keeps=True,
    ),
    Column("needs_date", say("Needs an expiry date"), say("Whether its packs have a date."), _YES),
    Column("sterile", say("Sterile"), say("Whether it is sterile."), _YES),
    Column("by_eye", say("Loose"), say("Whether it is loose and not counted."), _YES),
    Column("latex", say("Latex"), say("Whether it contains latex."), _YES),
    Column("child", say("For children"), say("Whether it is for children."), _YES),
    Column(
        "min_temp_c",
        say("Not below, °C"),
        say("The lowest temperature on its pack."),
        _WHOLE,
        least=-100,
        most=100,
    ),
    Column(
        "max_temp_c",
        say("Not above, °C"),
        say("The highest temperature on its pack."),
        _WHOLE,
        least=-100,
        most=100,
    ),
    Column("keep_dry", say("Keep dry"), say("Whether it has to be kept dry."), _YES),
    Column(
        "opened_life_days",
        say("Good for days once opened"),
        say("How many days an opened pack is good for."),
        _WHOLE,
        most=_SMALL,
    ),
    Column(
        "check_every_days",
        say("Days between checks"),
        say("How often an instrument is checked."),
        _WHOLE,
        most=_SMALL,
    ),
    Column(
        "check_question",
        say("Check question"),
        say("What is asked at its check, such as “Gauge in the green?”."),
        longest=200,
    ),
    Column(
        "disposal",
        say("Disposal"),
        say("Where thrown-out units go."),
        Type.CHOICE,
        choices=tuple(map(str, Disposal.values)),
    ),
    Column("volume_ml", say("Volume, ml"), say("Of one unit."), _WHOLE),
    Column("mass_g", say("Mass, g"), say("Of one unit."), _WHOLE),
    Column(
        "lead_time_days",
        say("Days until delivery"),
        say("How many days an order takes to arrive."),
        _WHOLE,
        most=_SMALL,
        blank_keeps=True,
    ),
    Column(
        "order_down_to",
        say("Order level"),
        say("Order again when no more than this many are left."),
        _WHOLE,
    ),
    Column("caution", say("Caution"), say("A warning shown with it."), longest=300),
    Column(
        "pack_codes",
        say("Pack codes"),
        say("Makers’ numbers (GTIN), each with the units in its pack: 04012345678901=10."),
        Type.SEVERAL,
        longest=40,
    ),
    Column(
        "instead",
        say("What can be used instead"),
        say("Change it on the item’s page."),
        Type.SEVERAL,
        only_read=True,
    ),
    Column(
        "goes_with",
        say("Goes with"),
        say("Change it on the item’s page."),
        only_read=True,
    ),
    Column("retired_on", say("Retired on"), say("Change it on the item’s page."), Type.DAY,
           only_read=True),
)  # fmt: skip

_FACTS = tuple(
    column.name
    for column in COLUMNS
    if not column.only_read and column.name not in ("number", "pack_codes")
)


def rows(actor: Actor, filters: Filters) -> Iterator[Row]:
    """All items by name, retired ones too. They are the organisation's, not a room's."""
    items = Item.objects.select_related("goes_with").prefetch_related(
        "pack_codes", "substitutes__instead"
    )
    for item in items.order_by("name", "pk"):
        codes = sorted(item.pack_codes.all(), key=lambda code: code.gtin)
        instead = sorted(each.instead.name for each in item.substitutes.all())
        yield {
            "number": item.pk,
            **{name: getattr(item, name) for name in _FACTS},
            "kind": str(item.kind),
            "disposal": str(item.disposal),
            "pack_codes": tuple(f"{code.gtin}={code.units_per_pack}" for code in codes),
            "instead": tuple(instead),
            "goes_with": item.goes_with.name if item.goes_with else "",
            "retired_on": item.retired_on,
        }


def _identify(names: Names, row: Row, on_record: OnRecord) -> Row:
    row = by_number_or_name(names, row, on_record)
    if "pack_codes" in row:
        row = {**row, "pack_codes": tuple(sorted(map(_code, _texts(row["pack_codes"]))))}
    return row


def _texts(value: Any) -> tuple[str, ...]:
    return tuple(value or ())


def _code(text: str) -> str:
    gtin, _equals, units = text.partition("=")
    units = units.strip() or "1"
    if not (units.isascii() and units.isdigit() and len(units) < 7 and int(units)):
        raise Invalid(
            _("“%(text)s”: enter the units in a pack after the number, like 04012345678901=10.")
            % {"text": text},
            field="pack_codes",
        )
    try:
        return f"{catalogue.gtin14(gtin)}={int(units)}"
    except Invalid as error:
        raise Invalid(error.detail, field="pack_codes") from error


def _save(act: Act, names: Names, change: RowChange, row: FileRow) -> None:
    new = {each.column: each.new for each in change.cells}
    facts: Mapping[str, Any] = {name: new[name] for name in _FACTS if name in new}
    if change.old is None:
        missing = [name for name in ("kind", "base_unit") if not facts.get(name)]
        if missing:
            raise Invalid(_("A new item needs this. Fill it in."), field=missing[0])
        item = catalogue.add_item(act, **facts)
    else:
        item = Item.objects.get(pk=int(str(change.old["number"])))
        if facts:
            catalogue.edit_item(as_read(act, change, _FACTS), item, **facts)
    if "pack_codes" in new:
        _put_codes(act, item, change.old, _texts(new["pack_codes"]))


def _put_codes(act: Act, item: Item, old: Values | None, codes: tuple[str, ...]) -> None:
    wanted = dict(code.split("=") for code in codes)
    before = dict(code.split("=") for code in _texts(old and old["pack_codes"]))
    for gtin in before.keys() - wanted.keys():
        catalogue.remove_pack_code(act, item, gtin)
    for gtin, units in wanted.items():
        if before.get(gtin) != units:
            catalogue.put_pack_code(act, item, gtin=gtin, units_per_pack=int(units))


TABLE = Table(
    "items",
    say("Items"),
    say("Every item with its facts and the codes on its packs."),
    COLUMNS,
    rows,
    importer=Importer("edit_item", _identify, number_of, row_by_row(_save)),
)
