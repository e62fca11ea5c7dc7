"""What would become of a filled kit's lines, and whether parts cost less."""

from collections import Counter
from datetime import date, timedelta
from decimal import Decimal

import pytest
from hypothesis import given, settings, strategies as st

from kits.rules.buying.bought_kit import Fate, KitLine, Part, Past, Why, fates, habit
from kits.rules.buying.buy_or_build import BoughtKit, kept_in_parts, parts, parts_win_from, ways
from kits.rules.buying.season import MixedCurrencies, Offer, Price, WrongAmount
from kits.rules.ledger.facts import Kind, Thing

TODAY = date(2026, 11, 25)
THROUGH = TODAY + timedelta(days=365)
THINGS = {
    1: Thing(1, "Dressing", sterile=True),
    2: Thing(2, "Tablets", Kind.MEDICINE),
    3: Thing(3, "Shears", Kind.TOOL, needs_date=False),
    4: Thing(4, "Tape"),
}
things = st.none() | st.sampled_from(list(THINGS.values()))
lines = st.builds(
    KitLine,
    name=st.just("line"),
    thing=things,
    units=st.integers(1, 9),
    expiry=st.none() | st.integers(-500, 1500).map(lambda n: TODAY + timedelta(days=n)),
)
units_by_item = st.dictionaries(st.sampled_from(list(THINGS)), st.integers(0, 12))
habits = st.dictionaries(
    st.sampled_from(list(THINGS)),
    st.builds(Past, st.sampled_from(Fate), st.integers(2, 9), st.sampled_from(["", "narrow"])),
)


def guess(of: list[KitLine], wanted: dict[int, int], **more: dict[int, int]) -> list[Part]:
    return fates(of, wanted=wanted, extras=more.get("extras", {}), past={}, through=THROUGH)


substitutes = st.dictionaries(
    st.sampled_from(list(THINGS)), st.lists(st.sampled_from(list(THINGS)), max_size=3, unique=True)
)


@given(st.lists(lines, max_size=12), units_by_item, units_by_item, habits, substitutes)
def test_every_unit_goes_one_way_and_no_more_is_kept_than_wanted(
    of: list[KitLine],
    wanted: dict[int, int],
    extras: dict[int, int],
    past: dict[int, Past],
    will_do: dict[int, list[int]],
) -> None:
    found = fates(of, wanted=wanted, extras=extras, past=past, through=THROUGH, will_do=will_do)
    assert sum(part.units for part in found) == sum(line.units for line in of)
    assert all(part.units > 0 for part in found)
    kept: Counter[int] = Counter()
    for part in found:
        thing = part.line.thing
        if part.fate is Fate.KEEP:
            assert thing is not None
            assert part.serves is not None
            assert part.serves == thing.id or part.serves in will_do[thing.id]
            kept[part.serves] += part.units
            assert part.line.expiry is None or part.line.expiry >= THROUGH
        if thing is not None and thing.kind is Kind.MEDICINE:
            assert part.fate is not Fate.TRAINING
        if thing is None:
            assert (part.fate, part.why) == (Fate.DISPOSE, Why.UNKNOWN)
    assert all(units <= wanted.get(item, 0) for item, units in kept.items())


@given(st.lists(lines, max_size=12), units_by_item)
def test_what_the_list_wants_is_kept_as_far_as_it_lasts(
    of: list[KitLine], wanted: dict[int, int]
) -> None:
    found = guess(of, wanted)
    for item, units in wanted.items():
        good = sum(
            line.units
            for line in of
            if line.thing is not None
            and line.thing.id == item
            and (line.expiry is None or line.expiry >= THROUGH)
        )
        kept = sum(
            part.units
            for part in found
            if part.fate is Fate.KEEP and part.line.thing == THINGS[item]
        )
        assert kept == min(good, units)


def test_what_has_no_date_on_record_is_taken_to_last_but_not_before_what_surely_does() -> None:
    unread = KitLine("dressing", THINGS[1], 2)
    late = KitLine("dressing", THINGS[1], 2, THROUGH + timedelta(days=1))
    found = guess([unread, late], {1: 3})
    assert [(part.line, part.units, part.fate) for part in found] == [
        (unread, 1, Fate.KEEP),
        (unread, 1, Fate.TRAINING),
        (late, 2, Fate.KEEP),
    ]


def test_what_is_loose_is_kept_whole_where_the_list_has_it() -> None:
    loose = KitLine("plasters", Thing(1, "Plasters", by_eye=True), 20)
    (part,) = guess([loose], {1: 1})
    assert (part.units, part.fate) == (20, Fate.KEEP)


