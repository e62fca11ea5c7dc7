"""Reading symbols from pictures: a ladder of attempts, in a process that can be killed.

`read` is the front: bytes of a picture in, everything read out. `child` is the process that does
it, `pool` owns such processes, `pictures` decodes files, `ladder` is the ordered list of attempts
over `preparations` and `engines`, `results` says what comes back. `workbooks` reads what else
strangers send, in the same process.
"""

from labels.reading.front.errors import (
    BrokenPicture,
    BrokenWorkbook,
    PictureError,
    PictureTooLarge,
    ReaderBusy,
    UnsupportedPicture,
    WorkbookError,
    WorkbookTooLarge,
)
from labels.reading.front.pool import Tables, shared as _shared
from labels.reading.front.results import Read, Reads

__all__ = [
    "BrokenPicture",
    "BrokenWorkbook",
    "PictureError",
    "PictureTooLarge",
    "Read",
    "ReaderBusy",
    "Reads",
    "Tables",
    "UnsupportedPicture",
    "WorkbookError",
    "WorkbookTooLarge",
    "read",
    "small",
    "tables",
]


def read(
    picture: bytes,
    *,
    all_symbols: bool = False,
    budget_s: float | None = None,
    stop_at_own: bool = True,
) -> Reads:
    """Read the symbols in a picture file.

    `all_symbols`: look for every symbol, for the whole budget. Otherwise it ends early: with
    `stop_at_own` as soon as a label of ours was read, without it as soon as anything was.
    `budget_s`:
    seconds of wall time for the ladder, beside decoding (default: settings.READING).

    Raises PictureTooLarge (413), UnsupportedPicture (415), BrokenPicture (422), ReaderBusy (503).
    A reader killed on its way gives what it had read, `stopped` being "killed".
    """
    return _shared().read(
        picture, all_symbols=all_symbols, budget_s=budget_s, stop_at_own=stop_at_own
    )


def small(picture: bytes, *, longest_px: int = 1600) -> bytes:
    """A picture file as a JPEG to keep and to show: upright, no side over `longest_px`, nothing in
    it but pixels. It is made in a reader process and raises as `read` does."""
    return _shared().small(picture, longest_px=longest_px)


def tables(workbook: bytes, *, sheets: int, rows: int, columns: int) -> Tables:
    """The cells of a workbook's sheets (.xlsx) in order: texts, numbers or None; a day as
    2027-05-31. It is read in a reader process.

    Raises BrokenWorkbook, WorkbookTooLarge where it holds more than `sheets` sheets or far more
    than people write, ReaderBusy. Of a sheet, what is beyond `rows` and `columns` is left out.
    """
    return _shared().tables(workbook, sheets=sheets, rows=rows, columns=columns)
