"""Why a kit is not ready, why units do not count, and what was wrong about a reported fact: one
enumeration of stable codes, which the API and stored rows keep. `kits.services.text.reason_texts`
has their sentences.
"""

import enum


class ReasonCode(enum.StrEnum):
    """A stable code. An irregular entry, one that reports a fact against a rule, has any of them
    but the four of units that only ever count or are found there (`found-…` says so)."""

    # units of a batch that do not count, or may not go into a kit
    RECALLED = "recalled"
    WITHHELD = "withheld"  # of a kit too
    TRAINING_STOCK = "training-stock"
    UNSIGNED_MEDICINE = "unsigned-medicine"
    EXPIRED = "expired"
    OPENED_TOO_LONG = "opened-too-long"
    DATE_NOT_KNOWN = "date-not-known"
    CHECK_FAILED = "check-failed"
    CHECK_NOT_ANSWERED = "check-not-answered"
    CHECK_DUE = "check-due"
    # a kit that is not ready
    SHORT = "short"
    LOW = "low"
    EMPTY_BY_EYE = "empty-by-eye"
    LOW_BY_EYE = "low-by-eye"
    REPLACED_INSIDE = "replaced-inside"
    TAKE_OUT = "take-out"
    EXPIRED_INSIDE = "expired-inside"
    SECTION_AWAY = "section-away"
    LAID_UP = "laid-up"
    LOST = "lost"
    TRAINING = "training"
    WAITING_TO_BE_SORTED = "waiting-to-be-sorted"
    LIST_EMPTY = "list-empty"
    LIST_NOT_SIGNED = "list-not-signed"
    SIGNATURE_ENDS = "signature-ends"
    NOT_LOOKED_INSIDE = "not-looked-inside"
    FROST = "frost"
    HEAT = "heat"
    # the kits of a trip that do not suit it
    TOO_FEW_PEOPLE = "too-few-people"
    TOO_FEW_DAYS = "too-few-days"
    HAZARDS_NOT_SERVED = "hazards-not-served"
    NOTHING_FOR_CHILDREN = "nothing-for-children"
    LATEX_INSIDE = "latex-inside"
    # a report against the record: who has it
    WAS_OUT = "was-out"
    WAS_NOT_OUT = "was-not-out"
    WAS_NOT_TAKEN_OUT = "was-not-taken-out"
    EMERGENCY = "emergency"
    NOT_CLEARED = "not-cleared"
    RESERVED_FOR_ANOTHER = "reserved-for-another"
    TRIP_CANCELLED = "trip-cancelled"
    TRIP_OVER = "trip-is-over"
    OUT_OF_ORDER = "out-of-order"
    # a report against the record: seals, and how much there was
    SEAL_NOT_THE_ONE = "seal-not-the-one"
    NO_SEAL_ON_RECORD = "no-seal-on-record"
    USED_MORE = "used-more-than-the-book-held"
    BORROWED_MORE = "borrowed-more-than-the-book-held"
    KEPT_AS_IT_CAME = "kept-as-it-came"
    REPORTED_AFTER_SORTING = "told-after-sorting"
    MORE_ARRIVED = "more-arrived-than-sent"
    CHECKED_SINCE = "checked-since"
    COUNTED_SINCE = "counted-since"
    # recalls that were answered
    RECORD_SAYS_OTHERWISE = "book-says-otherwise"
    MORE_THAN_ON_RECORD = "found-more-than-the-book-held"
    # what arrived, or was put in
    FAILED_CHECK = "failed-check"
    EXPIRED_ON_ARRIVAL = "expired-on-arrival"
    UNDATED = "undated"
    # units that do not count, in a kit that was counted
    FOUND_RECALLED = "found-recalled"
    FOUND_WITHHELD = "found-withheld"
    FOUND_TRAINING_STOCK = "found-training-stock"
    FOUND_UNSIGNED_MEDICINE = "found-unsigned-medicine"
    FOUND_EXPIRED = "found-expired"
    FOUND_OPENED_TOO_LONG = "found-opened-too-long"
    FOUND_DATE_NOT_KNOWN = "found-date-not-known"
    FOUND_CHECK_FAILED = "found-check-failed"
    FOUND_CHECK_NOT_ANSWERED = "found-check-not-answered"
    FOUND_CHECK_DUE = "found-check-due"


OUT_OF_DATE = frozenset({ReasonCode.EXPIRED, ReasonCode.OPENED_TOO_LONG})
"""Units past their last good day."""

OF_LINES = frozenset(
    {ReasonCode.SHORT, ReasonCode.LOW, ReasonCode.EMPTY_BY_EYE, ReasonCode.LOW_BY_EYE}
)
"""What is so of a line of the kit's list."""

UNSUITABLE = frozenset(
    {
        ReasonCode.TOO_FEW_PEOPLE,
        ReasonCode.TOO_FEW_DAYS,
        ReasonCode.HAZARDS_NOT_SERVED,
        ReasonCode.NOTHING_FOR_CHILDREN,
        ReasonCode.LATEX_INSIDE,
    }
)
"""What keeps the kits of a trip from suiting it."""