def test_what_keeps_longest_is_kept_and_the_rest_is_an_extra() -> None:
    soon = KitLine("tape", THINGS[4], 2, THROUGH)
    late = KitLine("tape", THINGS[4], 2, THROUGH + timedelta(days=400))
    found = guess([soon, late], {4: 3}, extras={4: 9})
    assert [(part.line, part.units, part.fate) for part in found] == [
        (soon, 1, Fate.KEEP),
        (soon, 1, Fate.SHELF),
        (late, 2, Fate.KEEP),
    ]


def test_tiny_tape_that_was_binned_four_times_is_binned_again_and_says_so() -> None:
    past = habit([(Fate.DISPOSE, "narrow")] * 3 + [(Fate.DISPOSE, ""), (Fate.KEEP, "")])
    assert past == Past(Fate.DISPOSE, 4, "narrow")
    line = KitLine("tape", THINGS[4], 2)
    found = fates([line], wanted={4: 2}, extras={}, past={4: past}, through=THROUGH)
    assert found == [Part(line, 2, Fate.DISPOSE, Why.BEFORE, past)]


@given(st.lists(st.tuples(st.sampled_from(Fate), st.sampled_from(["", "narrow", "weak"]))))
def test_a_habit_is_what_was_done_most_of_the_times(past: list[tuple[Fate, str]]) -> None:
    found = habit(past)
    counts = Counter(fate for fate, _ in past)
    if found is None:
        assert all(n < 2 or 2 * n <= len(past) for n in counts.values())
    else:
        assert found.times == counts[found.fate] == max(counts.values())
        assert found.reason == "" or (found.fate, found.reason) in past


# ------------------------------------------------------------------------------- buy or build
money = st.integers(1, 3000).map(lambda pennies: Decimal(pennies) / 100)
packs = st.lists(
    st.builds(
        Offer,
        id=st.integers(0, 99),
        item=st.sampled_from(list(THINGS)),
        supplier=st.just(0),
        units=st.sampled_from([1, 5, 10]),
        currency=st.just("GBP"),
        prices=money.map(lambda each: (Price(1, each),)),
    ),
    max_size=6,
)


