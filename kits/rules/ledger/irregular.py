"""Rules that a reported fact may break. What happened is recorded all the same; the entry keeps
these codes, and whoever reads them reads a sentence of `kits.services.text.wording`."""

from __future__ import annotations

import enum


class Broken(enum.StrEnum):
    """The stable codes of an irregular entry. Those of a kit that went although it was not fit are
    those of its verdict, `Why` and `Mismatch`."""

    # who has it
    WAS_OUT = "was-out"
    WAS_NOT_OUT = "was-not-out"
    WAS_NOT_TAKEN_OUT = "was-not-taken-out"
    EMERGENCY = "emergency"
    NOT_CLEARED = "not-cleared"
    RESERVED_FOR_ANOTHER = "reserved-for-another"
    TRIP_CANCELLED = "trip-cancelled"
    TRIP_OVER = "trip-is-over"
    OUT_OF_ORDER = "out-of-order"
    # seals, and how much there was
    SEAL_NOT_THE_ONE = "seal-not-the-one"
    NO_SEAL_ON_RECORD = "no-seal-on-record"
    USED_MORE = "used-more-than-the-book-held"
    BORROWED_MORE = "borrowed-more-than-the-book-held"
    KEPT_AS_IT_CAME = "kept-as-it-came"
    TOLD_AFTER_SORTING = "told-after-sorting"
    MORE_ARRIVED = "more-arrived-than-sent"
    CHECKED_SINCE = "checked-since"
    COUNTED_SINCE = "counted-since"
    # recalls that were answered
    BOOK_SAYS_OTHERWISE = "book-says-otherwise"
    FOUND_MORE = "found-more-than-the-book-held"
    # what arrived, or was put in
    RECALLED = "recalled"
    WITHHELD = "withheld"
    FAILED_CHECK = "failed-check"
    EXPIRED_ON_ARRIVAL = "expired-on-arrival"
    EXPIRED = "expired"
    UNSIGNED_MEDICINE = "unsigned-medicine"
    UNDATED = "undated"
    TRAINING_STOCK = "training-stock"
    # what a count found in a kit: `Fault`
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
    # what went: `Why`
    SHORT = "short"
    LOW = "low"
    EMPTY_BY_EYE = "empty-by-eye"
    LOW_BY_EYE = "low-by-eye"
    TAKE_OUT = "take-out"
    EXPIRED_INSIDE = "expired-inside"
    DATE_NOT_KNOWN = "date-not-known"
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
    # for a trip that it does not suit: `Mismatch`
    TOO_FEW_PEOPLE = "too-few-people"
    TOO_FEW_DAYS = "too-few-days"
    HAZARDS_NOT_SERVED = "hazards-not-served"
    NOTHING_FOR_CHILDREN = "nothing-for-children"
    LATEX_INSIDE = "latex-inside"
