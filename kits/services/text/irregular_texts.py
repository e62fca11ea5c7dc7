"""What was irregular about an entry, in words."""

from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _lazy

from kits.rules.ledger import ReasonCode

IRREGULAR: dict[str, Promise] = {
    ReasonCode.WAS_OUT: _lazy(
        "The kit was on record as out with somebody else; that record ended when this one began."
    ),
    ReasonCode.WAS_NOT_OUT: _lazy(
        "The kit was not on record as taken out; this has been corrected."
    ),
    ReasonCode.WAS_NOT_TAKEN_OUT: _lazy(
        "The kit was on record as being in the gear room: it has been recorded as taken out by "
        "the person it was passed on to."
    ),
    ReasonCode.EMERGENCY: _lazy("The kit was taken out in an emergency, whatever its state."),
    ReasonCode.NOT_CLEARED: _lazy(
        "The person who was said to have approved taking the kit by phone says that they did not."
    ),
    ReasonCode.RESERVED_FOR_ANOTHER: _lazy(
        "The kit was reserved for another guide’s trip at that time."
    ),
    ReasonCode.TRIP_CANCELLED: _lazy("The kit was taken out for a trip that had been cancelled."),
    ReasonCode.TRIP_OVER: _lazy("The kit was taken out for a trip that was already over."),
    ReasonCode.OUT_OF_ORDER: _lazy(
        "The kit has changed hands again since then: this is added to its history only and "
        "does not change who has it now."
    ),
    ReasonCode.SEAL_NOT_THE_ONE: _lazy(
        "The seal is not the one on record, so the kit counts as opened."
    ),
    ReasonCode.NO_SEAL_ON_RECORD: _lazy("No seal is on record, so the kit needs sorting."),
    ReasonCode.USED_MORE: _lazy(
        "More was used than was on record in the kit: the difference has been recorded as "
        "found and used."
    ),
    ReasonCode.BORROWED_MORE: _lazy(
        "More was borrowed than was on record in the other kit: the difference has been "
        "recorded as found and moved."
    ),
    ReasonCode.KEPT_AS_IT_CAME: _lazy(
        "One of the two kits was supposed to stay as it came back: inform the person who asked "
        "for that."
    ),
    ReasonCode.REPORTED_AFTER_SORTING: _lazy(
        "The items used were reported after the kit had been sorted, so they were not deducted "
        "from its contents."
    ),
    ReasonCode.MORE_ARRIVED: _lazy(
        "More items arrived than were sent: count the shelf they came from."
    ),
    ReasonCode.CHECKED_SINCE: _lazy(
        "This item has a later check on record: the later check counts."
    ),
    ReasonCode.COUNTED_SINCE: _lazy(
        "The kit has been counted since then, so the items used were not deducted from the count."
    ),
    ReasonCode.RECORD_SAYS_OTHERWISE: _lazy(
        "None of the batch was found in a place where some is on record."
    ),
    ReasonCode.MORE_THAN_ON_RECORD: _lazy("More of the batch was found than was on record."),
    ReasonCode.RECALLED: _lazy("One of the batches has been recalled by its maker."),
    ReasonCode.WITHHELD: _lazy("The kit or batch was on hold and should not have been used."),
    ReasonCode.FAILED_CHECK: _lazy("An item that failed its check was put into the kit."),
    ReasonCode.EXPIRED_ON_ARRIVAL: _lazy("The batch was out of date when it arrived."),
    ReasonCode.EXPIRED: _lazy("An out-of-date item was put into the kit."),
    ReasonCode.UNSIGNED_MEDICINE: _lazy(
        "A medicine that is not on any signed kit list was put into the kit."
    ),
    ReasonCode.UNDATED: _lazy("An item whose expiry date is not known was put into the kit."),
    ReasonCode.TRAINING_STOCK: _lazy("Training stock was put into the kit."),
    ReasonCode.FOUND_RECALLED: _lazy("An item recalled by its maker was found in the kit."),
    ReasonCode.FOUND_WITHHELD: _lazy("An item that is on hold was found in the kit."),
    ReasonCode.FOUND_TRAINING_STOCK: _lazy("Training stock was found in the kit."),
    ReasonCode.FOUND_UNSIGNED_MEDICINE: _lazy(
        "A medicine that is not on any signed kit list was found in the kit."
    ),
    ReasonCode.FOUND_EXPIRED: _lazy("An out-of-date item was found in the kit."),
    ReasonCode.FOUND_OPENED_TOO_LONG: _lazy(
        "An item that was opened too long ago was found in the kit."
    ),
    ReasonCode.FOUND_DATE_NOT_KNOWN: _lazy(
        "An item whose expiry date is not known was found in the kit."
    ),
    ReasonCode.FOUND_CHECK_FAILED: _lazy("An item that failed its check was found in the kit."),
    ReasonCode.FOUND_CHECK_NOT_ANSWERED: _lazy(
        "An item that has not been checked yet was found in the kit."
    ),
    ReasonCode.FOUND_CHECK_DUE: _lazy("An item that is due for its check was found in the kit."),
    ReasonCode.SHORT: _lazy(
        "The kit was taken out with less of an item than the minimum on its kit list."
    ),
    ReasonCode.LOW: _lazy("The kit was taken out with less of an item than its kit list asks for."),
    ReasonCode.EMPTY_BY_EYE: _lazy(
        "The kit was taken out with a loose item that was empty or not checked."
    ),
    ReasonCode.LOW_BY_EYE: _lazy("The kit was taken out with an item that was running low."),
    ReasonCode.REPLACED_INSIDE: _lazy(
        "The kit was taken out with an item inside that has since been replaced on its kit list."
    ),
    ReasonCode.EXPIRED_INSIDE: _lazy("The kit was taken out with an out-of-date item inside."),
    ReasonCode.TAKE_OUT: _lazy(
        "The kit was taken out with an item inside that should have been removed first."
    ),
    ReasonCode.DATE_NOT_KNOWN: _lazy(
        "The kit was taken out with an item inside whose expiry date is not known."
    ),
    ReasonCode.SECTION_AWAY: _lazy(
        "The kit was taken out while one of its sections was out on its own."
    ),
    ReasonCode.LAID_UP: _lazy("The kit was taken out although it was in storage."),
    ReasonCode.LOST: _lazy("The kit was taken out although it was on record as lost."),
    ReasonCode.TRAINING: _lazy("The kit was taken out although it is a training kit."),
    ReasonCode.WAITING_TO_BE_SORTED: _lazy("The kit was taken out before it had been sorted."),
    ReasonCode.LIST_EMPTY: _lazy("The kit was taken out although its kit list is empty."),
    ReasonCode.LIST_NOT_SIGNED: _lazy(
        "The kit was taken out although its kit list had not been signed by the medical adviser."
    ),
    ReasonCode.SIGNATURE_ENDS: _lazy(
        "The kit was taken out although the signature on its kit "
        "list ends before the kit is due back."
    ),
    ReasonCode.NOT_LOOKED_INSIDE: _lazy(
        "The kit was taken out although its contents had not been checked for too long."
    ),
    ReasonCode.FROST: _lazy(
        "The kit was taken out with an item that may have been spoilt by frost where the kit "
        "is kept."
    ),
    ReasonCode.HEAT: _lazy(
        "The kit was taken out with an item that may have been spoilt by "
        "heat where the kit is kept."
    ),
    ReasonCode.TOO_FEW_PEOPLE: _lazy("The kits for the trip serve fewer people than are going."),
    ReasonCode.TOO_FEW_DAYS: _lazy(
        "The kits for the trip are enough for fewer days than the trip lasts."
    ),
    ReasonCode.HAZARDS_NOT_SERVED: _lazy(
        "Some hazards of the trip are not covered by any of its kits."
    ),
    ReasonCode.NOTHING_FOR_CHILDREN: _lazy(
        "There were children on the trip, and none of its kits had anything for children."
    ),
    ReasonCode.LATEX_INSIDE: _lazy("The kit contains latex, but the trip needed latex-free kits."),
}
"""Every rule that a reported fact may break, as a sentence."""


def irregular(code: str) -> str:
    """The rule that an entry broke, as a sentence. Codes that are no longer written are named."""
    return str(IRREGULAR.get(code) or code.replace("-", " ").capitalize() + ".")
