"""A PDF file written page by page.

ReportLab's document keeps every page in memory until it is saved. This one writes each page's
content to the file as soon as the page is done, so that ten thousand labels cost no more memory
than ten; what it still holds at the end is the fonts' subsets and the table of offsets. Content is
written as PDF operators (ISO 32000-1, annex A) in millimetres from the page's top left corner.
"""

import zlib
from collections.abc import Sequence
from typing import BinaryIO

from reportlab.pdfbase import pdfdoc
from reportlab.pdfbase.ttfonts import TTFont

from labels.printing.fonts import FontFiles
from labels.rules.layout import Symbol

POINTS_PER_MM = 72 / 25.4

BLACK = 0.0
GREY = 0.45
PALE = 0.80
WHITE = 1.0


class _StreamedDocument(pdfdoc.PDFDocument):  # type: ignore[misc]  # ReportLab has no types
    """ReportLab's document, with objects written to `out` as soon as they are complete."""

    def __init__(self, out: BinaryIO, language: str) -> None:
        super().__init__(lang=language, compression=1)
        self._out = out
        self._offset = 0
        self._pages_name = self.Reference(self.Pages).name
        self._put(b"%PDF-1.7\n%\xe2\xe3\xcf\xd3\n")

    def _put(self, data: bytes) -> None:
        self._out.write(data)
        self._offset += len(data)

    def _write(self, name: str) -> None:
        """Write a registered object; afterwards only its name and offset are kept."""
        body = pdfdoc.PDFIndirectObject(name, self.idToObject[name]).format(self)
        self.idToOffset[name] = self._offset
        self._put(body)
        self.idToObject[name] = None

    def add_page(self, content: bytes, width_pt: float, height_pt: float) -> None:
        stream = pdfdoc.PDFStream(
            pdfdoc.PDFDictionary({"Filter": pdfdoc.PDFName("FlateDecode")}), content
        )
        page = pdfdoc.PDFPage()
        page.pagewidth, page.pageheight = round(width_pt, 3), round(height_pt, 3)
        page.ExtGState, page._colorsUsed, page._shadingUsed = None, {}, {}
        page.Contents = self.Reference(stream)
        self._write(page.Contents.name)
        reference = self.Reference(page, self.thisPageName())
        self.Pages.addPage(reference)
        self.pageCounter += 1
        self._write(reference.name)

    def finish(self) -> None:
        for font in self.delayedFonts:
            font.addObjects(self)
        self.Outlines.ready = -1
        self.Catalog.Outlines = None
        root, info = self.Reference(self.Catalog), self.Reference(self.info)
        number = 0
        while (number := number + 1) in self.numberToId:  # writing may register more
            name = self.numberToId[number]
            if self.idToObject[name] is not None:
                self._write(name)
        names = [self.numberToId[place] for place in range(1, number)]
        start = self._offset
        table = [f"xref\n0 {number}\n0000000000 65535 f \n"]
        table += [f"{self.idToOffset[name]:010d} 00000 n \n" for name in names]
        self._put("".join(table).encode())
        trailer = pdfdoc.PDFTrailer(
            startxref=start, Size=number, Root=root, Info=info, ID=self.ID()
        )
        self._put(trailer.format(self))


