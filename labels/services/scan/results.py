"""What a reading event asks for and what comes of it, label by label."""

import uuid
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime
from enum import StrEnum
from typing import Any

from gearroom.core.acts import NOT_GIVEN, NotAllowed, NotGiven, Problem, TooLarge, TooOften
from gearroom.core.models import Person
from kits.models import AsFound, Entry, Item, Label, Lot, Place, Trip
from kits.rules.custody.use import Went
from kits.rules.lookup import label_codes
from kits.services.custody.offers import OfferKind
from labels.rules.codes.scans import Intent, Means, Reading, Readings
from labels.services.passerby import Facts
from labels.services.scan.resolve import Meaning


@dataclass(frozen=True)
class UsedUnits:
    """So many units used, as they were reported: of a batch, or of an item; `section` is a key or
    name of the kit's, or empty."""

    units: int
    item: Item | None = None
    lot: Lot | None = None
    section: str = ""
    went: Went = Went.USED


@dataclass(frozen=True)
class ScanRequest:
    """What somebody wants of what is read, and what they say along with it."""

    intent: Intent = Intent.IDENTIFY
    # taking out
    trip: Trip | NotGiven | None = NOT_GIVEN
    holder: Person | None = None
    due_at: datetime | NotGiven | None = NOT_GIVEN
    short_reason: str = ""
    cleared_by: Person | None = None
    take_reason: str = ""
    swap: bool = False
    emergency: bool = False
    already_gone: bool = False
    # handing back
    as_found: AsFound = AsFound.SORT_LATER
    seal_seen: str = ""
    sharps_or_blood: bool = False
    wet: bool = False
    wrong: str = ""
    incident: str = ""
    used: Sequence[UsedUnits] = ()
    # adding what one line of a kit's list lacks
    line: int | None = None
    through: date | None = None
    # receiving and counting
    place: Place | None = None

    @property
    def fact(self) -> bool:
        """Whether it reports what happened, which is never refused for what it says."""
        return self.intent == Intent.CHECK_IN or self.emergency or self.already_gone

    @property
    def any_room(self) -> bool:
        """Whether it may be about a kit of whatever room."""
        return self.intent == Intent.CHECK_IN or self.emergency


class ScanResult(StrEnum):
    """What came of something that was read, where that is no problem."""

    IDENTIFIED = "identified"
    READY = "ready"  # to be received or counted
    HOLDER = "holder"  # a tag: of whoever takes the next kit
    TAKEN_OUT = "taken-out"
    HANDED_BACK = "handed-back"
    CHECKED = "checked"
    ADDED = "added"


class Step(StrEnum):
    """What can be done next elsewhere than by scanning on."""

    PASS = "pass"
    RESTOCK = "restock"
    LOOK_INSIDE = "look-inside"
    LOG_USE = "log-use"
    COUNT_KIT = "count-kit"
    COUNT = "count"
    RECEIVE = "receive"
    ADD_ITEM = "add-item"
    ADD_PACK_CODE = "add-pack-code"
    BIND = "bind"
    UNDO = "undo"


@dataclass(frozen=True)
class NextStep:
    """Something that can be done now: `do` says what (a Step, or the Intent to scan it again with),
    `about` is the kit or the id it is done to,
    `fields` is known already and `needs` names the fields that are still wanted; `people` are those
    to choose from for `cleared_by`."""

    do: str
    says: str
    about: str = ""
    fields: Mapping[str, Any] = field(default_factory=dict)
    needs: Sequence[str] = ()
    people: Sequence[Mapping[str, Any]] = ()


@dataclass(frozen=True)
class _Scanned:
    id: int
    name: str


@dataclass(frozen=True)
class ScannedKit(_Scanned):
    """A kit as whoever belongs to its room sees it at a scan."""

    packing_list: str
    room: str
    home_room: str
    fit: bool
    may_go: bool
    verdict: str
    verdict_text: str
    first_expiry: date | None
    through: date
    ready_until: date | None
    fit_until: date | None
    may_go_until: date | None
    reasons: Sequence[Mapping[str, Any]]
    seal: str
    to_sort: bool
    responsible: str
    has_it: str
    has_it_id: int | None
    has_it_phone: str
    out_since: datetime | None
    due_at: datetime | None
    trip: int | None
    trip_name: str
    trip_departs_at: datetime | None
    trip_last_day: date | None
    guide: int | None
    guide_name: str
    not_ours: bool = False
    to_add: Sequence[str] = ()
    training: bool = False
    emergency: bool = False


