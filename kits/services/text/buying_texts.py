"""What becomes of a filled kit that might be bought, in words; and why things are not kept."""

from collections.abc import Mapping
from decimal import Decimal

from django.utils.functional import Promise
from django.utils.translation import gettext as _, gettext_lazy as _lazy, ngettext

from kits.rules.buying.bought_kit import Fate, Part, Past, Reason, Why
from kits.rules.buying.buy_or_build import BoughtKit, Way
from kits.services.text.planning.planning_texts import money

REASONS: Mapping[str, Promise] = {
    Reason.NARROW: _lazy("too narrow"),
    Reason.POOR_ADHESIVE: _lazy("does not stick well"),
    Reason.SACHETS: _lazy("in sachets"),
    Reason.EXPIRES_FIRST: _lazy("out of date before it is used"),
    Reason.DUPLICATE: _lazy("one is enough"),
    Reason.NOT_TRAINED_FOR: _lazy("nobody is trained for it"),
}
FATES: Mapping[str, Promise] = {
    Fate.KEEP: _lazy("keep"),
    Fate.SHELF: _lazy("extra, onto a shelf"),
    Fate.TRAINING: _lazy("for teaching"),
    Fate.DISPOSE: _lazy("throw away"),
}
_WHY: Mapping[str, Promise] = {
    Why.LISTED: _lazy("the kit list calls for it"),
    Why.INSTEAD: _lazy("it can be used instead of something on the kit list"),
    Why.EXTRA: _lazy("other kits need it"),
    Why.EXPIRES_FIRST: _lazy("out of date before it would be used"),
    Why.NOT_LISTED: _lazy("not on any kit list, or more than the lists call for"),
    Why.UNKNOWN: _lazy("not an item on record"),
}


def reason_of(words: str) -> str:
    """The code of a reason that somebody typed as it is worded here, else their own words."""
    typed = " ".join(words.split())
    codes = (code for code, text in REASONS.items() if str(text).casefold() == typed.casefold())
    return str(next(codes, typed))


def reason(kept: str) -> str:
    """A reason that was kept, in words."""
    return str(REASONS.get(kept, kept))


def why(part: Part) -> str:
    """Why a part of a filled kit is likely to go where it goes."""
    return _before(part.before) if part.before is not None else str(_WHY[part.why])


def _before(past: Past) -> str:
    texts = {
        Fate.TRAINING: ngettext(
            "used for teaching %(n)d time before",
            "used for teaching %(n)d times before",
            past.times,
        ),
        Fate.DISPOSE: ngettext(
            "thrown away %(n)d time before", "thrown away %(n)d times before", past.times
        ),
        Fate.SHELF: ngettext(
            "put onto a shelf %(n)d time before", "put onto a shelf %(n)d times before", past.times
        ),
    }
    says = texts[past.fate] % {"n": past.times}
    return f"{says}: {reason(past.reason)}" if past.reason else says


def comes_to(bought: BoughtKit) -> str:
    """How many of its items go which way."""
    counts = {fate: bought.units(fate) for fate in Fate}
    return ngettext(
        "%(all)d item: keep %(keep)d, extras %(shelf)d, teaching %(training)d,"
        " throw away %(dispose)d.",
        "%(all)d items: keep %(keep)d, extras %(shelf)d, teaching %(training)d,"
        " throw away %(dispose)d.",
        sum(counts.values()),
    ) % {"all": sum(counts.values()), **{fate.value: units for fate, units in counts.items()}}


def price_each(way: Way, in_parts: Decimal | None) -> str:
    """What an item costs that is kept of a filled kit, beside parts."""
    if way.bought is None or way.each_kept is None:
        return _("Nothing from this kit would be kept.")
    each = money(way.each_kept, way.bought.currency)
    if in_parts is None:
        return _(
            "%(each)s for each item kept. Some of these items have no price of their own yet."
        ) % {"each": each}
    parts = money(in_parts, way.bought.currency)
    return _("%(each)s for each item kept, compared with %(parts)s if bought separately.") % {
        "each": each,
        "parts": parts,
    }


def parts_win(kits: int | None, *, priced: bool, most: int) -> str:
    """From how many kits on parts cost no more; nothing where not all has a price."""
    if kits is not None:
        return ngettext(
            "Building from parts costs no more, even for one kit.",
            "For %(n)d kits or more, building from parts costs no more.",
            kits,
        ) % {"n": kits}
    if not priced:
        return ""
    return _("For up to %(n)d kits, the bought kit costs less.") % {"n": most}


def time_taken(minutes: int | None) -> str:
    """How long breaking down took last time; empty where that is not known."""
    if minutes is None:
        return ""
    return ngettext(
        "Breaking down a bought kit took %(n)d minute last time.",
        "Breaking down a bought kit took %(n)d minutes last time.",
        minutes,
    ) % {"n": minutes}
