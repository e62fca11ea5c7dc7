"""What `Entry.detail` holds for each kind of entry; kinds without a shape here have none.

Keys that entries of an earlier edition lack, or that not every act of a kind has, are optional.
Places, batches and people are named by their ids, instants and days in ISO form; maps have ids as
text for keys, as JSON does.
"""

from typing import Any, NotRequired, TypedDict

Change = list[Any]
"""A value before and after."""


class CheckOutDetail(TypedDict):
    """A kit or a section taken out, in an emergency too."""

    to: int | None
    due_at: str | None
    section: str | None
    through: NotRequired[str]
    reasons: NotRequired[list[str]]
    short_reason: NotRequired[str]
    cleared_by: NotRequired[int | None]
    take_reason: NotRequired[str]
    already_gone: NotRequired[bool]


class RoomBefore(TypedDict):
    """The room that a kit was in."""

    room: int


class CheckInDetail(TypedDict):
    """A kit or a section handed back."""

    as_found: str
    seal_seen: str
    sharps_or_blood: bool
    section: str | None
    before: RoomBefore
    in_class: NotRequired[bool]
    """A training kit back from a class, which needs no sorting."""


PassDetail = TypedDict("PassDetail", {"from": int | None, "to": int})
BorrowDetail = TypedDict("BorrowDetail", {"from": int})
"""The kit that was borrowed from."""


class ClearanceDetail(TypedDict):
    """What somebody answered who was named as having cleared a kit by phone."""

    clearance: int
    confirmed: bool


class NotOursDetail(TypedDict):
    """Whether something of a participant's own is inside."""

    inside: bool


class KindDetail(TypedDict):
    """Why a kit is on hold, or no longer; of a reversal, the kind of entry that it reverses."""

    kind: str


class LostDetail(TypedDict):
    """Reported lost or found again: since when it was lost before."""

    lost_since: str | None


class LookInsideDetail(TypedDict):
    """Contents checked, or a whole seal looked at."""

    looked_inside: bool
    as_found: NotRequired[str]


class BuildDetail(TypedDict):
    """A kit built; one of an earlier edition does not say that it ends sorting."""

    looked_inside: bool
    ends_sorting: NotRequired[bool]


class RestockDetail(TypedDict):
    """A kit restocked through a day, all of it or one line."""

    through: str
    looked_inside: bool
    line: NotRequired[int]


class ResealDetail(TypedDict):
    """A seal put on; `not_replaced`: what was lacking then, by item."""

    number: str
    section: str | None
    ends_sorting: NotRequired[bool]
    not_replaced: NotRequired[dict[str, int]]


class EmptyLine(TypedDict):
    """Units of a batch that left a kit, and where to."""

    lot: int
    units: int
    way: str
    reason: str


class WeatherDetail(TypedDict):
    """Moved because of the weather, or back: of a shelf its id, None of a kit; the last day of
    the weather, None where it is all year; whether it had begun."""

    shelf: int | None
    until: NotRequired[str | None]
    begun: NotRequired[bool]


class EmptyDetail(TypedDict):
    """A kit emptied."""

    lines: list[EmptyLine]


class LeaveDetail(TypedDict):
    """Units or a whole kit sold or given away: to whom, and for how much in all."""

    way: str
    to: str
    price: str | None
    currency: str


class StripLine(TypedDict):
    """Units of an item out of a bought kit."""

    item: int
    units: int
    fate: str
    reason: str


class StripDetail(TypedDict):
    """A bought kit broken down: `minutes` that it took, `filled` the id of what was bought."""

    looked_inside: bool
    supplier: str
    price: str | None
    currency: str
    things: list[StripLine]
    minutes: NotRequired[int]
    filled: NotRequired[int]


class CountDetail(TypedDict):
    """Places counted: `counted` has units by batch by place; `complete`: nothing else is there."""

    places: list[int]
    complete: bool
    counted: dict[str, dict[str, int]]
    looked_inside: NotRequired[bool]
    explained: NotRequired[dict[str, Any]]
    date_read: NotRequired[bool]


