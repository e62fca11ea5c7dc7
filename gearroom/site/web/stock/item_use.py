"""What was used of an item, season by season: a picture and its table."""

from datetime import date
from typing import Any

from django.utils.translation import gettext as _

from gearroom.core.acts import Actor
from gearroom.site.web.planning import season_chart
from kits.models import Item
from kits.services.stock.tables import item_use
from kits.services.stock.tables.item_use import ItemSeason
from kits.services.text.planning import past_use_texts as texts


def facts(who: Actor, item: Item, today: date) -> dict[str, Any] | None:
    """The picture and the table; None where nothing was used or wanted."""
    seasons = item_use.by_season(who, item, today)
    if not seasons:
        return None
    return {
        "chart": season_chart.chart(seasons, _says, _("Units used")),
        "seasons": [(texts.season_name(each.season, over=each.over), each) for each in seasons],
    }


def _says(of: ItemSeason) -> str:
    return texts.item_in_season(of.season, over=of.over, used=of.met, unmet=of.unmet)
