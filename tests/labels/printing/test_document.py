"""A document on paper: all of it is there, in order, on as many pages as it takes."""

import io

from hypothesis import given, settings, strategies as st

from labels.printing import Document, Part, Table, document_pdf
from tests.labels.printing.printed import JOB, texts

_WORDS = st.text("abcdefgh 0123456789-", min_size=1, max_size=120).map(str.strip).filter(bool)
_ROWS = st.lists(st.tuples(_WORDS, _WORDS), max_size=60)


def printed(parts: list[Part]) -> list[str]:
    out = io.BytesIO()
    of = Document("DAY-01 on 1 May", ["Main store"], "Look at every pack before use.", parts)
    number = document_pdf(of, out=out, job=JOB)
    pages: list[str] = texts(out.getvalue())
    assert len(pages) == number
    return pages


def squeezed(text: str) -> str:
    """A text without what wrapping adds or takes: spaces, and the marks of broken words."""
    return "".join(c for c in text if c.isalnum())


@settings(max_examples=15)
@given(rows=_ROWS)
def test_every_cell_is_on_some_page_in_order(rows: list[tuple[str, str]]) -> None:
    cells = [(f"<{n}>{one}", other) for n, (one, other) in enumerate(rows)]
    pages = printed([Part("Contents", table=Table(("Item", "Batch"), (1, 2), cells))])
    assert all("Look at every pack before use." in page for page in pages)
    assert [f"{n} / {len(pages)}" in page for n, page in enumerate(pages, 1)] == [True] * len(pages)
    whole = squeezed(" ".join(pages))
    assert all(squeezed(other) in whole for _, other in rows)
    places = [" ".join(pages).index(f"<{n}>") for n in range(len(rows))]
    assert places == sorted(places)


def test_headings_of_a_table_stand_again_on_its_next_page_and_no_heading_ends_a_page() -> None:
    rows = [(f"item {n}", "batch") for n in range(90)]
    parts = [
        Part("Contents", table=Table(("Item", "Batch"), (1, 1), rows)),
        *(Part(f"Part {n}", ["One line."]) for n in range(40)),
    ]
    pages = printed(parts)
    with_rows = [page for page in pages if "item " in page]
    assert len(with_rows) > 1 and all("Item Batch" in page for page in with_rows)
    for n in range(40):
        (page,) = [page for page in pages if f"Part {n} " in f"{page} "]
        assert f"Part {n} One line." in page
