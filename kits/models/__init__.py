"""Tables of the gear room's business."""

from kits.models.catalogue import Disposal, Item, PackCode, Substitute
from kits.models.clearances import Clearance, ClearanceAnswer
from kits.models.custody import AsFound, Checkout, Handover, Reservation, Trip
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
from kits.models.needs import UnmetNeed
from kits.models.notices import Episode, Notice, NotificationChoice, NotificationPreferences
from kits.models.places import DISPOSALS, INNER, LEFT_US, Place, PlaceKind
from kits.models.recalls import Certainty, Recall, RecallPlace, RecallScope

__all__ = [
    "DISPOSALS",
    "INNER",
    "LEFT_US",
    "AsFound",
    "Certainty",
    "Checkout",
    "CheckoutChange",
    "CheckoutFact",
    "Clearance",
    "ClearanceAnswer",
    "Disposal",
    "Entry",
    "EntryKind",
    "Episode",
    "Handover",
    "Holding",
    "InstrumentCheck",
    "Item",
    "ItemFact",
    "Kit",
    "Label",
    "LabelKind",
    "LevelFact",
    "ListLine",
    "ListSection",
    "Lot",
    "LotFact",
    "Movement",
    "Notice",
    "NotificationChoice",
    "NotificationPreferences",
    "PackCode",
    "PackingList",
    "PackingListVersion",
    "Photo",
    "Place",
    "PlaceKind",
    "Recall",
    "RecallPlace",
    "RecallScope",
    "Receipt",
    "Reservation",
    "Seal",
    "SealChange",
    "SealFact",
    "SignatureFact",
    "Substitute",
    "Trip",
    "UnmetNeed",
    "WithheldChange",
    "WithheldFact",
    "WithheldKind",
    "Withholding",
]