class PdfFile:
    """A PDF being written to `out`: draw a page, end it, and so on; then close.

    `title` and `language` (BCP 47) become the document's. All lengths are millimetres from the
    page's top left corner; grey levels run from 0 (black) to 1 (white).
    """

    def __init__(
        self,
        out: BinaryIO,
        *,
        title: str,
        language: str,
        files: FontFiles,
    ) -> None:
        self._document = _StreamedDocument(out, language)
        self._document.setTitle(title)
        self._document.setCreator("Gearroom")
        self._document.setAuthor("")
        self._document.setSubject("")
        preferences = pdfdoc.ViewerPreferencesPDFDictionary()
        preferences["DisplayDocTitle"] = "true"
        preferences["PrintScaling"] = pdfdoc.PDFName("None")
        self._document.Catalog.ViewerPreferences = preferences
        fonts = {path: TTFont(path.stem, str(path)) for path in (files.regular, files.bold)}
        self._fonts = {False: fonts[files.regular], True: fonts[files.bold]}
        self._code: list[str] = []
        self._size_mm = (0.0, 0.0)

    def begin_page(self, width_mm: float, height_mm: float) -> None:
        """Begin a page; from here on one unit is one millimetre and y runs down."""
        self._size_mm = (width_mm, height_mm)
        scale = POINTS_PER_MM
        self._code = [f"{scale:.6f} 0 0 {-scale:.6f} 0 {height_mm * scale:.4f} cm"]

    def transform(self, scale_x: float, scale_y: float, dx_mm: float, dy_mm: float) -> None:
        """Stretch and move everything drawn from here on (a printer's calibration)."""
        self._code.append(f"{scale_x:g} 0 0 {scale_y:g} {dx_mm:g} {dy_mm:g} cm")

    def push(self, x_mm: float = 0.0, y_mm: float = 0.0) -> None:
        """Save the state, and put the origin at (x, y)."""
        self._code.append(f"q 1 0 0 1 {x_mm:.4f} {y_mm:.4f} cm")

    def push_turned(self, x_mm: float, y_mm: float, cosine: float, sine: float) -> None:
        """Save the state, put the origin at (x, y) and turn; positive angles turn clockwise."""
        self._code.append(
            f"q {cosine:.5f} {sine:.5f} {-sine:.5f} {cosine:.5f} {x_mm:.4f} {y_mm:.4f} cm"
        )

    def pop(self) -> None:
        self._code.append("Q")

    def clip(self, x_mm: float, y_mm: float, width_mm: float, height_mm: float) -> None:
        """Let nothing be drawn outside this rectangle until the state is popped."""
        self._code.append(f"{x_mm:.4f} {y_mm:.4f} {width_mm:.4f} {height_mm:.4f} re W n")

    def rectangle(
        self, x_mm: float, y_mm: float, width_mm: float, height_mm: float, grey: float = BLACK
    ) -> None:
        """Fill a rectangle."""
        self._code.append(f"{grey:g} g {x_mm:.4f} {y_mm:.4f} {width_mm:.4f} {height_mm:.4f} re f")

    def frame(
        self,
        x_mm: float,
        y_mm: float,
        width_mm: float,
        height_mm: float,
        *,
        stroke_mm: float = 0.3,
        grey: float = BLACK,
    ) -> None:
        """Draw the outline of a rectangle."""
        self._code.append(
            f"{grey:g} G {stroke_mm:g} w {x_mm:.4f} {y_mm:.4f} {width_mm:.4f} {height_mm:.4f} re S"
        )

    def line(
        self,
        x1_mm: float,
        y1_mm: float,
        x2_mm: float,
        y2_mm: float,
        *,
        stroke_mm: float = 0.2,
        grey: float = BLACK,
        dash_mm: Sequence[float] = (),
    ) -> None:
        """Draw a straight line."""
        pattern = " ".join(f"{length:g}" for length in dash_mm)
        self._code.append(
            f"{grey:g} G {stroke_mm:g} w [{pattern}] 0 d"
            f" {x1_mm:.4f} {y1_mm:.4f} m {x2_mm:.4f} {y2_mm:.4f} l S [] 0 d"
        )

    def circle(self, x_mm: float, y_mm: float, radius_mm: float) -> None:
        """Draw a circle around (x, y), as four Bézier curves."""
        x, y, r, k = x_mm, y_mm, radius_mm, radius_mm * 0.5523
        self._code.append(
            f"{GREY:g} G 0.25 w {x + r:.4f} {y:.4f} m"
            f" {x + r:.4f} {y + k:.4f} {x + k:.4f} {y + r:.4f} {x:.4f} {y + r:.4f} c"
            f" {x - k:.4f} {y + r:.4f} {x - r:.4f} {y + k:.4f} {x - r:.4f} {y:.4f} c"
            f" {x - r:.4f} {y - k:.4f} {x - k:.4f} {y - r:.4f} {x:.4f} {y - r:.4f} c"
            f" {x + k:.4f} {y - r:.4f} {x + r:.4f} {y - k:.4f} {x + r:.4f} {y:.4f} c S"
        )

    def text(
        self,
        x_mm: float,
        baseline_mm: float,
        text: str,
        *,
        em_mm: float,
        bold: bool = False,
        grey: float = BLACK,
    ) -> None:
        """Set a line of text whose characters are all in the font."""
        font, document = self._fonts[bold], self._document
        code = [f"BT {grey:g} g 1 0 0 -1 {x_mm:.4f} {baseline_mm:.4f} Tm"]
        for subset, chunk in font.splitString(text, document):
            name = font.getSubsetInternalName(subset, document)
            code.append(f"{name} {em_mm:.4f} Tf <{chunk.hex()}> Tj")
        code.append("ET")
        self._code.append(" ".join(code))

    def symbol(self, symbol: Symbol, x_mm: float, y_mm: float, module_mm: float) -> None:
        """Draw a symbol as one filled path; (x, y) is its own corner, inside the quiet zone."""
        path = " ".join([f"{x} {y} {run} 1 re" for x, y, run in symbol.runs()])
        size = f"{module_mm:.6f}"
        self._code.append(f"q 0 g {size} 0 0 {size} {x_mm:.4f} {y_mm:.4f} cm {path} f Q")

    def end_page(self) -> None:
        """Write the page out."""
        content = zlib.compress("\n".join(self._code).encode("ascii"), 6)
        width, height = (side * POINTS_PER_MM for side in self._size_mm)
        self._document.add_page(content, width, height)
        self._code = []

    def close(self) -> None:
        """Write fonts, catalogue and the table of offsets; `out` stays open."""
        self._document.finish()