class CheckDetail(TypedDict):
    """An instrument checked."""

    passed: bool
    answer: str
    checked_on: str


class BatchIdentity(TypedDict):
    """What identifies a batch of an item."""

    number: str
    expiry: str | None


CorrectLotDetail = TypedDict(
    "CorrectLotDetail", {"was": BatchIdentity, "is": BatchIdentity, "booked_over": dict[str, int]}
)
"""A batch corrected; `booked_over`: batches whose units went to another that was there already."""


class SendDetail(TypedDict):
    """Units sent to another room."""

    sent_to: int


class PutBackDetail(TypedDict):
    """Units moved out of quarantine after a recall was withdrawn."""

    recall: int


class RecallDetail(TypedDict):
    """A maker's recall; `recall` where it was on record already."""

    item: int
    scope: str
    number: str
    recall: NotRequired[int]


class RecallToldDetail(TypedDict):
    """Whoever has a place on a recall's list was told in another way than by mail."""

    row: int
    told: bool


class RecallAnswerDetail(TypedDict):
    """What somebody answered of a place on a recall's list."""

    row: int
    answer: str
    removed: int


class RecallCloseDetail(TypedDict):
    """How a recall ended."""

    recall: int
    outcome: str
    published_at: str


class ReserveDetail(TypedDict):
    """Who takes a kit that is reserved for a trip."""

    person: int | None


class UnreserveDetail(TypedDict):
    """A reservation released."""

    reservation: int
    person: int | None


class TripDetail(TypedDict):
    """A trip created, changed, extended or cancelled; `due`: when kits out on it were due."""

    what: str
    changed: NotRequired[dict[str, Change]]
    due: NotRequired[dict[str, str | None]]


class KitFactsDetail(TypedDict):
    """What is said of a kit."""

    name: str
    responsible: int | None
    deputy: int | None
    lives_in: str
    location: NotRequired[int | None]
    bag: str
    bag_volume_ml: int | None
    bag_mass_limit_g: int | None
    training: bool
    look_interval_days: int


class KitAddedDetail(KitFactsDetail):
    """A kit added."""

    what: str
    list_version: int


class KitDetail(TypedDict):
    """A kit edited, moved home, retired, or due at another time."""

    what: str
    changed: NotRequired[dict[str, Change]]
    before: NotRequired[list[int]]
    after: NotRequired[list[int]]
    due_at: NotRequired[list[str | None]]


FollowListDetail = TypedDict(
    "FollowListDetail",
    {"from": int, "to": int, "sections_added": list[str], "sections_closed": list[str]},
)
LabelsDetail = TypedDict("LabelsDetail", {"did": str, "is": str, "codes": list[str]})
"""Blank labels made."""
LabelDetail = TypedDict(
    "LabelDetail",
    {
        "did": str,
        "is": str,
        "label": str,
        "place": int | None,
        "person": int | None,
        "why": NotRequired[str],
        "replaced_by": NotRequired[str | None],
    },
)


class AddedDetail(TypedDict):
    """An entry that adds to a count or a sweep what that comes to without an act that was undone;
    `again` is that count or sweep."""

    again: int


class HandedOverDetail(TypedDict):
    """Of an entry of any kind: who sent it for whoever did it and wrote it down."""

    handed_over_by: int


Detail = (
    CheckOutDetail
    | CheckInDetail
    | PassDetail
    | BorrowDetail
    | ClearanceDetail
    | NotOursDetail
    | KindDetail
    | LostDetail
    | LookInsideDetail
    | BuildDetail
    | RestockDetail
    | ResealDetail
    | EmptyDetail
    | LeaveDetail
    | WeatherDetail
    | StripDetail
    | CountDetail
    | CheckDetail
    | CorrectLotDetail
    | SendDetail
    | PutBackDetail
    | RecallDetail
    | RecallToldDetail
    | RecallAnswerDetail
    | RecallCloseDetail
    | ReserveDetail
    | UnreserveDetail
    | TripDetail
    | KitAddedDetail
    | KitDetail
    | FollowListDetail
    | LabelsDetail
    | LabelDetail
    | HandedOverDetail
)
"""What an act may say of itself."""
