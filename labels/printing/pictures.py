"""One label as a PNG or SVG picture, for roll printers and for pages."""

import io
from collections.abc import Iterator
from xml.sax.saxutils import escape, quoteattr

import numpy as np
from PIL import Image, ImageDraw

from labels.printing import readback
from labels.printing.fonts import raster_font
from labels.printing.jobs import Job
from labels.rules.layout import MM_PER_INCH, QUIET_MODULES, Label, Layout, Sheet, Space, checked

PRINTER_DPI = (203, 300, 600)
"""The resolutions that label printers have."""


def label_png(label: Label, sheet: Sheet, *, job: Job, dpi: int = 300) -> bytes:
    """Return `label` as a black and white PNG of one cell of `sheet`, at `dpi` (203, 300, 600).

    Each module is a whole number of dots, at least 0.40 mm; the file says its resolution. The
    symbol is read back from the picture. Raises CellTooSmall, ReadBackFailed, and ValueError for
    another resolution.
    """
    if dpi not in PRINTER_DPI:
        raise ValueError("Choose the printer's own resolution: 203, 300 or 600 dots an inch.")
    layout = job.lay_out(label, Space.of(checked(sheet), dpi))
    image = _raster(layout, dpi, job)
    readback.check_picture(np.array(image.convert("L")), [layout.symbol.payload])
    out = io.BytesIO()
    image.save(out, "PNG", dpi=(dpi, dpi), optimize=True)
    return out.getvalue()


def _raster(layout: Layout, dpi: int, job: Job) -> Image.Image:
    scale = dpi / MM_PER_INCH
    size = (round(layout.width_mm * scale), round(layout.height_mm * scale))
    image = Image.new("1", size, 1)
    draw = ImageDraw.Draw(image)
    draw.fontmode = "1"
    if layout.hole:
        radius = layout.hole.diameter_mm / 2 * scale
        centre = (size[0] / 2, layout.hole.centre_from_top_mm * scale)
        draw.circle(centre, radius, outline=0)
    for band in layout.bands:
        corner = (band.left_mm * scale, band.top_mm * scale)
        opposite = (band.right_mm * scale - 1, band.bottom_mm * scale - 1)
        draw.rectangle((*corner, *opposite), fill=0)
    for line in layout.lines:
        path = job.files.bold if line.bold else job.files.regular
        font = raster_font(path, line.em_mm * scale)
        for before, word in _words(line.text):
            # Hinted letters are whole dots wide, which adds up: each word starts where it should.
            start = line.box.left_mm + job.typeface.face(line.bold).width(before) * line.em_mm
            place = (start * scale, line.baseline_mm * scale)
            draw.text(place, word, font=font, fill=int(line.inverse), anchor="ls")
    dots = round(layout.module_mm * scale)
    modules = np.kron(layout.symbol.dark, np.ones((dots, dots), dtype=np.bool_))
    left = round(layout.symbol_box.left_mm * scale)
    top = round(layout.symbol_box.top_mm * scale)
    image.paste(Image.fromarray(~np.pad(modules, QUIET_MODULES * dots)), (left, top))
    return image


def _words(text: str) -> Iterator[tuple[str, str]]:
    """Yield each word with all that stands before it."""
    place = 0
    for word in text.split(" "):
        yield text[:place], word
        place += len(word) + 1


def label_svg(label: Label, sheet: Sheet, *, job: Job) -> str:
    """Return `label` as SVG of one cell of `sheet`: one path for the symbol, texts as text.

    Lengths are millimetres. Texts name the typeface first and a plain sans after it, and carry
    their width, so that they stay in place where the typeface is missing. The symbol is read back
    from its path.
    """
    layout = job.lay_out(label, Space.of(checked(sheet)))
    x, y = layout.first_module_mm
    path = "".join(f"M{column} {row}h{run}v1h-{run}z" for column, row, run in layout.symbol.runs())
    _check_path(path, layout)
    width, height = f"{layout.width_mm:g}", f"{layout.height_mm:g}"
    family = quoteattr("'Fira Sans Condensed', 'Arial Narrow', sans-serif")
    parts = [
        f'<svg xmlns="http://www.w3.org/2000/svg" lang={quoteattr(job.language)}'
        f' width="{width}mm" height="{height}mm" viewBox="0 0 {width} {height}"'
        f" font-family={family}>",
        f"<title>{escape(job.title or _title(layout, job.preview_mark))}</title>",
        f'<rect width="{width}" height="{height}" fill="#fff"/>',
    ]
    if layout.hole:
        parts.append(
            f'<circle cx="{layout.width_mm / 2:g}" cy="{layout.hole.centre_from_top_mm:g}"'
            f' r="{layout.hole.diameter_mm / 2:g}" fill="none" stroke="#777" stroke-width="0.2"/>'
        )
    parts += [
        f'<rect x="{band.left_mm:.3f}" y="{band.top_mm:.3f}" width="{band.width_mm:.3f}"'
        f' height="{band.height_mm:.3f}"/>'
        for band in layout.bands
    ]
    parts += [
        f'<text x="{line.box.left_mm:.3f}" y="{line.baseline_mm:.3f}"'
        f' font-size="{line.em_mm:.3f}" font-weight="{700 if line.bold else 500}"'
        f' fill="{"#fff" if line.inverse else "#000"}" textLength="{line.box.width_mm:.3f}"'
        f' lengthAdjust="spacingAndGlyphs">{escape(line.text)}</text>'
        for line in layout.lines
    ]
    parts.append(
        f'<path class="symbol" shape-rendering="crispEdges" d="{path}"'
        f' transform="translate({x:.4f} {y:.4f}) scale({layout.module_mm:.6f})"/></svg>'
    )
    return "\n".join(parts)


def _title(layout: Layout, preview: str) -> str:
    texts = [line.text for line in layout.lines]
    return preview if preview in texts else " ".join(texts)


def _check_path(path: str, layout: Layout) -> None:
    """Paint the symbol from its path alone and read it."""
    dots, side = 4, layout.symbol.modules_with_quiet
    image = Image.new("L", (side * dots, side * dots), 255)
    draw = ImageDraw.Draw(image)
    for run in path.split("M")[1:]:
        start, rest = run.split("h", 1)
        column, row = (int(number) + QUIET_MODULES for number in start.split())
        length = int(rest.split("v", 1)[0])
        corner = (column * dots, row * dots)
        draw.rectangle((*corner, (column + length) * dots - 1, (row + 1) * dots - 1), fill=0)
    readback.check_picture(np.array(image), [layout.symbol.payload])
