"""Looking at a picture or a workbook: what is read in it. Nothing is written here."""

from collections.abc import Iterator
from contextlib import contextmanager

from gearroom.core.acts import Invalid, Problem, TooLarge, Unacceptable
from kits.services.text.wording import in_words
from labels import reading
from labels.rules.codes.scans import Reading, Readings


class NotAPicture(Problem):
    """A file that is no picture, or of a kind that is not read."""

    status = 415


class ReadersBusy(Problem):
    """All readers are at work and none came free in time."""

    status = 503


def read(
    picture: bytes, *, seconds: float | None = None, many: bool = False, own: bool = True
) -> Readings:
    """Read a picture. `seconds` bounds the ladder (the setting where None). It ends once a label
    of ours was found (without `own`: anything); with `many` it looks for every symbol.

    Raises TooLarge (413, with the limit), NotAPicture (415), Unacceptable 422 `picture-broken`,
    ReadersBusy (503).
    """
    with _as_problems():
        result = reading.read(picture, budget_s=seconds, all_symbols=many, stop_at_own=own)
    readings = tuple(
        Reading(each.text, each.symbology, each.corners, each.rung, each.is_gs1)
        for each in result.reads
    )
    return Readings(readings, result.sha256, result.rung, result.ms)


def photo(picture: bytes) -> bytes:
    """A picture as it is kept and shown: a JPEG of at most 1600 pixels a side that says nothing of
    where it was taken. Raises as `read` does."""
    with _as_problems():
        return reading.small(picture)


def tables(
    workbook: bytes, *, sheets: int, rows: int, columns: int, field: str = "workbook"
) -> reading.Tables:
    """The cells of a workbook's sheets, as `labels.reading.tables` gives them. Raises Invalid,
    of a field, where it cannot be read or holds too much, ReadersBusy (503)."""
    with _as_problems(field):
        return reading.tables(workbook, sheets=sheets, rows=rows, columns=columns)


@contextmanager
def _as_problems(field: str = "") -> Iterator[None]:
    try:
        yield
    except reading.PictureTooLarge as error:
        raise TooLarge("too-large", in_words(error.says)) from error
    except reading.UnsupportedPicture as error:
        raise NotAPicture("not-a-picture", in_words(error.says)) from error
    except reading.BrokenPicture as error:
        raise Unacceptable("picture-broken", in_words(error.says)) from error
    except reading.WorkbookError as error:
        raise Invalid(in_words(error.says), field=field) from error
    except reading.ReaderBusy as error:
        raise ReadersBusy("readers-busy", in_words(error.says), retry_after=2) from error
