"""What a season asks of items that others replace as they run out."""

from hypothesis import given, strategies as st

from kits.rules.buying.replacing import replaced, successor
from kits.rules.buying.season import Want
from kits.rules.ledger.facts import Criticality

CHANCES = st.lists(st.integers(1, 9), min_size=1, max_size=4).map(
    lambda parts: tuple(part / sum(parts) for part in parts)
)
WANTS = st.lists(
    st.builds(
        Want,
        item=st.integers(1, 6),
        short=st.integers(0, 5),
        used=CHANCES,
        on_hand=st.integers(0, 9),
        kept=st.none() | CHANCES,
        matters=st.sampled_from(Criticality),
    ),
    unique_by=lambda want: want.item,
)
BY = st.dictionaries(st.integers(1, 6), st.integers(1, 6))


def mean(chances: tuple[float, ...]) -> float:
    return sum(n * chance for n, chance in enumerate(chances))


@given(WANTS, BY)
def test_nothing_that_is_wanted_or_there_is_lost_or_counted_twice(
    wants: list[Want], by: dict[int, int]
) -> None:
    found = replaced(wants, by)
    for of in (lambda w: w.short, lambda w: w.on_hand, lambda w: mean(w.used)):
        assert abs(sum(map(of, found)) - sum(map(of, wants))) < 1e-6
    items = [want.item for want in found]
    assert items == sorted(set(items))
    assert all(successor(item, by) == item for item in items)


@given(WANTS)
def test_without_replacements_everything_stays(wants: list[Want]) -> None:
    assert replaced(wants, {}) == sorted(wants, key=lambda want: want.item)


@given(st.integers(1, 6), BY)
def test_a_circle_replaces_nothing(item: int, by: dict[int, int]) -> None:
    after = successor(item, by)
    assert after == item or by.get(after) is None


def test_what_there_is_of_the_old_is_used_up_first() -> None:
    old = Want(1, 2, (0.5, 0.5), on_hand=5, matters=Criticality.MUST_HAVE)
    new = Want(2, 1, (1.0,), on_hand=0, kept=(1.0,))
    (want,) = replaced([old, new], {1: 2})
    assert (want.item, want.short, want.on_hand) == (2, 3, 5)
    assert (want.matters, want.used, want.kept) == (Criticality.MUST_HAVE, (0.5, 0.5), (1.0,))
