"""Codes of problems that several operations may answer with, for the schema."""

NAMED_KIT: tuple[str, ...] = ("which-kit", "not-a-kit", "label-cancelled")
"""What may be said against how a kit is named."""
NAMED_BY_LABEL = ("label-cancelled", "wrong-label")
"""What may be said against how a batch, a shelf, a section or a person is named."""
NOT_OPEN = ("trip-cancelled", "trip-is-over")
"""What may be said against reserving anything for a trip."""
NOT_FREE = ("kit-reserved", "kit-retired")
WRONG_SPAN = ("trip-ends-before-it-begins", "trip-too-long")
SWAPPING = ("same-kit", "kit-is-out", "not-reserved", "does-not-suit", *NOT_FREE, *NOT_OPEN)
"""What may be said against sending a kit on a trip in the place of another."""
NOT_TO_GO = ("not-fit", "short-needs-a-reason", "may-not-clear")
"""What may be said against taking a kit out as it is."""
PUT_IN = (
    "recalled", "failed-check", "withheld", "expired", "unsigned-medicine", "undated",
    "training-stock", "kit-retired",
)  # fmt: skip
"""What may be said against putting units into a kit."""
PRINTING = (
    "public-address-missing", "label-too-small", "card-too-long", "read-back-failed",
)  # fmt: skip
