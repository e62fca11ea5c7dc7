"""From the printer to the camera: labels of every size, worn, bent and badly lit, read again."""

from collections.abc import Callable, Iterator
from typing import Any
from zlib import crc32

import cv2
import numpy as np
import pytest

from labels import reading
from labels.rules.layout.layout import Space
from labels.rules.layout.sheets import SHEETS, Sheet
from tests import damage
from tests.labels.printing.printed import JOB, one_of_each, pages, printed, says

DPI = 600
BUDGET_S = 6.0  # what a phone may wait is promised elsewhere; here the machine may be busy


def printed_labels(sheet: Sheet, seed: int) -> Iterator[tuple[Any, Any]]:
    """Yield each label's code and how it was printed: its symbol and what stands around it."""
    labels = one_of_each(seed)
    images = iter(pages(printed(sheet, labels), DPI))
    for place, label in enumerate(labels):
        number = place % sheet.cells + 1
        if number == 1:
            page = next(images).astype(np.float32) / 255
        layout = JOB.lay_out(label, Space.of(sheet))
        module = layout.module_mm
        reach = (layout.symbol.modules / 2 + damage.QUIET + damage.PAPER) * module
        left, top = (edge + layout.symbol.modules / 2 * module for edge in layout.first_module_mm)
        cell = sheet.cell(number)
        pixels = DPI / 25.4
        step = module / damage.TEXTURE * pixels
        corner = (cell.left_mm + left - reach, cell.top_mm + top - reach)
        places = np.array(
            [[step, 0, corner[0] * pixels + step / 2 - 0.5],
             [0, step, corner[1] * pixels + step / 2 - 0.5]],
            np.float32,
        )  # fmt: skip
        side = (layout.symbol.modules + 2 * (damage.QUIET + damage.PAPER)) * damage.TEXTURE
        flags = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
        yield label.code, cv2.warpAffine(page, places, (side, side), flags=flags, borderValue=1.0)


def a_season_of_wear(rng: Any) -> damage.Damage:
    """Return what a label meets in a season: half of what it must stand at the most."""
    most = damage.at_random(rng)
    return damage.Damage(
        turn_deg=most.turn_deg,
        tilt_deg=most.tilt_deg / 2,
        tilt_way_deg=most.tilt_way_deg,
        arc_deg=most.arc_deg / 2,
        axis_deg=most.axis_deg,
        distance=most.distance,
        pixels=most.pixels + 1,
        blur=most.blur / 2,
        paper=0.9,
        contrast=float(rng.uniform(0.5, 0.85)),
        covered=most.covered / 2,
        blots=most.blots,
        dirt=most.dirt,
        glare=most.glare / 2,
        shade=most.shade,
        shade_way_deg=most.shade_way_deg,
        noise=most.noise,
        quality=most.quality,
    )


def all_it_must_stand(rng: Any) -> damage.Damage:
    """Return any damage within the bounds whose label is nowhere seen flatter than 20 degrees.

    Past that, pictures in which every module still has its pixels are larger than cameras make.
    """
    while True:
        drawn = damage.at_random(rng)
        if drawn.tilt_deg + drawn.arc_deg / 2 <= 70:
            return drawn


def read_worn(
    key: str, wear: Callable[[Any], damage.Damage], seeds: range, *, bare: bool = False
) -> tuple[int, list[int], list[str]]:
    """Return (read, not read, wrong texts) of labels of a sheet, each worn by its own seed.

    `bare`: the same wear on the symbol alone, not printed on anything.
    """
    sheet = SHEETS[key]
    labels = [*printed_labels(sheet, seed=3)]
    found, missed, wrong = 0, [], []
    for seed in seeds:
        rng = np.random.default_rng([seed, crc32(key.encode())])
        code, texture = labels[seed % len(labels)]
        picture = damage.photographed(says(code), wear(rng), rng, None if bare else texture)
        texts = [read.text for read in reading.read(picture, budget_s=BUDGET_S).reads]
        found += texts == [says(code)]
        missed += [] if texts else [seed]
        wrong += [text for text in texts if text != says(code)]
    return found, missed, wrong


@pytest.mark.parametrize("key", SHEETS)
def test_a_label_of_any_size_reads_after_a_season_of_wear(key: str) -> None:
    found, missed, wrong = read_worn(key, a_season_of_wear, range(8))
    assert wrong == []
    assert missed == []
    assert found == 8


@pytest.mark.long
def test_at_the_bounds_a_printed_label_reads_as_well_as_its_bare_symbol_and_never_wrongly() -> None:
    found, alone = 0, 0
    for key in SHEETS:
        here, _, wrong = read_worn(key, all_it_must_stand, range(40))
        assert wrong == []
        found += here
        alone += read_worn(key, all_it_must_stand, range(40), bare=True)[0]
    assert found >= alone - 0.02 * 40 * len(SHEETS)
