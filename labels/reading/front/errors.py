"""Why a file could not be read: a small family, each with a sentence that says what to do."""

from gearroom.core.rules.sentences import InvalidValue, SentenceError, say

TOO_MUCH_MEMORY = say("The picture needs too much memory to open. Send a smaller one.")

TOO_MUCH = say(
    "The spreadsheet is far too large to load. Download the empty one and copy your rows into it."
)


class PictureError(InvalidValue):
    """A picture that cannot be read as it was sent; `says` is a sentence for a person."""


class PictureTooLarge(PictureError):
    """Over a limit of bytes, pixels or frames; the limit is in the message. HTTP 413."""


class UnsupportedPicture(PictureError):
    """Not a picture, or of a kind that is not read; the kinds are in the message. HTTP 415."""


class BrokenPicture(PictureError):
    """A picture cut short or damaged, or one that took too long or too much to open. HTTP 422."""


class WorkbookError(InvalidValue):
    """A workbook that cannot be read as it was sent; `says` is a sentence for a person."""


class BrokenWorkbook(WorkbookError):
    """No workbook, a damaged one, or one that took too long or too much to open."""


class WorkbookTooLarge(WorkbookError):
    """Over a limit; which one, or what to do, is in the message."""


class ReaderBusy(SentenceError, RuntimeError):
    """All reader processes are taken and none came free in time. HTTP 503; try again."""