@dataclass(frozen=True)
class ScannedSection(_Scanned):
    """A kit's section."""

    key: str
    kit: str
    seal: str


@dataclass(frozen=True)
class ScannedLot:
    """A batch; `where` is what the places of the asker's rooms hold of it, where that was asked."""

    id: int
    item: int
    item_name: str
    base_unit: str
    number: str
    serial: str
    expiry: date | None
    recalled: bool
    fault: str
    where: Sequence[Mapping[str, Any]] = ()


@dataclass(frozen=True)
class ScannedShelf(_Scanned):
    """A shelf."""

    room: str


@dataclass(frozen=True)
class ScannedPerson(_Scanned):
    """A person, with the kits that they have now, as far as the asker may see those."""

    kits: Sequence[str]


@dataclass(frozen=True)
class ScannedPack:
    """One reading of a maker's code. `units` is what one pack adds; `lot` the batch that is known
    already."""

    gtin: str
    number: str
    serial: str
    expiry: date | None
    count: int | None
    units_per_pack: int | None
    units: int | None
    item: int | None
    item_name: str
    base_unit: str
    lot: int | None
    recalled: bool


Subject = ScannedKit | ScannedSection | ScannedLot | ScannedShelf | ScannedPerson | Facts


@dataclass(frozen=True)
class Outcome:
    """What came of one reading.

    `outcome` is a ScanResult, or the code of `problem`. `entry` is what was written in the book.
    `packs` are the readings of a maker's code, best first; `again` says that the same pack was
    scanned a moment before.
    """

    seen: Reading
    means: Means
    outcome: str
    says: str
    label: Label | None = None
    thing: Subject | None = None
    packs: Sequence[ScannedPack] = ()
    again: bool = False
    entry: Entry | None = None
    problem: Problem | None = None
    next: Sequence[NextStep] = ()


@dataclass(frozen=True)
class ScanAnswer:
    """One reading event: each reading's outcome, in order."""

    scan_id: uuid.UUID
    intent: Intent
    look: Readings
    outcomes: Sequence[Outcome]

    @property
    def wrote(self) -> bool:
        """Whether anything was written in the stock book."""
        return any(each.entry for each in self.outcomes)

    @property
    def refusal(self) -> Outcome | None:
        """The outcome of the only reading, where that is a problem."""
        if len(self.outcomes) == 1 and self.outcomes[0].problem is not None:
            return self.outcomes[0]
        return None

    @property
    def stop(self) -> Problem | None:
        """What keeps whoever asks from scanning it at all, whatever was read."""
        problem = self.refusal.problem if self.refusal else None
        return problem if isinstance(problem, NotAllowed | TooLarge | TooOften) else None


def text_of(meaning: Meaning) -> str:
    """What to send to mean the same again: the label's code, or the kit's name."""
    if meaning.label is not None:
        return label_codes.shown(meaning.label.code)
    return meaning.kit.name if meaning.kit else meaning.seen.text


def resend(
    intent: Intent,
    says: str,
    text: str,
    needs: Sequence[str] = (),
    people: Sequence[Mapping[str, Any]] = (),
    **fields: Any,
) -> NextStep:
    """The same reading sent again for `intent`, with more said."""
    return NextStep(
        str(intent),
        says,
        fields={"intent": str(intent), "text": text, **fields},
        needs=needs,
        people=people,
    )


def next_steps(
    offers: Iterable[Mapping[str, Any]], text: str, needs: Sequence[str] = (), **given: str
) -> list[NextStep]:
    """Offers (see `kits.services.custody.offers.as_values`) as ways on with what `text` means, in
    their order.
    `said` is what was said already of taking it out, `needs` what is wanted for that besides."""
    steps = []
    for offer in offers:
        sentence, fields = offer["says"], offer["fields"]
        match offer["do"]:
            case OfferKind.CHECK:
                way = resend(Intent.LOOK_INSIDE, sentence, text)
            case OfferKind.ADD:
                way = resend(Intent.ADD, sentence, text, **fields)
            case OfferKind.TAKE_OTHER:
                more = {name: fields[name] for name in ("trip", "swap") if name in fields}
                way = resend(Intent.CHECK_OUT, sentence, offer["kit"], needs, **{**more, **given})
            case _:
                wanted = (*needs, *offer["needs"])
                way = resend(Intent.CHECK_OUT, sentence, text, wanted, offer["people"], **given)
        steps.append(way)
    return steps
