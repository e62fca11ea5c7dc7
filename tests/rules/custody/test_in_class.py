"""Training kits: when one goes to a class, and what becomes of what was used there."""

from hypothesis import given, strategies as st

from kits.rules.custody.in_class import (
    back_from_class,
    became,
    goes_to_class,
    usable_in_class,
)
from kits.rules.custody.use import Went
from kits.rules.ledger.facts import Kind
from kits.rules.stock.disposal import DISPOSALS, allowed

yes_or_no = st.booleans()


@given(for_trip=yes_or_no, emergency=yes_or_no)
def test_no_other_kit_ever_goes_to_a_class(for_trip: bool, emergency: bool) -> None:
    assert not goes_to_class(training=False, for_trip=for_trip, emergency=emergency)
    assert not back_from_class(training=False, emergency=emergency, sharps_or_blood=for_trip)


@given(for_trip=yes_or_no, emergency=yes_or_no)
def test_a_training_kit_goes_to_a_class_unless_for_a_trip_or_an_emergency(
    for_trip: bool, emergency: bool
) -> None:
    to_class = goes_to_class(training=True, for_trip=for_trip, emergency=emergency)
    assert to_class == (not (for_trip or emergency))


@given(emergency=yes_or_no, sharps=yes_or_no)
def test_a_training_kit_used_in_earnest_needs_sorting(emergency: bool, sharps: bool) -> None:
    back = back_from_class(training=True, emergency=emergency, sharps_or_blood=sharps)
    assert back == (not (emergency or sharps))


@given(went=st.sampled_from(Went), training=yes_or_no, emergency=yes_or_no)
def test_use_is_use_in_class_for_training_kits_only(
    went: Went, training: bool, emergency: bool
) -> None:
    after = became(went, training=training, emergency=emergency)
    if training and not emergency:
        assert after is not Went.USED
    else:
        assert after is went


@given(kind=st.sampled_from(Kind), own=st.sampled_from(DISPOSALS))
def test_no_class_handles_medicines_sharps_or_clinical_waste(kind: Kind, own: str) -> None:
    if usable_in_class(kind, own):
        assert kind is not Kind.MEDICINE
        assert allowed(kind, own)[0] in ("bin", "returned")
    else:
        assert kind is Kind.MEDICINE or own in ("sharps", "clinical", "pharmacy")
