"""What all printed pages share: its title, language, address, typeface, and the read-back."""

import shutil
import tempfile
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from functools import lru_cache
from typing import BinaryIO

from gearroom.core.rules.sentences import Sentence, SentenceError, Speak, say
from kits.rules.lookup import label_codes
from labels.printing import fonts, readback
from labels.printing.pdf import PdfFile
from labels.rules.codes.texts import PREVIEW_MARK
from labels.rules.layout import Label, Layout, Space, Symbol, Typeface, encode, lay_out

PageExpectation = Callable[[], readback.Expected]
"""Makes a page's expectation when it is needed, so that little is kept for each label."""

_PREVIEW_ADDRESS = "HTTPS://PREVIEW.INVALID"
_PREVIEW_CODE = "PREVIEW0"  # E, I, W and 0 are in no code: nothing resolves it


class PublicAddressMissing(SentenceError, RuntimeError):
    """Labels lead people to the public address; without one they would be scrap."""

    def __init__(self) -> None:
        sentence = say(
            "No web address has been set for labels, so a code printed on one would lead "
            "nowhere. Enter it under Settings, Web address (or set GEARROOM_PUBLIC_URL on the "
            "server), or request a preview."
        )
        super().__init__(sentence)


@dataclass(frozen=True)
class Job:
    """How to print. `public_url`: scheme and host that symbols lead to; may be empty in previews.

    `preview`: marked as such on every page and label, with symbols that resolve to nothing.
    `language`: BCP 47, and what `speak` says is in it. `files`: the typeface. `read_back`: only
    the bench turns it off.
    """

    public_url: str
    organisation: str = ""
    title: str = ""
    language: str = "en-GB"
    speak: Speak = str
    preview: bool = False
    files: fonts.FontFiles = fonts.HOUSE_FONT
    read_back: bool = True

    def __post_init__(self) -> None:
        if not self.public_url and not self.preview:
            raise PublicAddressMissing

    @property
    def typeface(self) -> Typeface:
        return fonts.typeface(self.files)

    @property
    def preview_mark(self) -> str:
        """What a preview says of itself."""
        return self.speak(PREVIEW_MARK)

    def payload(self, code: str) -> str:
        """Return what the symbol of `code` says. Raises ValueError for what is no code."""
        if self.preview:
            address = self.public_url.upper().rstrip("/") or _PREVIEW_ADDRESS
            return f"{address}/L/{_PREVIEW_CODE}"
        return label_codes.payload(self.public_url, code)

    def symbol(self, code: str) -> Symbol:
        payload = self.payload(code)
        return _preview_symbol(payload) if self.preview else encode(payload)

    def code_text(self, code: str) -> str:
        """Return the code as people see it; on a preview, that it is one."""
        return self.preview_mark if self.preview else label_codes.shown(code)

    def lay_out(self, label: Label, space: Space) -> Layout:
        return lay_out(
            label,
            self.symbol(label.code),
            space,
            self.typeface,
            organisation=self.organisation,
            code_text=self.code_text(label.code),
            speak=self.speak,
        )

    @contextmanager
    def pdf(
        self, out: BinaryIO, title: Sentence
    ) -> Iterator[tuple[PdfFile, list[PageExpectation]]]:
        """Give a PDF to draw on, and a list to say in, page by page, what its symbols must be.

        At the end every symbol is read back, and only then `out` is filled.
        """
        with tempfile.TemporaryFile() as written:
            file = PdfFile(
                written,
                title=self.title or self.speak(title),
                language=self.language,
                files=self.files,
            )
            expected: list[PageExpectation] = []
            yield file, expected
            file.close()
            if self.read_back:
                readback.check_pdf(written, (page() for page in expected))
            written.seek(0)
            shutil.copyfileobj(written, out, 1 << 20)


@lru_cache(maxsize=8)
def _preview_symbol(payload: str) -> Symbol:
    return encode(payload)
