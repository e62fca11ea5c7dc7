"""How to print here, and what the printer refuses as a problem."""

import io
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import BinaryIO

from django.utils.translation import override

from gearroom.core.acts import Invalid, Problem, Refused, Unacceptable
from gearroom.core.models.installation import current
from gearroom.core.rules.sentences import Sentence
from kits.services.text.wording import in_words
from labels import printing
from labels.rules.layout import CellTooSmall, SheetError, SymbolTooSmall


class NoPublicAddress(Refused):
    """No address is set that what is printed could lead to: it can only be looked at."""


def _in_our_language(text: Sentence | str) -> str:
    """What stands on paper is for everybody who meets it, whoever prints it."""
    with override(current().language):
        return in_words(text)


def job(*, preview: bool = False) -> printing.Job:
    """How to print here. Raises Refused (`public-address-missing`) for anything but a preview
    while there is no address that labels could lead to."""
    try:
        return printing.Job(
            public_url=current().public_url,
            organisation=current().organisation,
            language=current().language,
            speak=_in_our_language,
            preview=preview,
        )
    except printing.PublicAddressMissing as error:
        raise NoPublicAddress("public-address-missing", in_words(error.says)) from error


def as_problem(error: Exception) -> Problem:
    """What the printer refuses, as a problem; an error that is none of its refusals is raised."""
    match error:
        case SheetError():
            problems = [in_words(each) for each in error.problems]
            return Invalid(" ".join(problems), field="sheet", problems=problems)
        case CellTooSmall():
            width, height = error.needed_mm
            return Unacceptable(
                "label-too-small",
                in_words(error.says),
                needed_width_mm=width,
                needed_height_mm=height,
            )
        case SymbolTooSmall():
            return Unacceptable("label-too-small", in_words(error.says), needed_mm=error.needed_mm)
        case printing.CardTooLong():
            return Unacceptable("card-too-long", in_words(error.says))
        case printing.ReadBackFailed():
            return Refused("read-back-failed", in_words(error.says))
        case ValueError():
            return Invalid(str(error))
    raise error


def pdf_of(draw: Callable[[BinaryIO], object]) -> bytes:
    """What `draw` writes; raises what the printer refuses as problems."""
    out = io.BytesIO()
    with printable():
        draw(out)
    return out.getvalue()


@contextmanager
def printable() -> Iterator[None]:
    """Raises what the printer refuses as problems."""
    try:
        yield
    except (ValueError, printing.ReadBackFailed) as error:
        raise as_problem(error) from error
