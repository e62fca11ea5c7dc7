"""An address on a screen is a symbol that reads back."""

import re
from typing import Any

import numpy as np
import zxingcpp

from labels.rules.layout.symbols import symbol_svg
from tests.present import present


def painted(svg: str, scale: int = 4) -> Any:
    """The symbol's path as grey pixels."""
    side = int(present(re.search(r'viewBox="0 0 (\d+) ', svg))[1])
    picture = np.full((side, side), 255, np.uint8)
    path = re.findall(r'd="([^"]*)"', svg)[1]
    for x, y, run in re.findall(r"M(\d+) (\d+)h(\d+)v1", path):
        picture[int(y), int(x) : int(x) + int(run)] = 0
    return np.kron(picture, np.ones((scale, scale), np.uint8))


def test_it_reads_back() -> None:
    address = "https://gear.umberfell.example/used/MTI:1vabcd:Zx-9_q/"

    (read,) = zxingcpp.read_barcodes(painted(symbol_svg(address)))

    assert read.text == address
