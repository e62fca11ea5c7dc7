"""`manage.py read_image`: the contract that scripts rely on."""

import io
import json
from pathlib import Path

import numpy as np
from django.core.management import call_command
from PIL import Image

from tests import damage

TEXT = "HTTPS://GEAR.EXAMPLE.ORG/L/K9GP5R95"


def test_it_prints_a_line_of_json_for_each_file_and_goes_on_after_a_bad_one(tmp_path: Path) -> None:
    modules = np.pad(damage.symbol(TEXT), 4)
    label = np.where(np.repeat(np.repeat(modules, 4, 0), 4, 1), 0, 255).astype(np.uint8)
    good, bad, missing = tmp_path / "label.png", tmp_path / "notes.jpg", tmp_path / "gone.jpg"
    Image.fromarray(label).save(good)
    bad.write_text("These are notes.")
    printed = io.StringIO()
    call_command("read_image", str(bad), str(missing), str(good), stdout=printed)
    rows = [json.loads(line) for line in printed.getvalue().splitlines()]
    assert [row["file"] for row in rows] == [str(bad), str(missing), str(good)]
    assert rows[0]["reads"] == rows[1]["reads"] == []
    assert "picture cannot be read" in rows[0]["error"]
    (read,) = rows[2]["reads"]
    assert read["text"] == TEXT
    assert read["symbology"] == "QR Code"
    assert read["rung"] == "plain"
    side = len(modules) * 4
    expected = [[16, 16], [side - 16, 16], [side - 16, side - 16], [16, side - 16]]
    assert np.abs(np.array(read["corners"]) - expected).max() < 3
    assert rows[2]["ms"] > 0
