"""What may be sold or given away, over every batch."""

from hypothesis import given, strategies as st

from kits.rules.leaving.leaving import KEPT_HERE, hindrances
from kits.rules.ledger import Batch, ReasonCode, why_not
from tests.rules.kit_facts import TODAY, batches


@given(st.lists(batches(), max_size=6))
def test_each_batch_that_is_not_good_today_stands_once_on_one_side(
    given_batches: list[Batch],
) -> None:
    found = hindrances(given_batches, TODAY)
    named = [fault.batch.id for fault in (*found.kept_here, *found.to_confirm)]
    last = {batch.id: batch for batch in given_batches}.values()
    assert sorted(named) == sorted(batch.id for batch in last if why_not(batch, TODAY) is not None)


@given(batches())
def test_what_is_recalled_or_on_hold_never_leaves_whoever_agrees(batch: Batch) -> None:
    found = hindrances([batch], TODAY)
    assert {fault.code for fault in found.kept_here} <= KEPT_HERE
    assert not {fault.code for fault in found.to_confirm} & KEPT_HERE
    if batch.recalled:
        assert [fault.code for fault in found.kept_here] == [ReasonCode.RECALLED]
