"""A kit list as a table: rows are moved and put together, and nothing of two people's is lost."""

from dataclasses import replace

from hypothesis import given, strategies as st

from kits.rules.lists import table as rules
from kits.rules.lists.table import Group, Note, Row, Table

A, B = "main", "lid"


def line(id: str, item: str = "", carry: str = "1") -> Row:
    return Row(id, {"item": item or id, "carry": carry})


def of(*groups: tuple[str, list[Row]], left_out: tuple[Row, ...] = ()) -> Table:
    made = (Group(Row(id, {"name": id}), tuple(rows)) for id, rows in groups)
    return Table(Row("facts", {"people": "4"}), tuple(made), left_out)


def ids(table: Table) -> list[list[str]]:
    return [[row.id for row in group.rows] for group in table.groups]


TWO = of((A, [line("a"), line("b")]), (B, [line("c")]))


def test_a_row_moves_up_and_down_and_across_sections() -> None:
    assert ids(rules.moved(TWO, "b", -1)) == [["b", "a"], ["c"]]
    assert ids(rules.moved(TWO, "b", 1)) == [["a"], ["b", "c"]]
    assert ids(rules.moved(TWO, "c", -1)) == [["a", "b", "c"], []]
    assert ids(rules.moved(TWO, "a", -1)) == ids(TWO)
    assert ids(rules.moved(TWO, "c", 1)) == ids(TWO)


def test_a_section_moves_with_its_rows_and_stays_at_the_end() -> None:
    assert ids(rules.moved(TWO, B, -1)) == [["c"], ["a", "b"]]
    assert ids(rules.moved(TWO, B, 1)) == ids(TWO)


def test_a_row_is_sent_to_another_section_and_to_none_that_is_not_there() -> None:
    assert ids(rules.sent_to(TWO, "a", B)) == [["b"], ["c", "a"]]
    assert rules.sent_to(TWO, "a", "nowhere") == TWO


def test_what_is_not_there_moves_nothing() -> None:
    assert rules.moved(TWO, "nobody", 1) == TWO


@given(st.lists(st.tuples(st.sampled_from(["a", "b", "c", A, B]), st.sampled_from([-1, 1]))))
def test_moving_loses_no_row(moves: list[tuple[str, int]]) -> None:
    table = TWO
    for id, step in moves:
        table = rules.moved(table, id, step)
    assert {row.id for row in table.parts} == {row.id for row in TWO.parts}


def test_a_new_row_has_an_id_of_its_own() -> None:
    once = rules.with_row(TWO, A, {"item": ""})
    twice = rules.with_group(once, {"name": ""}, {"item": ""})
    assert ids(twice) == [["a", "b", "+1"], ["c"], ["+3"]]
    assert twice.groups[2].head.id == "+2"
    assert rules.with_left_out(twice).left_out[0].id == "+4"


def test_another_table_is_put_into_sections_of_the_same_name_and_new_ones() -> None:
    other = of(("LID", [line("x", "C"), line("y", "D")]), ("Top", [line("z", "A")]))

    both = rules.appended(rules.with_row(TWO, B, {"item": ""}), other)

    assert [[row.values["item"] for row in g.rows] for g in both.groups] == [
        ["a", "b"],
        ["c", "D"],
        ["A"],
    ]
    assert len({row.id for row in both.parts}) == len(list(both.parts))


def test_what_was_pasted_is_there_though_the_section_has_it() -> None:
    other = of((A, [line("x", "a", carry="4")]))
    both = rules.appended(TWO, other, again=True)
    assert [row.values["carry"] for row in both.groups[0].rows] == ["1", "1", "4"]


def test_what_is_left_out_already_is_not_copied_again() -> None:
    gauge, mask = Row("out.1", {"thing": "Gauge", "need": ""}), Row("x", {"thing": "", "need": "m"})
    both = rules.appended(of(left_out=(gauge,)), of(left_out=(replace(gauge, id="y"), mask)))
    assert [row.values for row in both.left_out] == [gauge.values, mask.values]


# ----------------------------------------------------------------------------------------- merging
def with_line(table: Table, id: str, **values: str) -> Table:
    return rules.changed(table, id, lambda row: replace(row, values={**row.values, **values}))


def without(table: Table, id: str) -> Table:
    rows = [tuple(row for row in g.rows if row.id != id) for g in table.groups]
    groups = zip(table.groups, rows, strict=True)
    return replace(table, groups=tuple(replace(g, rows=of) for g, of in groups if g.head.id != id))


def row(table: Table, id: str) -> Row:
    return next(each for each in table.parts if each.id == id)


def test_what_one_of_two_changed_stays_as_that_one_has_it() -> None:
    both = rules.merged(with_line(TWO, "a", carry="5"), TWO, with_line(TWO, "b", carry="7"))

    assert row(both, "a").values["carry"] == "5"
    assert row(both, "a").note is None
    assert row(both, "b").values["carry"] == "7"
    assert (row(both, "b").note, row(both, "b").beside["carry"]) == (Note.CHANGED, "1")


def test_what_both_changed_is_as_typed_with_the_other_beside_it() -> None:
    both = rules.merged(with_line(TWO, "a", carry="5"), TWO, with_line(TWO, "a", carry="7"))

    assert row(both, "a").values["carry"] == "5"
    assert (row(both, "a").note, row(both, "a").beside["carry"]) == (Note.BOTH, "7")


def test_what_they_added_is_there_and_what_they_removed_can_be_put_back() -> None:
    both = rules.merged(TWO, TWO, without(rules.with_row(TWO, B, {"item": "new"}), "a"))

    assert row(both, "+1").note is Note.ADDED
    assert (row(both, "a").gone, row(both, "a").note) == (True, Note.REMOVED)


def test_what_i_changed_stays_though_they_removed_its_section() -> None:
    both = rules.merged(with_line(TWO, "c", carry="5"), TWO, without(TWO, B))

    assert not row(both, "c").gone
    assert not row(both, B).gone


def test_what_i_removed_and_they_changed_is_shown_with_what_they_say() -> None:
    mine = rules.changed(TWO, "a", lambda each: replace(each, gone=True))
    both = rules.merged(mine, TWO, with_line(TWO, "a", carry="7"))
    assert (row(both, "a").gone, row(both, "a").note) == (True, Note.BOTH)


values = st.sampled_from("123")


@st.composite
def versions(draw: st.DrawFn) -> Table:
    """TWO as somebody made it: rows changed, taken away, added."""
    table = TWO
    for id in ("a", "b", "c"):
        table = with_line(table, id, carry=draw(values))
        if draw(st.booleans()):
            table = without(table, id)
    if draw(st.booleans()):
        table = rules.with_row(table, draw(st.sampled_from([A, B])), {"item": "n", "carry": "1"})
    return table


@given(mine=versions(), theirs=versions())
def test_nothing_of_either_is_lost(mine: Table, theirs: Table) -> None:
    theirs = rules.changed(theirs, "+1", lambda each: replace(each, id="theirs"))
    both = rules.merged(mine, TWO, theirs)
    for each in mine.parts:
        here = row(both, each.id)
        assert each.values in (here.values, here.beside) or each.values == row(TWO, each.id).values
    for each in theirs.parts:
        if each.id in {known.id for known in mine.parts}:
            here = row(both, each.id)
            before = row(TWO, each.id).values
            assert each.values in (here.values, here.beside, before)
        elif each.id == "theirs":
            assert row(both, each.id).note is Note.ADDED
