"""What tests of scanning start from: the small school with its labels on, and pictures of them."""

import io
from dataclasses import dataclass
from typing import Any

import numpy as np
import zxingcpp
from PIL import Image

from kits.models import Kit, Label, Place, Trip
from kits.rules.lookup import label_codes
from kits.services.labelling import labelling
from kits.services.trips import reservations
from labels.rules.codes.scans import Intent, typed_texts
from labels.services.paper import paper, sheets
from labels.services.scan.results import ScanAnswer, ScanRequest
from labels.services.scan.scanning import scan
from tests.kits import again, factories as make

ADDRESS = "https://gear.umberfell.example"


class Additions:
    """What the fixtures of some files add to it."""

    second: Label


@dataclass
class Labelled(Additions):
    """The school, and a label on a kit, a pouch, a batch, a shelf, a guide, and a blank one."""

    world: make.World
    kit: Label
    pouch: Label
    lot: Label
    shelf: Label
    tag: Label
    blank: Label


@again.kept
def labelled() -> Labelled:
    """The school of the kits' tests with labels on."""
    world = make.world()
    return Labelled(
        world=world,
        kit=label(world.day_01),
        pouch=label(make.section(world.day_01, "pouch")),
        lot=label(world.dressings, world),
        shelf=label(world.shelf),
        tag=label(world.guide, world),
        blank=labelling.blanks(make.act(), world.store, 1)[0],
    )


def label(on: Any, world: make.World | None = None) -> Label:
    """A new label on something."""
    return labelling.label_for(make.act(), on, world.store if world else None)


def filled(name: str, world: make.World) -> Kit:
    """Another kit, filled, looked inside and fit."""
    made = make.kit(name, world.version, world.store, responsible=world.instructor)
    lots = world.lots
    make.some(world.dressing, world.shelf, 6, "D1", make.days(400))
    make.some(world.shears, world.shelf, 1)
    make.some(world.tablets, world.shelf, 8, "T1", make.days(300))
    make.put_in(made, lots["d1"], world.shelf, 6)
    make.put_in(made, lots["shears"], world.shelf, 1)
    make.put_in(made, lots["tablets"], world.shelf, 8, "pouch")
    return make.fresh(made)


def promised(labels: Labelled, kit: Kit | None = None, person: Any = None, **more: Any) -> Trip:
    """A trip today that a kit is promised to."""
    trip = make.trip("Hill day", labels.world.store, **more)
    trip.departs_at = min(trip.departs_at + make.timedelta(hours=1), trip.returns_at)
    trip.save()
    reservations.reserve(make.act(), kit or labels.world.day_01, trip, person=person)
    return trip


def shown(of: Label) -> str:
    """A label's code as people see it."""
    return label_codes.shown(of.code)


def scanned(who: Any, *texts: str, intent: Intent = Intent.IDENTIFY, **said: Any) -> ScanAnswer:
    """What comes of somebody scanning texts."""
    return scan(make.act(who), typed_texts(texts), ScanRequest(intent, **said))


def one(who: Any, text: str, intent: Intent = Intent.IDENTIFY, **said: Any) -> Any:
    """The outcome of somebody scanning one text."""
    (outcome,) = scanned(who, text, intent=intent, **said).outcomes
    return outcome


# ------------------------------------------------------------------------------------ pictures
def png_of(of: Label, dpi: int = 300) -> bytes:
    """A label as it is printed. It needs settings.PUBLIC_URL."""
    row = Label.objects.select_related(*labelling.SHOWN_WITH).get(pk=of.pk)
    sheet = sheets.sheet(sheets.PICTURE_SHEET).sheet
    return paper.picture(row, form="png", dpi=dpi, on=sheet)


def shelf_picture(labels: list[Label], across: int = 3) -> bytes:
    """A JPEG of several labels side by side, in rows."""
    pictures = [Image.open(io.BytesIO(png_of(each))).convert("L") for each in labels]
    width, height = (side + 60 for side in pictures[0].size)
    down = -(-len(labels) // across)
    wall = Image.new("L", (across * width, down * height), 190)
    for number, picture in enumerate(pictures):
        wall.paste(picture, (number % across * width + 30, number // across * height + 30))
    return jpeg(wall)


def symbol(content: str | bytes, kind: Any = zxingcpp.BarcodeFormat.QRCode, **how: Any) -> bytes:
    """A JPEG of a symbol that says anything at all."""
    barcode = zxingcpp.create_barcode(content, kind, **how)
    dark = np.array(zxingcpp.write_barcode_to_image(barcode, scale=6, add_quiet_zones=True))
    framed = Image.new("L", (dark.shape[1] + 200, dark.shape[0] + 200), 230)
    framed.paste(Image.fromarray(dark), (100, 100))
    return jpeg(framed)


def jpeg(image: Image.Image) -> bytes:
    """A picture as JPEG."""
    out = io.BytesIO()
    image.save(out, "JPEG", quality=85)
    return out.getvalue()


def wrong(code: str) -> str:
    """A code with one character changed, so that its check fails."""
    return next(
        code[:3] + other + code[4:]
        for other in label_codes.ALPHABET
        if other != code[3] and not label_codes.is_valid(code[:3] + other + code[4:])
    )


def place_of(of: Label) -> Place:
    """The shelf or section that a label is on."""
    assert of.place is not None
    return of.place
