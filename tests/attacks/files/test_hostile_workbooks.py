"""Workbooks that nobody filled in by hand: each refused or read in bounded time and memory, in a
process that is not the server's."""

import io
import random
import re
import resource
import zipfile
from collections.abc import Callable, Iterator
from datetime import date
from pathlib import Path
from typing import Any

import pytest
from openpyxl import Workbook, load_workbook

from gearroom.site.web.overview import start_workbook
from kits.models import Entry, Lot
from labels import reading
from labels.reading.front.pool import Pool
from tests.labels.reading.test_reading_bounds import LIMITS, mutated
from tests.present import present
from tests.site.browsing import PAGES_ON_SQLITE, browser, post, text_of
from tests.site.overview import test_first_day as first_day

BOUNDS = {"sheets": 6, "rows": 2002, "columns": 12}
MEMORY_BYTES = 400 * 2**20
"""What reading any workbook may take of memory; a reader alone has a third of it."""

keeper, room = first_day.keeper, first_day.room


@pytest.fixture(scope="module")
def pool() -> Iterator[Pool]:
    pool = Pool(**LIMITS)
    yield pool
    pool.close()


def filled_in() -> Any:
    return first_day.filled_in().read()


def changed(content: Any, replace: Callable[[Any, Any], Any]) -> bytes:
    """A workbook whose parts went through `replace(name, bytes)`."""
    out = io.BytesIO()
    with (
        zipfile.ZipFile(io.BytesIO(content)) as before,
        zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as after,
    ):
        for name in before.namelist():
            after.writestr(name, replace(name, before.read(name)))
    return out.getvalue()


def one_sheet_named(times: int) -> bytes:
    def replace(name: Any, part: Any) -> Any:
        if name != "xl/workbook.xml":
            return part
        again = b"".join(
            b'<sheet name="s%d" sheetId="%d" r:id="rId2"/>' % (n, n)
            for n in range(100, 100 + times)
        )
        return part.replace(b"</sheets>", again + b"</sheets>")

    return changed(filled_in(), replace)


def two_names_for_one_sheet() -> bytes:
    return changed(
        filled_in(),
        lambda name, part: (
            part.replace(b'r:id="rId3"', b'r:id="rId2"') if name == "xl/workbook.xml" else part
        ),
    )


def with_sheet(xml: bytes) -> bytes:
    head = b'<worksheet xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main">'
    body = head + b"<sheetData>" + xml + b"</sheetData></worksheet>"
    return changed(filled_in(), lambda name, part: body if name.endswith("sheet3.xml") else part)


def one_text_everywhere() -> bytes:
    book = Workbook()
    for number in range(5):
        sheet = book.create_sheet(f"s{number}")
        for _ in range(2000):
            sheet.append(["x" * 900] * 10)
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


def with_part(name: str, size: int) -> bytes:
    out = io.BytesIO(filled_in())
    with zipfile.ZipFile(out, "a", zipfile.ZIP_DEFLATED) as packed:
        packed.writestr(name, b" " * size)
    return out.getvalue()


def many_parts() -> bytes:
    out = io.BytesIO(filled_in())
    with zipfile.ZipFile(out, "a") as packed:
        for number in range(20_000):
            packed.writestr(f"x/{number}", b"")
    return out.getvalue()


def entities() -> bytes:
    bomb = b'<?xml version="1.0"?><!DOCTYPE x [<!ENTITY a "aaaaaaaaaa">' + b"".join(
        b'<!ENTITY %c "%s">' % (98 + n, b"&%c;" % (97 + n) * 10) for n in range(8)
    )
    return changed(
        filled_in(),
        lambda name, part: (
            bomb + b"]>" + part.replace(b"</sheets>", b"<x>&i;</x></sheets>")
            if name == "xl/workbook.xml"
            else part
        ),
    )


def a_lie_of_its_size() -> bytes:
    content = bytearray(with_part("xl/media/x.xml", 30 * 2**20))
    place = content.rfind(b"PK\x01\x02")
    content[place + 24 : place + 28] = (10).to_bytes(4, "little")
    return bytes(content)


HOSTILE = {
    "one sheet named 5,000 times": lambda: one_sheet_named(5000),
    "one sheet under two names": two_names_for_one_sheet,
    "a million cells in a row": lambda: with_sheet(b"<row>" + b"<c/>" * 3_000_000 + b"</row>"),
    "a million rows": lambda: with_sheet(b"<row/>" * 3_000_000),
    "one text everywhere": one_text_everywhere,
    "a cell of a megabyte": lambda: with_sheet(
        b'<row><c r="A1" t="inlineStr"><is><t>' + b"x" * 2**20 + b"</t></is></c></row>"
    ),
    "deeply nested": lambda: with_sheet(
        b"<row>" + b"<c>" * 500_000 + b"</c>" * 500_000 + b"</row>"
    ),
    "texts of 30 MB": lambda: with_part("xl/sharedStrings2.xml", 30 * 2**20),
    "styles of 5 MB": lambda: changed(
        filled_in(),
        lambda name, part: (
            part.replace(b"</fonts>", b"<font/>" * 700_000 + b"</fonts>")
            if name == "xl/styles.xml"
            else part
        ),
    ),
    "20,000 parts": many_parts,
    "61 MB unpacked": lambda: with_part("xl/worksheets/sheet9.xml", 61 * 2**20),
    "entities in entities": entities,
}


