"""Printing a blank patient note: large boxes to write in with a pencil, black on white, so that it
can be copied onto waterproof paper and read when wet. One A4 page, or two A5 pages."""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import partial
from typing import BinaryIO, Literal

from gearroom.core.rules.sentences import Sentence
from labels.printing.jobs import Job
from labels.printing.painting import one_line
from labels.printing.pdf import PdfFile
from labels.printing.readback import no_symbol
from labels.rules.layout import A4_MM, A5_MM

NoteSize = Literal["a4", "a5"]
_STROKE_MM = 0.4
_PAD_MM = 1.4


@dataclass(frozen=True)
class PatientNote:
    """What is printed: a `title`, a `caution` below it, small boxes in rows (`heads` and `ends`),
    tall boxes (`story`, `background`, `done`) with their captions, the two `sketches`, the rows of
    the table of `observations` under `observed`, and `pencil`, how to write on it."""

    title: str
    caution: Sequence[str]
    heads: Sequence[Sequence[str]]
    story: str
    sketch: str
    sketches: tuple[str, str]
    background: Sequence[str]
    observed: str
    observations: Sequence[str]
    done: str
    ends: Sequence[str]
    pencil: str


@dataclass(frozen=True)
class _Measures:
    """Of one size of paper, in millimetres; `columns` are times of observations."""

    page: tuple[float, float]
    margin: float
    title: float
    text: float
    head: float
    story: float
    sketch: float
    background: float
    observation: float
    columns: int
    done: float
    end: float
    pages: int


_SIZES: dict[NoteSize, _Measures] = {
    "a4": _Measures(A4_MM, 11, 7, 3.5, 11, 24, 57, 9, 9.8, 7, 28, 12, 1),
    "a5": _Measures(A5_MM, 9, 6, 3.4, 12, 40, 66, 17, 13, 5, 54, 13, 2),
}


def patient_note_pdf(of: PatientNote, *, size: NoteSize, out: BinaryIO, job: Job) -> int:
    """Print a blank note and return its pages."""
    measures = _SIZES[size]
    with job.pdf(out, Sentence("%(title)s", {"title": of.title})) as (file, expected):
        page = _Page(file, job, measures)
        page.begin()
        page.first_half(of)
        if measures.pages == 2:
            page.end(of.pencil)
            page.begin()
            page.small_title(of)
        page.second_half(of)
        page.end(of.pencil)
        expected += [partial(no_symbol, *measures.page)] * measures.pages
    return measures.pages


class _Page:
    """A page being drawn from its top down."""

    def __init__(self, file: PdfFile, job: Job, measures: _Measures) -> None:
        self._file, self._job, self._m = file, job, measures
        self._y = 0.0
        self._across = measures.page[0] - 2 * measures.margin

    def begin(self) -> None:
        self._file.begin_page(*self._m.page)
        self._y = self._m.margin

    def end(self, below: str) -> None:
        at = self._m.page[1] - self._m.margin * 0.65
        self._write(below, 0, at, self._across)
        self._file.end_page()

    def first_half(self, of: PatientNote) -> None:
        self._y += self._m.title * 0.8
        self._write(of.title, 0, self._y, self._across, of_mm=self._m.title, bold=True)
        for line in of.caution:
            self._y += self._m.text * 1.35
            self._write(line, 0, self._y, self._across, bold=True)
        self._y += self._m.text * 0.9
        for captions in of.heads:
            self._row(captions, self._m.head)
        self._row([of.story], self._m.story)
        self._sketches(of)
        for caption in of.background:
            self._row([caption], self._m.background)

    def small_title(self, of: PatientNote) -> None:
        self._y += self._m.text
        self._write(of.title, 0, self._y, self._across * 0.6, bold=True)
        self._y += self._m.text * 0.6

    def second_half(self, of: PatientNote) -> None:
        names = self._across * 0.34
        width = (self._across - names) / self._m.columns
        for number, text in enumerate((of.observed, *of.observations)):
            self._box(0, names, self._m.observation)
            self._write(
                text, _PAD_MM, self._y + self._m.observation * 0.62, names - 2 * _PAD_MM,
                bold=number == 0,
            )  # fmt: skip
            for column in range(self._m.columns):
                self._box(names + column * width, width, self._m.observation)
            self._y += self._m.observation
        self._row([of.done], self._m.done)
        self._row(of.ends, self._m.end)

    def _sketches(self, of: PatientNote) -> None:
        self._y += self._m.text * 1.2
        self._write(of.sketch, _PAD_MM, self._y, self._across - 2 * _PAD_MM)
        self._y += self._m.text * 0.4
        top = self._y
        self._row(of.sketches, self._m.sketch)
        for n in range(2):  # the middle of the body
            x = self._m.margin + self._across * (n + 0.5) / 2
            self._file.line(
                x, top + self._m.text * 2, x, self._y - _PAD_MM, stroke_mm=0.2,
                dash_mm=(1.5, 1.5),
            )  # fmt: skip

    def _row(self, captions: Sequence[str], height: float) -> None:
        """Boxes beside one another, each with its caption at the top left."""
        width = self._across / len(captions)
        for n, caption in enumerate(captions):
            self._box(n * width, width, height)
            self._write(
                caption, n * width + _PAD_MM, self._y + self._m.text * 1.1, width - 2 * _PAD_MM
            )
        self._y += height

    def _box(self, left: float, width: float, height: float) -> None:
        self._file.frame(self._m.margin + left, self._y, width, height, stroke_mm=_STROKE_MM)

    def _write(
        self,
        text: str,
        left: float,
        baseline: float,
        width: float,
        *,
        of_mm: float | None = None,
        bold: bool = False,
    ) -> None:
        one_line(
            self._file, self._job.typeface, text, self._m.margin + left, baseline, width,
            of_mm or self._m.text, bold=bold,
        )  # fmt: skip
