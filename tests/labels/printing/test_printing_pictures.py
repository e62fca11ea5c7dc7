"""One label as PNG or SVG."""

import io
import re
import subprocess
from collections.abc import Callable
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

import numpy as np
import pytest
from hypothesis import given, strategies as st
from PIL import Image

from labels.printing import Job, label_png, label_svg
from labels.rules.layout.contents import KitLabel
from labels.rules.layout.sheets import SHEETS
from tests.labels.printing.printed import ADDRESS, JOB, new_codes, one_of_each, read, says
from tests.present import present

ROLLS = ("roll-62x29", "roll-50x25", "roll-25x25", "tie-on-55x90")
SVG = "{http://www.w3.org/2000/svg}"


@pytest.mark.parametrize("dpi", [203, 300, 600])
@pytest.mark.parametrize("key", ROLLS)
def test_a_png_reads_and_has_whole_dots_of_at_least_forty_hundredths_a_module(
    key: str, dpi: int
) -> None:
    sheet = SHEETS[key]
    for label in one_of_each():
        image = Image.open(io.BytesIO(label_png(label, sheet, job=JOB, dpi=dpi)))
        assert image.mode == "1"
        assert image.info["dpi"] == pytest.approx((dpi, dpi), abs=0.5)
        wanted = (sheet.cell_width_mm * dpi / 25.4, sheet.cell_height_mm * dpi / 25.4)
        assert image.size == pytest.approx(wanted, abs=1)
        pixels = np.array(image.convert("L"))
        ((text, _),) = read(pixels)
        assert text == says(label.code)
        assert dots_a_module(pixels, JOB.symbol(label.code).modules) * 25.4 / dpi >= 0.40


def dots_a_module(pixels: Any, modules: int) -> int:
    """Measure a finder pattern: the first seven dark modules of the symbol's top row."""
    import zxingcpp

    (barcode,) = zxingcpp.read_barcodes(pixels)
    top, left = barcode.position.top_left.y, barcode.position.top_left.x
    dark = pixels < 128
    row = dark[top + 2, left:]
    run = int(np.argmin(row))
    assert run % 7 == 0
    dots = run // 7
    block = dark[top : top + dots * modules, left : left + dots * modules]
    cells = block.reshape(modules, dots, modules, dots).sum(axis=(1, 3))
    assert set(np.unique(cells)) == {0, dots * dots}  # every module is whole
    return dots


@given(
    name=st.text(max_size=60),
    key=st.sampled_from(ROLLS),
    dpi=st.sampled_from([203, 300, 600]),
)
def test_no_ink_of_a_png_comes_near_the_labels_edge(name: str, key: Any, dpi: Any) -> None:
    label = KitLabel(next(new_codes()), name, "A room with a rather long name, upstairs")
    picture = Image.open(io.BytesIO(label_png(label, SHEETS[key], job=JOB, dpi=dpi)))
    pixels = np.array(picture.convert("L"))
    margin = round(0.4 * dpi / 25.4)
    pixels[margin:-margin, margin:-margin] = 255
    assert (pixels == 255).all()


def test_a_resolution_that_no_label_printer_has_is_refused() -> None:
    with pytest.raises(ValueError, match="203, 300 or 600"):
        label_png(one_of_each()[0], SHEETS["roll-62x29"], job=JOB, dpi=150)


def test_an_svg_is_well_formed_sized_in_millimetres_and_has_its_texts_as_text() -> None:
    for label in one_of_each():
        root = ElementTree.fromstring(label_svg(label, SHEETS["roll-62x29"], job=JOB))
        assert (root.get("width"), root.get("height")) == ("62mm", "29mm")
        assert root.get("lang") == "en-GB"
        shown = " ".join(text.text or "" for text in root.iter(f"{SVG}text"))
        assert f"{label.code[:4]}-{label.code[4:]}" in shown
        assert getattr(label, "name", "").split(" ")[0] in shown


def test_an_svg_names_with_markup_in_them_are_text() -> None:
    label = KitLabel(next(new_codes()), '<script>alert("x")</script> & "Co"')
    root = ElementTree.fromstring(label_svg(label, SHEETS["letter-2x5"], job=JOB))
    assert [element.tag for element in root.iter() if "script" in element.tag] == []
    assert "<script>" in " ".join(text.text or "" for text in root.iter(f"{SVG}text"))


def test_the_svgs_symbol_is_one_path_that_reads() -> None:
    label = one_of_each()[0]
    root = ElementTree.fromstring(label_svg(label, SHEETS["roll-62x29"], job=JOB))
    (path,) = root.iter(f"{SVG}path")
    size = JOB.symbol(label.code).modules
    image = np.full((size + 8, size + 8), 255, np.uint8)
    for column, row, run in re.findall(r"M(\d+) (\d+)h(\d+)", present(path.get("d"))):
        image[int(row) + 4, int(column) + 4 : int(column) + 4 + int(run)] = 0
    assert [text for text, _ in read(np.kron(image, np.ones((4, 4), np.uint8)))] == [
        says(label.code)
    ]


def test_pictures_of_a_preview_say_so() -> None:
    job = Job(ADDRESS, preview=True)
    assert "PREVIEW – not for use" in label_svg(one_of_each()[0], SHEETS["roll-62x29"], job=job)
    picture = Image.open(io.BytesIO(label_png(one_of_each()[0], SHEETS["roll-25x25"], job=job)))
    ((text, _),) = read(np.array(picture.convert("L")))
    assert text.endswith("/L/PREVIEW0")


def test_a_browser_draws_the_svg_so_that_it_reads(
    need: Callable[[str], str], tmp_path: Path
) -> None:
    chromium = need("chromium")
    label = one_of_each()[2]
    (tmp_path / "label.svg").write_text(label_svg(label, SHEETS["roll-62x29"], job=JOB))
    (tmp_path / "page.html").write_text('<body style="margin:8px"><img src="label.svg">')
    subprocess.run(
        [
            chromium,
            "--headless=new",
            "--no-sandbox",
            "--disable-gpu",
            "--hide-scrollbars",
            f"--user-data-dir={tmp_path / 'profile'}",
            "--force-device-scale-factor=3",
            "--window-size=400,200",
            f"--screenshot={tmp_path / 'seen.png'}",
            (tmp_path / "page.html").as_uri(),
        ],
        check=True,
        capture_output=True,
        timeout=60,
    )
    seen = np.array(Image.open(tmp_path / "seen.png").convert("L"))
    assert [text for text, _ in read(seen)] == [says(label.code)]
