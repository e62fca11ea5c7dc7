"""What each kind of label shows, and from which size of cell on; and the order of labels.

Every label shows its symbol and its code at every size. `FIELDS` lists the rest: the words, from
top to bottom, and the smallest cell that shows each of them.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from typing import Literal

from gearroom.core.rules.natural_order import NaturalKey, natural
from gearroom.core.rules.sentences import Sentence, Speak, say
from labels.rules.codes.texts import Expiry, short_date


@dataclass(frozen=True)
class _Coded:
    code: str
    """8 characters without a dash."""


@dataclass(frozen=True)
class _Named(_Coded):
    name: str


@dataclass(frozen=True)
class KitLabel(_Named):
    """A kit's own label; a training kit's says so in the place of first aid."""

    room: str = ""
    training: bool = False


@dataclass(frozen=True)
class SectionLabel(_Named):
    """A kit's section (pouch); a training kit's says so in the place of first aid."""

    kit: str = ""
    training: bool = False


@dataclass(frozen=True)
class LotLabel(_Coded):
    """A batch of an item."""

    item: str
    lot: str
    expiry: Expiry


@dataclass(frozen=True)
class ShelfLabel(_Named):
    """A shelf of a gear room."""

    room: str = ""


@dataclass(frozen=True)
class PersonTag(_Named):
    """A person's tag, for a label or a key ring."""

    note: str = ""


@dataclass(frozen=True)
class BlankLabel(_Coded):
    """A code that is bound later, by scanning the label and then what it is on."""


@dataclass(frozen=True)
class KitTag(_Named):
    """What hangs on a kit once it is resealed: what is true as it is sealed, and stays so while
    the seal is on. `first_expiry` is the earliest date inside, None where nothing is dated."""

    first_expiry: date | None
    seal: str
    sealed_by: str
    training: bool = False


Label = KitLabel | SectionLabel | LotLabel | ShelfLabel | PersonTag | BlankLabel | KitTag


@dataclass(frozen=True)
class Field:
    """How one piece of text is set.

    `from_mm`: the least (width, height) of a cell that shows it. `largest_mm`: its largest em.
    `share`: the largest em again, as a share of the cell's shorter side. `banner` fields stand
    white on black, on one line; `cap_mm` is the least height of their capitals in cells at least
    `cap_from_mm` wide (where the line is long enough for it). `keep`: where not all fits, the
    lowest is left out first.
    """

    name: str
    from_mm: tuple[float, float]
    largest_mm: float
    most_lines: int = 1
    bold: bool = False
    banner: bool = False
    cap_mm: float = 0.0
    cap_from_mm: float = 60.0
    share: float = 0.24
    keep: int = 5


ANY = (0.0, 0.0)
SMALL = (36.0, 20.0)
MEDIUM = (46.0, 24.0)
LARGE = (60.0, 33.0)

_CODE = Field("code", ANY, largest_mm=6.5, bold=True, share=0.13, keep=9)
_FIRST_AID = Field("first_aid", (34.0, 24.0), largest_mm=5.5, bold=True, share=0.11, keep=3)
_TRAINING = Field("training", ANY, largest_mm=5.5, most_lines=3, bold=True, share=0.13, keep=8)
_ORGANISATION = Field("organisation", LARGE, largest_mm=4.5, most_lines=2, share=0.09, keep=1)