def refused_for(pool: Pool, content: bytes) -> str:
    """Why a workbook is refused; it has to be refused, by a reader that stays within its memory."""
    with pytest.raises(reading.WorkbookError) as refused:
        pool.tables(content, **BOUNDS)
    reader = pool.readers[0]
    if reader.process is not None:
        status = Path(f"/proc/{reader.process.pid}/status").read_text()
        peak = int(present(re.search(r"VmHWM:\s+(\d+) kB", status))[1]) * 1024
        assert peak < MEMORY_BYTES, f"{peak / 2**20:.0f} MB"
    return str(refused.value)


@pytest.mark.parametrize("name", HOSTILE)
def test_a_hostile_workbook_is_refused_within_bounds(pool: Pool, name: str) -> None:
    content = HOSTILE[name]()
    before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss

    told = refused_for(pool, content)

    assert told.endswith(".")
    swollen = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before
    assert swollen < 100 * 1024, "the server's own process parses none of it"
    assert pool.tables(filled_in(), **BOUNDS)[1][1][0] == "A1", "the next one is read"


def test_what_an_archive_says_of_its_size_bounds_what_is_unpacked(pool: Pool) -> None:
    try:
        tables = pool.tables(a_lie_of_its_size(), **BOUNDS)
    except reading.WorkbookError:
        return
    assert tables[1][1][0] == "A1", "the part that lies is none of those that are read"


def broken(whole: Any, rng: random.Random) -> bytes:
    """A workbook with some bytes changed: of the archive, or of a part in a whole archive."""
    if rng.random() < 0.5:
        return mutated(whole, rng)
    with zipfile.ZipFile(io.BytesIO(whole)) as packed:
        hit = rng.choice(packed.namelist())
    return changed(whole, lambda name, part: mutated(part, rng) if name == hit else part)


def feed_mutations(pool: Pool, number: int) -> set[str]:
    whole = filled_in()
    outcomes = set()
    for seed in range(number):
        try:
            tables = pool.tables(broken(whole, random.Random(seed)), **BOUNDS)
        except reading.WorkbookError as error:
            outcomes.add(type(error).__name__)
        else:
            outcomes.add("read")
            assert all(len(table) <= 2002 for table in tables)
    return outcomes


def test_200_mutated_workbooks_are_read_or_refused_by_name(pool: Pool) -> None:
    assert {"read", "BrokenWorkbook"} <= feed_mutations(pool, 200)


@pytest.mark.long
def test_10_000_mutated_workbooks_are_read_or_refused_by_name(pool: Pool) -> None:
    feed_mutations(pool, 10_000)


def test_a_reader_that_hangs_over_a_workbook_is_ended(monkeypatch: pytest.MonkeyPatch) -> None:
    import os
    import signal

    monkeypatch.setattr("labels.reading.front.pool.WORKBOOK_SECONDS", 0.5)
    pool = Pool(**LIMITS)
    try:
        pool.readers[0].start()
        os.kill(present(pool.readers[0].process).pid, signal.SIGSTOP)
        with pytest.raises(reading.WorkbookTooLarge):
            pool.tables(filled_in(), **BOUNDS)
        assert pool.readers[0].process is None
    finally:
        pool.close()


class TestPages:
    pytestmark = PAGES_ON_SQLITE

    @pytest.mark.parametrize(
        ("content", "told"),
        [
            (lambda: one_sheet_named(5000), "more than 6 sheets"),
            (two_names_for_one_sheet, "spreadsheet cannot be read"),
            (HOSTILE["a cell of a megabyte"], "more than 1000 characters"),
            (HOSTILE["20,000 parts"], "far too large to load"),
        ],
        ids=["5000", "twice", "cell", "parts"],
    )
    def test_it_says_what_to_do_and_adds_nothing(
        self, keeper: Any, content: Callable[[], bytes], told: str
    ) -> None:
        file = io.BytesIO(content())
        file.name = "start.xlsx"
        answer = first_day.send(browser(keeper), file)
        assert answer.status_code == 400
        said = text_of(answer)
        assert told in said, said[-900:]
        assert not Entry.objects.exists()

    def test_a_day_that_the_spreadsheet_made_a_date_of_is_read_as_that_day(
        self, room: Any, keeper: Any
    ) -> None:
        book = load_workbook(io.BytesIO(start_workbook.blank()))
        for name, lines in first_day.ROWS.items():
            for line in lines:
                book[name].append(line)
        book["Contents"]["F2"] = date(2031, 5, 31)
        file = io.BytesIO()
        book.save(file)
        file.seek(0)
        file.name = "start.xlsx"
        client = browser(keeper)
        page = first_day.send(client, file)
        assert page.status_code == 200
        post(client, "/first-day/workbook/", sure=first_day.sure_of(page))
        assert Lot.objects.get(number="L1").expiry == date(2031, 5, 31)
