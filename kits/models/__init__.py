"""Tables of the gear room's business."""

from kits.models.advice import Advice, AdviceCopy, AdviceSettings, AdviceWithdrawal
from kits.models.catalogue import Disposal, Item, PackCode, Substitute
from kits.models.clearances import Clearance, ClearanceAnswer
from kits.models.custody import AsFound, Checkout, Handover, Reservation, Trip
from kits.models.evidence import (
    ListChange,
    ListChangeReview,
    ListChangeSource,
    ListChangeVersion,
    What,
)
from kits.models.facts import (
    CheckoutChange,
    CheckoutFact,
    ItemFact,
    SealChange,
    SealFact,
    SignatureFact,
    WithheldChange,
    WithheldFact,
)
from kits.models.kits import Kit, LevelFact, Photo, Seal, WithheldKind, Withholding
from kits.models.labels import Label, LabelKind
from kits.models.ledger import Entry, EntryKind, Holding, Movement
from kits.models.lists import ListLine, ListSection, PackingList, PackingListVersion
from kits.models.lots import InstrumentCheck, Lot, LotFact, Receipt
from kits.models.notices import Episode, Notice, NotificationChoice, NotificationPreferences
from kits.models.places import DISPOSALS, INNER, LEFT_US, Place, PlaceKind
from kits.models.planning import (
    Activity,
    Closing,
    HazardNeed,
    ItemNeed,
    Need,
    NeedGroup,
    NotCarried,
    RateSource,
    StatedRate,
    UnmetNeed,
    WhyNotCarried,
)
from kits.models.recalls import Certainty, Recall, RecallPlace, RecallScope

__all__ = [
    "DISPOSALS",
    "INNER",
    "LEFT_US",
    "Activity",
    "Advice",
    "AdviceCopy",
    "AdviceSettings",
    "AdviceWithdrawal",
    "AsFound",
    "Certainty",
    "Checkout",
    "CheckoutChange",
    "CheckoutFact",
    "Clearance",
    "ClearanceAnswer",
    "Closing",
    "Disposal",
    "Entry",
    "EntryKind",
    "Episode",
    "Handover",
    "HazardNeed",
    "Holding",
    "InstrumentCheck",
    "Item",
    "ItemFact",
    "ItemNeed",
    "Kit",
    "Label",
    "LabelKind",
    "LevelFact",
    "ListChange",
    "ListChangeReview",
    "ListChangeSource",
    "ListChangeVersion",
    "ListLine",
    "ListSection",
    "Lot",
    "LotFact",
    "Movement",
    "Need",
    "NeedGroup",
    "NotCarried",
    "Notice",
    "NotificationChoice",
    "NotificationPreferences",
    "PackCode",
    "PackingList",
    "PackingListVersion",
    "Photo",
    "Place",
    "PlaceKind",
    "RateSource",
    "Recall",
    "RecallPlace",
    "RecallScope",
    "Receipt",
    "Reservation",
    "Seal",
    "SealChange",
    "SealFact",
    "SignatureFact",
    "StatedRate",
    "Substitute",
    "Trip",
    "UnmetNeed",
    "What",
    "WhyNotCarried",
    "WithheldChange",
    "WithheldFact",
    "WithheldKind",
    "Withholding",
]
