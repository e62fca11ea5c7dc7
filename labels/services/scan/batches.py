"""Which batch was scanned: our own label on it, or the maker's code on the pack."""

from collections.abc import Sequence

from django.utils.translation import gettext as _

from gearroom.core import clock
from gearroom.core.acts import Actor, Unacceptable
from kits.models import Lot
from labels.rules.codes.scans import Means, Reading
from labels.services.scan.pack_scans import known_packs
from labels.services.scan.resolve import meanings


def batch_in(actor: Actor, read: str | Sequence[Reading]) -> Lot:
    """The one batch that a text (typed, or by a scanner) or what was read in a picture names.

    Raises Unacceptable: `nothing-read`, `not-wanted-here` (says what it is instead), `code-wrong`;
    `which-batch` where a maker's code is of a batch that is not in the book, or may be of several.
    """
    readings = [Reading(read)] if isinstance(read, str) else list(read)
    if not readings:
        raise Unacceptable(
            "nothing-read",
            _(
                "No label was found in the picture. Move closer, hold the camera still and make "
                "sure there is enough light."
            ),
        )
    resolved = meanings(actor, readings, today=clock.now().date())
    lots: dict[int, Lot] = {}
    for each in resolved:
        if each.label is not None and each.label.lot is not None:
            lots[each.label.lot.pk] = each.label.lot
        elif each.pack is not None:
            known = {pack.lot for pack in known_packs(each.pack.candidates)}
            if None in known or len(known) > 1:
                raise Unacceptable(
                    "which-batch",
                    _("This batch is not on record. Count the item without the batch."),
                )
            lots |= Lot.objects.select_related("item").in_bulk([pk for pk in known if pk])
    if len(lots) == 1:
        return next(iter(lots.values()))
    wrong = next((each for each in resolved if each.means == Means.WRONG_CODE), None)
    if wrong is not None:
        raise Unacceptable("code-wrong", wrong.says)
    raise Unacceptable(
        "not-wanted-here",
        _("This is not a batch label. Scan the batch label or the maker’s code."),
    )
