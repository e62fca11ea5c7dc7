"""What a notice of each kind keeps of what it is about, as JSON.

Members that notices written long ago lack are in a class of their own (`total=False`).
"""

from typing import TypedDict


class Lack(TypedDict):
    """What stood against a kit that went: the code, and of which thing how many were missing."""

    code: str
    thing: str | None
    lacking: int | None


class WentShort(TypedDict):
    """A kit that went out short."""

    short: list[Lack]


class ClearedByPhone(TypedDict):
    """A kit that went because somebody is named as having cleared it (`clearance`, an id)."""

    clearance: int
    reasons: list[Lack]


class NotCleared(ClearedByPhone, total=False):
    """That they did not clear it; `person` has the kit."""

    person_id: int | None
    person: str
    phone: str


class MedicineMissing(TypedDict, total=False):
    """Units missing, by the thing's name."""

    missing: dict[str, int]


class FailedCheck(TypedDict, total=False):
    """An instrument."""

    thing: str
    serial: str


class RecalledKit(TypedDict, total=False):
    """A kit under a recall, whom to call for it, and whether it is the reader's to look into."""

    id: int
    name: str
    certainty: str
    person_id: int | None
    person: str
    phone: str
    room: str
    room_phone: str
    theirs: bool


class RecallFacts(TypedDict, total=False):
    """A recall (`recall`, an id), the kits that it concerns a reader for, and the rooms that they
    keep. `again`: how many days it has waited for an answer."""

    recall: int
    thing: str
    number: str
    reference: str
    advice: str
    kits: list[RecalledKit]
    rooms: list[str]
    again: int


class OverdueKit(TypedDict, total=False):
    """A kit (or section) past due; `page` is the kit's name, `trip` and `checkout` are ids."""

    checkout: int
    kit: str
    page: str
    due_at: str | None
    trip: int | None
    trip_name: str
    person: str
    phone: str
    yours: bool


class Holder(TypedDict):
    """Who has a kit that is wanted for a trip, and until when."""

    person_id: int | None
    person: str
    phone: str
    due_at: str


class KitOfTrip(TypedDict, total=False):
    """A kit reserved for a trip: its verdict for that, and what stands against it."""

    kit: str
    first_expiry: str | None
    through: str
    verdict: str
    verdict_text: str
    reasons: list[str]
    out: Holder


class TripNotCovered(TypedDict, total=False):
    """A trip that leaves soon, its kits that are not ready, and what they lack together."""

    trip: str
    trip_id: int
    departs_at: str
    reasons: list[str]
    kits: list[KitOfTrip]


class Clash(TypedDict):
    """Another trip that a kit is reserved for on the same days."""

    kit: str
    trip: str
    trip_id: int


class UnfitKit(TypedDict):
    """A kit that a change of its trip made unfit for it, and its verdict."""

    kit: str
    verdict_text: str


class TripChanged(TypedDict, total=False):
    """A trip, what of it was changed, the kits that it gave free, the clashes, and what is no
    longer enough for it."""

    what: str
    trip: str
    released: list[str]
    clashes: list[Clash]
    unfit: list[UnfitKit]
    lacking: list[str]


class KitOut(TypedDict):
    """A kit that is out, and when it is due."""

    kit: str
    due_at: str | None


class TripMoved(TypedDict):
    """A trip that is at another time or place, or was cancelled, while these kits are out on it."""

    what: str
    trip: str
    trip_id: int
    departs_at: str
    returns_at: str
    kits: list[KitOut]


class LeaderUnknown(TypedDict):
    """A trip (`trip_id`) whose source names a leader who is not on record."""

    trip: str
    trip_id: int
    leader_name: str
    leader_email: str


class CalendarEventsGone(TypedDict):
    """A calendar (an id), and the trips that are no longer in it."""

    calendar: str
    calendar_id: int
    trips: list[str]


class CalendarFailing(TypedDict):
    """A calendar (an id) that cannot be read, for this reason (a code)."""

    calendar: str
    calendar_id: int
    failure: str


class LowItem(TypedDict):
    """A thing (`item`, an id) that is down to its order level."""

    thing: str
    item: int
    stock: int
    level: int
    basis: str
    lead_days: int


class LowStock(TypedDict):
    """What is to be ordered for a room."""

    things: list[LowItem]


class SignatureEnds(TypedDict):
    """A version of a kit list, and how many kits follow it."""

    version: int
    list: str
    number: int
    until: str
    kits: int


class AddressRefused(TypedDict, total=False):
    """Whose mail server refused which address, and what it said."""

    person_id: int
    person: str
    phone: str
    address: str
    said: str


class WebhookStopped(TypedDict):
    """A webhook (an id) that nothing is sent to any more, and why (`WebhookStop`)."""

    webhook: int
    name: str
    why: str