FIELDS: dict[type, tuple[Field, ...]] = {
    KitLabel: (
        Field("name", SMALL, largest_mm=16.0, most_lines=3, bold=True, share=0.3),
        _TRAINING,
        _FIRST_AID,
        Field("room", MEDIUM, largest_mm=6.5, most_lines=2, share=0.13, keep=2),
        _ORGANISATION,
        _CODE,
    ),
    SectionLabel: (
        Field("name", SMALL, largest_mm=12.0, most_lines=3, bold=True),
        Field("kit", SMALL, largest_mm=7.5, most_lines=2, share=0.15),
        _TRAINING,
        _FIRST_AID,
        _ORGANISATION,
        _CODE,
    ),
    LotLabel: (
        Field("item", SMALL, largest_mm=8.0, most_lines=3, bold=True, share=0.18),
        Field("band", MEDIUM, largest_mm=15.0, bold=True, banner=True, cap_mm=6.0, keep=2),
        Field("expiry", SMALL, largest_mm=5.0, most_lines=2, share=0.12, keep=3),
        Field("lot", SMALL, largest_mm=5.0, most_lines=2, share=0.12, keep=4),
        _CODE,
    ),
    ShelfLabel: (
        Field("name", SMALL, largest_mm=18.0, most_lines=3, bold=True, share=0.3),
        Field("room", MEDIUM, largest_mm=6.5, most_lines=2, share=0.13, keep=2),
        _CODE,
    ),
    PersonTag: (
        Field("name", (34.0, 20.0), largest_mm=10.0, most_lines=3, bold=True),
        Field("note", (34.0, 24.0), largest_mm=5.0, most_lines=2, share=0.12, keep=2),
        Field("organisation", (34.0, 33.0), largest_mm=4.5, most_lines=2, share=0.09, keep=1),
        _CODE,
    ),
    BlankLabel: (_ORGANISATION, _CODE),
    KitTag: (
        Field("name", SMALL, largest_mm=16.0, most_lines=3, bold=True, share=0.3),
        _TRAINING,
        Field("first", SMALL, largest_mm=4.5, bold=True, share=0.13, keep=6),
        Field(
            "first_expiry",
            SMALL,
            largest_mm=15.0,
            bold=True,
            banner=True,
            cap_mm=6.0,
            cap_from_mm=50.0,
            share=0.3,
            keep=7,
        ),
        Field("seal", MEDIUM, largest_mm=4.5, most_lines=2, share=0.13, keep=3),
        _ORGANISATION,
        _CODE,
    ),
}
"""Fields by kind of label, from top to bottom. Where a cell is large enough by this table and the
words still do not fit at the smallest legible size, fields are left out by `keep`, never the
code."""

SYMBOL_SHARE: dict[type, tuple[float, float]] = {
    LotLabel: (0.32, 0.37),
    KitTag: (0.32, 0.37),
}
"""The most that the symbol takes of the width, where words stand beside it, and of the height,
where they stand above it."""

USUAL_SHARE = (0.42, 0.42)


def words(label: Label, organisation: str, code_text: str, speak: Speak = str) -> dict[str, str]:
    """Return each field's text by name; `code_text` is the code as people see it."""
    texts = {**vars(label), "organisation": organisation, "code": code_text}
    match label:
        case KitLabel() | SectionLabel():
            texts["first_aid"] = "" if label.training else speak(say("FIRST AID"))
            texts["training"] = _training(training=label.training, speak=speak)
        case LotLabel():
            texts |= {
                "band": speak(label.expiry.band),
                "expiry": speak(label.expiry.words),
                "lot": f"LOT {label.lot}" if label.lot else speak(say("LOT not known")),
            }
        case KitTag():
            first = label.first_expiry
            texts |= {
                "first": speak(say("FIRST EXPIRY")),
                "first_expiry": speak(short_date(first) if first else say("NO DATES")),
                "seal": speak(_sealed(label.seal, label.sealed_by)),
                "training": _training(training=label.training, speak=speak),
            }
    return texts


def _training(*, training: bool, speak: Speak) -> str:
    return speak(say("TRAINING: not for emergencies")) if training else ""


def _sealed(seal: str, by: str) -> Sentence | str:
    if seal and by:
        return say("Seal %(seal)s, by %(name)s", seal=seal, name=by)
    return say("Seal %(seal)s", seal=seal) if seal else by


def sort_key(label: Label) -> str:
    """Return the text that a label is known by: its name, or for a blank its code."""
    match label:
        case LotLabel():
            return label.item
        case BlankLabel():
            return label.code
        case _:
            return label.name


Order = Literal["as-given", "name", "room", "code"]
"""The order in which labels are printed."""


def ordered(labels: Iterable[Label], order: Order) -> Iterable[Label]:
    """Return `labels` in `order`: as given (without reading ahead), or sorted; ties by code."""
    if order == "as-given":
        return labels
    if order == "code":
        return sorted(labels, key=lambda label: label.code)

    def key(label: Label) -> tuple[NaturalKey, ...]:
        room = label.room if isinstance(label, KitLabel | ShelfLabel) else ""
        name = (natural(sort_key(label)), natural(label.code))
        return (natural(room), *name) if order == "room" else name

    return sorted(labels, key=key)