@given(units_by_item, packs, st.integers(1, 9))
def test_more_kits_never_cost_less_and_no_offer_costs_less_than_the_one_taken(
    wanted: dict[int, int], offers: list[Offer], kits: int
) -> None:
    by_item = {n: [offer for offer in offers if offer.item == n] for n in THINGS}
    few = parts({item: kits * units for item, units in wanted.items()}, by_item)
    more = parts({item: (kits + 1) * units for item, units in wanted.items()}, by_item)
    assert few.money <= more.money
    assert few.unpriced == more.unpriced
    assert set(few.unpriced) == {n for n, units in wanted.items() if units and not by_item[n]}
    dearest = sum(
        (
            max(offer.cost(-(-kits * units // offer.units)) for offer in by_item[item])
            for item, units in wanted.items()
            if units and by_item[item]
        ),
        Decimal(0),
    )
    assert few.money <= dearest


@given(st.lists(lines, max_size=8), units_by_item, packs, money)
@settings(deadline=None)
def test_parts_win_from_a_number_of_kits_on_and_not_just_before(
    of: list[KitLine], wanted: dict[int, int], offers: list[Offer], price: Decimal
) -> None:
    kit = BoughtKit("filled", price, "GBP", tuple(guess(of, wanted)))
    wins = parts_win_from(wanted, kit, offers, most=12)

    def parts_are_no_dearer(kits: int) -> bool:
        by_kind = {w.bought is None: w for w in ways(kits, wanted, [kit], offers, "GBP")}
        return by_kind[True].money <= by_kind[False].money

    if any(way.parts.unpriced for way in ways(1, wanted, [kit], offers, "GBP")):
        assert wins is None
    elif wins is None:
        assert not parts_are_no_dearer(12)
    else:
        assert all(parts_are_no_dearer(n) for n in range(wins, 13))
        assert wins == 1 or not parts_are_no_dearer(wins - 1)


def test_a_whole_box_pays_from_the_third_kit_on() -> None:
    """A filled kit of 9.00 has all; a box of ten at 20.00 fills five."""
    line = KitLine("dressing", THINGS[1], 2, THROUGH)
    kit = BoughtKit("filled", Decimal(9), "GBP", tuple(guess([line], {1: 2})))
    box = Offer(0, 1, 0, 10, "GBP", (Price(1, Decimal(20)),))
    assert parts_win_from({1: 2}, kit, [box]) == 3
    first, second = ways(3, {1: 2}, [kit], [box], "GBP")
    assert (first.bought, first.money, first.parts.left_over) == (None, Decimal(20), 4)
    assert (second.money, second.each_kept, second.expires) == (Decimal(27), Decimal("4.50"), 0)


def test_what_has_no_price_is_named_and_never_the_cheapest() -> None:
    kit = BoughtKit("filled", Decimal(9), "GBP", tuple(guess([], {})))
    found = ways(1, {1: 2}, [kit], [], "GBP")
    assert [way.parts.unpriced for way in found] == [(1,), (1,)]
    assert parts_win_from({1: 2}, kit, []) is None


def test_currencies_and_numbers_that_cannot_be_are_refused() -> None:
    kit = BoughtKit("filled", Decimal(9), "EUR", ())
    with pytest.raises(MixedCurrencies):
        ways(1, {}, [kit], [], "GBP")
    with pytest.raises(WrongAmount):
        ways(0, {}, [], [], "GBP")
    with pytest.raises(WrongAmount):
        BoughtKit("filled", Decimal("-1"), "GBP", ())


def test_what_lies_on_shelves_as_an_extra_is_not_bought_again() -> None:
    kit = BoughtKit(
        "Filled", Decimal(9), "GBP", tuple(guess([KitLine("a", THINGS[1], 1, THROUGH)], {1: 2}))
    )
    each = Offer(1, 1, 1, 1, "GBP", (Price(1, Decimal(2)),))
    built, filled = sorted(
        ways(2, {1: 2}, [kit], [each], "GBP", {1: 3, 4: 9}), key=lambda way: way.bought is not None
    )
    assert (built.parts.money, built.off_shelves) == (Decimal(2), 3)
    assert (filled.parts.money, filled.off_shelves) == (Decimal(0), 4 - 2)


@given(units_by_item, units_by_item, st.integers(1, 9))
def test_extras_never_make_parts_dearer_and_nothing_wanted_is_left_out(
    wanted: dict[int, int], extras: dict[int, int], kits: int
) -> None:
    each = [Offer(n, n, 1, 1, "GBP", (Price(1, Decimal(n)),)) for n in THINGS]
    (without,) = ways(kits, wanted, [], each, "GBP")
    (way,) = ways(kits, wanted, [], each, "GBP", extras)
    assert way.money <= without.money
    saved = sum(n * min(kits * units, extras.get(n, 0)) for n, units in wanted.items())
    assert without.money - way.money == saved


def test_what_is_kept_is_priced_in_parts_only_where_all_of_it_has_a_price() -> None:
    lines = [KitLine("a", THINGS[1], 3, THROUGH), KitLine("b", THINGS[4], 1)]
    kit = BoughtKit("Filled", Decimal(9), "GBP", tuple(guess(lines, {1: 2, 4: 1})))
    box = Offer(1, 1, 1, 5, "GBP", (Price(1, Decimal(4)),))
    tape = Offer(2, 4, 1, 1, "GBP", (Price(1, Decimal("0.50")),))
    assert kept_in_parts(kit, 1, [box, tape]) == Decimal("1.50")
    assert kept_in_parts(kit, 1, [box]) is None
    assert kept_in_parts(BoughtKit("Bare", Decimal(9), "GBP", ()), 1, [box]) is None


def test_what_will_do_instead_counts_once_the_item_itself_is_in() -> None:
    """Of six dressings four come; two of five tapes will do instead, so that no parts are added."""
    of = [KitLine("tape", THINGS[4], 5), KitLine("dressing", THINGS[1], 4)]
    found = fates(of, wanted={1: 6}, extras={}, past={}, through=THROUGH, will_do={4: [1]})
    assert [(p.units, p.fate, p.why, p.serves) for p in found] == [
        (2, Fate.KEEP, Why.INSTEAD, 1),
        (3, Fate.TRAINING, Why.NOT_LISTED, 4),
        (4, Fate.KEEP, Why.LISTED, 1),
    ]
    bought = BoughtKit("kit", Decimal(9), "GBP", tuple(found))
    assert bought.kept == {1: 6}
    offers = [Offer(1, 1, 1, 1, "GBP", (Price(1, Decimal(2)),))]
    (way,) = [way for way in ways(1, {1: 6}, [bought], offers, "GBP") if way.bought]
    assert way.money == Decimal(9)


def test_extras_on_shelves_are_worth_what_they_would_cost() -> None:
    offers = [Offer(1, 1, 1, 5, "GBP", (Price(1, Decimal(4)),))]
    (way,) = ways(1, {1: 12}, [], offers, "GBP", {1: 7})
    assert (way.off_shelves, way.money, way.worth) == (7, Decimal(4), Decimal(8))
