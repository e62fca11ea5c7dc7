"""Whether a list fits the bags of kits, as pages say it."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from zoneinfo import ZoneInfo

from kits.models import Kit, PackingListVersion
from kits.rules.planning.fit import Fits
from kits.services.lists.drafts import Draft
from kits.services.planning import fit
from kits.services.planning.fit import BagFit, Fit
from kits.services.text.planning import fit_texts

TOO_FULL = (Fits.WILL_NOT_CLOSE, Fits.TIGHT)


@dataclass(frozen=True)
class ShownFit:
    """What is said of kits of which the same is said; `stop`: they will not close."""

    kits: tuple[str, ...]
    says: tuple[str, ...]
    stop: bool


@dataclass(frozen=True)
class ShownFits:
    """What is said of the bags of kits, and of what is carried; with the items of which a volume or
    a weight is not on record."""

    bags: list[ShownFit]
    mass: str
    volume_unknown: list[str]
    mass_unknown: list[str]


def shown(version: PackingListVersion, kits: Iterable[Kit]) -> ShownFits:
    """Whether a version, a draft too, fits the bags of these kits."""
    return _shown(fit.of_version(version, kits))


def shown_draft(draft: Draft, kits: Iterable[Kit]) -> ShownFits:
    """Whether a draft that nobody has saved fits the bags of these kits."""
    return _shown(fit.of_draft(draft, kits))


def _shown(answers: Sequence[Fit]) -> ShownFits:
    said: dict[tuple[tuple[str, ...], bool], list[str]] = {}
    for each in answers:
        if each.kit is not None:
            stop = each.tightest.fits is Fits.WILL_NOT_CLOSE
            said.setdefault((_says(each, each.kit), stop), []).append(each.kit.name)
    first = answers[0]
    unknown = [item.name for item in first.mass_unknown]
    return ShownFits(
        bags=[ShownFit(tuple(names), says, stop) for (says, stop), names in said.items()],
        mass=fit_texts.mass(first.carried.mass_g, unknown),
        volume_unknown=[item.name for item in first.volume_unknown],
        mass_unknown=unknown,
    )


def _says(of: Fit, kit: Kit) -> tuple[str, ...]:
    says = [_bag(of.whole)]
    says += [fit_texts.section(bag.name, _bag(bag)) for bag in of.sections if bag.fits in TOO_FULL]
    if of.weighed:
        day = of.weighed.at.astimezone(ZoneInfo(kit.home_room.time_zone)).date()
        says.append(fit_texts.weighed(of.weighed.mass_g, day))
    if of.too_heavy and of.mass_limit_g is not None:
        says.append(fit_texts.too_heavy(of.mass_limit_g))
    return tuple(says)


def _bag(bag: BagFit) -> str:
    names = [f"{move.units} × {move.item.name}" for move in bag.move]
    return fit_texts.whole(bag.fits, bag.bulk.volume_ml, bag.takes, names)
