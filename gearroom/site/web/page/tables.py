"""Tables of many rows: which column they are in order by, and one page of them. Both stand in the
address, beside the filters, so that a table can be sent to somebody as it is."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any, Generic, TypeVar

from django.http import HttpRequest
from django.utils.functional import Promise

Row = TypeVar("Row")


@dataclass(frozen=True)
class Column:
    """A column by its key in the address, with what it is called. `number`: its cells are numbers;
    `fixed`: nothing is in order by it."""

    key: str
    label: str | Promise
    number: bool = False
    fixed: bool = False


@dataclass(frozen=True)
class Heading:
    """A column's heading: the address that puts the table in order by it (the other way round where
    it is already), and how it is now: *ascending*, *descending* or nothing."""

    column: Column
    address: str
    order: str


@dataclass(frozen=True)
class Order:
    """By which column, and whether the largest comes first. No column: the page's own order."""

    by: str
    down: bool

    @property
    def value(self) -> str:
        """As the address has it."""
        return f"-{self.by}" if self.down else self.by


def order_of(request: HttpRequest, columns: Iterable[Column]) -> Order:
    """What an address asks for; the page's own order for anything that is no column."""
    wanted = request.GET.get("sort", "")
    by = wanted.removeprefix("-")
    known = any(column.key == by and not column.fixed for column in columns)
    return Order(by, wanted.startswith("-")) if known else Order("", down=False)


def headings(request: HttpRequest, columns: Iterable[Column], order: Order) -> list[Heading]:
    """The heading of each column."""
    return [
        Heading(
            column,
            "" if column.fixed else address_with(request, sort=_next(column.key, order)),
            _order_of(column.key, order),
        )
        for column in columns
    ]


def _next(key: str, order: Order) -> str:
    return f"-{key}" if order.by == key and not order.down else key


def _order_of(key: str, order: Order) -> str:
    if order.by != key:
        return ""
    return "descending" if order.down else "ascending"


def address_with(request: HttpRequest, **changes: str) -> str:
    """The query of this page with some of it changed, from the first page of rows; what is empty
    is left out."""
    query = request.GET.copy()
    query.pop("page", None)
    for name, value in changes.items():
        query[name] = value
    for name in [name for name, value in query.items() if not value]:
        del query[name]
    return f"?{query.urlencode()}"


@dataclass(frozen=True)
class RowsOfPage(Generic[Row]):
    """The rows of one page, which the first of them is (from 1), of how many in all; the addresses
    of the pages before and after, or nothing."""

    rows: Sequence[Row]
    first: int
    total: int
    earlier: str
    later: str

    @property
    def last(self) -> int:
        """Which the last of them is."""
        return self.first + len(self.rows) - 1

    @property
    def several(self) -> bool:
        """Whether there is another page."""
        return bool(self.earlier or self.later)


def page_of(request: HttpRequest, rows: Sequence[Row], most: int) -> RowsOfPage[Row]:
    """The page of rows that an address asks for (`page`, from 1), `most` to a page; the last for
    one that there is not."""
    wanted = request.GET.get("page", "")
    number = int(wanted) if wanted.isascii() and wanted.isdigit() and len(wanted) < 7 else 1
    number = max(1, min(number, -(-len(rows) // most)))
    first = (number - 1) * most
    return RowsOfPage(
        rows=rows[first : first + most],
        first=first + 1,
        total=len(rows),
        earlier=address_with(request, page=str(number - 1)) if number > 1 else "",
        later=address_with(request, page=str(number + 1)) if first + most < len(rows) else "",
    )


def ticks(request: HttpRequest) -> dict[str, Any]:
    """What a table with boxes shows besides: whether all are ticked, and the addresses of this page
    of rows with all ticked and with none."""
    query = request.GET.copy()
    query.pop("tick", None)
    none = f"?{query.urlencode()}"
    query["tick"] = "all"
    return {
        "all_ticked": request.GET.get("tick") == "all",
        "tick_all": f"?{query.urlencode()}",
        "tick_none": none,
    }
