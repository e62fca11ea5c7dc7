"""Parts of request bodies that several views share, and how they become what services take."""

import dataclasses
from collections.abc import Callable
from typing import Any

from django.utils.translation import gettext as _, gettext_lazy as _lazy
from rest_framework import serializers

from gearroom.core.acts import NOT_GIVEN, Act, Invalid, NotGiven
from gearroom.core.api.openapi.member_rules import any_of, one_of
from gearroom.core.api.requests.serializers import ActBody, StrictSerializer
from kits.models import Kit, Trip
from kits.rules.custody.use import Went
from kits.rules.ledger.facts import Level
from kits.services.custody.returns import MOST_WORDS, NeedLine
from kits.services.custody.use import ITEM_OR_BATCH, UseLine, line_of
from kits.services.ledger.levels import LooseLevel
from kits.services.lookup import find

UNITS: dict[str, Any] = {"min_value": 1, "max_value": 1_000_000}
MOST_LINES = 200
"""Lines that one act may have: others wait while it is written."""
MOST_KITS = 20
"""Kits that one act may be about."""


def lines(of: Callable[..., Any], most: int = MOST_LINES, **more: Any) -> Any:
    """A list of such bodies, of as many as one act may have."""
    return of(many=True, max_length=most, **more)


class HereBody(ActBody):
    """An act that happens in a room, where that is not the kit's own."""

    room = serializers.CharField(
        required=False, max_length=80, help_text="The gear room where this happens: name or slug."
    )


def asks_to_close(data: dict[str, Any]) -> bool:
    """Whether a body asks to close something; it is taken from the body. Raises Invalid (`close`)
    where other changes are asked for with it."""
    closes: bool = data.pop("close", False)
    if closes and data:
        raise Invalid(
            _(
                "Nothing was changed. Send “close” alone, or save the other changes first and "
                "close it in a second request."
            ),
            field="close",
        )
    return closes


class StockBody(ActBody):
    """Units of a batch."""

    lot = serializers.CharField(max_length=40, help_text="By id or by label code.")
    units = serializers.IntegerField(**UNITS)


class PutInBody(StrictSerializer):
    lot = serializers.CharField(max_length=40, help_text="By id or by label code.")
    shelf = serializers.CharField(max_length=40, help_text="By id or by label code.")
    section = serializers.CharField(required=False, max_length=80)
    units = serializers.IntegerField(**UNITS)


class UseLineBody(StrictSerializer):
    rules = (any_of(("item", "lot"), ITEM_OR_BATCH),)

    item = serializers.IntegerField(required=False, min_value=1)
    lot = serializers.CharField(
        required=False, max_length=40, help_text="The batch, by id or by its label's code."
    )
    units = serializers.IntegerField(**UNITS)
    section = serializers.CharField(required=False, max_length=80)
    went = serializers.ChoiceField(
        [went.value for went in Went],
        default=Went.USED.value,
        help_text="in-class: used in class, not on a casualty. may-come-back: it went with a"
        " casualty (a splint, a blanket), and is listed until it is returned or"
        " written off.",
    )


class NeedBody(StrictSerializer):
    rules = (
        one_of(
            ("item", "words"), _lazy("Enter an item, or describe what was needed in a few words.")
        ),
    )

    item = serializers.IntegerField(required=False, min_value=1)
    words = serializers.CharField(
        required=False,
        max_length=MOST_WORDS,
        help_text="What was needed; nothing about casualties.",
    )


class LevelBody(StrictSerializer):
    section = serializers.CharField(max_length=80)
    item = serializers.IntegerField(min_value=1)
    level = serializers.ChoiceField([level.value for level in Level])


class LevelsBody(ActBody):
    levels = lines(LevelBody, required=False)


def here(act: Act, data: dict[str, Any]) -> Act:
    """The act, placed in the room that the body names; takes `room` out of `data`."""
    ref = data.pop("room", None)
    return act if ref is None else dataclasses.replace(act, room=find.room(act.actor, ref))


def trip_of(act: Act, data: dict[str, Any]) -> Trip | NotGiven | None:
    """The trip that a body names, None where it says null; takes `trip` out of `data`."""
    ref = data.pop("trip", NOT_GIVEN)
    return find.trip(act.actor, ref) if isinstance(ref, str) else ref


def use_lines(kit: Kit, rows: list[dict[str, Any]]) -> list[UseLine]:
    """Use as the service takes it."""
    return [
        line_of(
            kit,
            row["units"],
            item=find.item(row["item"]) if "item" in row else None,
            lot=find.lot(row["lot"]) if "lot" in row else None,
            section=row.get("section", ""),
            went=Went(row.get("went", Went.USED)),
        )
        for row in rows
    ]


def needed(rows: list[dict[str, Any]]) -> list[NeedLine]:
    """What was needed and not there, as the service takes it."""
    return [
        NeedLine(find.item(row["item"]) if "item" in row else None, row.get("words", ""))
        for row in rows
    ]


def loose_levels(kit: Kit, rows: list[dict[str, Any]]) -> list[LooseLevel]:
    """Levels of loose items as the service takes them."""
    levels = []
    for row in rows:
        item = find.item(row["item"])
        if not item.by_eye:
            raise Invalid(
                _("%(item)s is a counted item, not a loose one.") % {"item": item.name},
                field="levels",
            )
        levels.append(LooseLevel(find.section(kit, row["section"]), item, Level(row["level"])))
    return levels
