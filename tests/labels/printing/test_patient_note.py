"""The blank patient note: fits its paper, is black on white, and is in both languages."""

import io
from typing import Literal

import pypdfium2
import pytest
from django.test import Client
from django.utils.translation import override

from labels.services.paper.patient_note import patient_note
from tests.kits import factories as make
from tests.site.browsing import browser

pytestmark = pytest.mark.django_db


def texts(content: bytes) -> list[str]:
    file = pypdfium2.PdfDocument(content)
    return [page.get_textpage().get_text_range() for page in file]


@pytest.mark.parametrize(
    ("size", "pages", "width", "height"), [("a4", 1, 210, 297), ("a5", 2, 148, 210)]
)
@pytest.mark.parametrize("language", ["en-gb", "de"])
def test_all_of_it_is_on_the_paper_and_black(
    language: str, size: Literal["a4", "a5"], pages: int, width: int, height: int
) -> None:
    with override(language):
        content = patient_note(size)
    file = pypdfium2.PdfDocument(content)
    assert len(file) == pages
    for page in file:
        assert [round(side * 25.4 / 72) for side in page.get_size()] == [width, height]
        picture = page.render(scale=2).to_pil().convert("RGB")
        assert all(max(pixel) - min(pixel) < 3 for _, pixel in picture.getcolors(1 << 20) or ())
        edge = min(picture.width, picture.height) // 50
        inner = picture.crop((edge, edge, picture.width - edge, picture.height - edge))
        ink = sum(n for n, pixel in picture.getcolors(1 << 20) or () if pixel[0] < 100)
        assert ink == sum(n for n, pixel in inner.getcolors(1 << 20) or () if pixel[0] < 100)
    words = " ".join(texts(content))
    wanted = {"en-gb": ["local protocol come first", "No name", "Pulse", "pencil"],
              "de": ["Vorgaben gehen vor", "Ein Name ist nicht", "Puls", "Bleistift"]}  # fmt: skip
    for text in wanted[language]:
        assert text in words


def test_it_is_printed_from_the_page_of_labels_in_either_language() -> None:
    w = make.world()
    client: Client = browser(w.keeper)
    assert "/patient-note/?size=a5&amp;language=de" in client.get("/labels/").content.decode()
    for query, word in (("language=de", "Puls"), ("size=a5", "Pulse"), ("language=xx", "Pulse")):
        answer = client.get(f"/patient-note/?{query}")
        assert answer["Content-Type"] == "application/pdf"
        assert word in " ".join(texts(io.BytesIO(answer.content).read()))
