"""Who may do what: the one table of roles and use cases.

A right is looked up by use case. It is held in a room (a membership of that room) or everywhere
(a membership without a room). `ANYONE` marks what needs no role: whoever can reach the program.
Facts are never refused for want of a role (a kit handed in is handed in); those are `ANYONE`.
A second table says what of it may be done at a shared device, and how sure that has to be of who
stands before it.
"""

from __future__ import annotations

import enum
from dataclasses import dataclass


class Role(enum.StrEnum):
    """What somebody is in a room, or everywhere."""

    GUIDE = "guide"
    INSTRUCTOR = "instructor"
    KEEPER = "keeper"
    ADVISER = "adviser"
    ADMINISTRATOR = "administrator"
    INTEGRATION = "integration"


class Scope(enum.StrEnum):
    """What a token may be used for."""

    READ = "read"
    CUSTODY = "custody"
    STOCK = "stock"
    LISTS = "lists"
    LABELS = "labels"
    PEOPLE = "people"
    TRIPS = "trips"
    ADMIN = "admin"


@dataclass(frozen=True)
class Right:
    """Who may do one use case, and the scope that a token needs for it."""

    scope: Scope
    roles: frozenset[Role]


ANYONE = frozenset(Role)
_KEEPERS = frozenset({Role.KEEPER, Role.INSTRUCTOR, Role.ADMINISTRATOR})
_GUIDES = _KEEPERS | {Role.GUIDE}
_ADMIN = frozenset({Role.ADMINISTRATOR})

USE_CASES: dict[str, Right] = {
    # looking
    "look": Right(Scope.READ, ANYONE),
    "read_history": Right(Scope.READ, _KEEPERS | {Role.ADVISER, Role.GUIDE}),
    # a kit's time with people
    "identify": Right(Scope.READ, ANYONE),
    "check_out": Right(Scope.CUSTODY, _GUIDES),
    "check_out_short": Right(Scope.CUSTODY, _KEEPERS),
    "set_due": Right(Scope.CUSTODY, _GUIDES | {Role.INTEGRATION}),
    "add_holder": Right(Scope.CUSTODY, _GUIDES),
    "clear_by_phone": Right(Scope.CUSTODY, _KEEPERS | {Role.ADVISER}),
    "answer_clearance": Right(Scope.CUSTODY, ANYONE),  # one's own alone
    "check_in": Right(Scope.CUSTODY, ANYONE),
    "pass": Right(Scope.CUSTODY, ANYONE),
    "emergency": Right(Scope.CUSTODY, ANYONE),
    "log_use": Right(Scope.CUSTODY, ANYONE),
    "come_back": Right(Scope.STOCK, _GUIDES),
    "write_off": Right(Scope.STOCK, _KEEPERS),
    "report_lost": Right(Scope.CUSTODY, ANYONE),
    "withhold": Right(Scope.CUSTODY, ANYONE),
    "take_back": Right(Scope.CUSTODY, ANYONE),  # one's own act, soon after it
    "release": Right(Scope.CUSTODY, _KEEPERS),
    # sorting
    "look_inside": Right(Scope.STOCK, _GUIDES),
    "restock": Right(Scope.STOCK, _GUIDES),
    "reseal": Right(Scope.STOCK, _GUIDES),
    "count": Right(Scope.STOCK, _GUIDES),
    "check_instrument": Right(Scope.STOCK, _GUIDES),
    "take_expired_out": Right(Scope.STOCK, _GUIDES),
    "borrow": Right(Scope.STOCK, _GUIDES),
    # stock
    "receive": Right(Scope.STOCK, _KEEPERS),
    "move": Right(Scope.STOCK, _KEEPERS),
    "dispose": Right(Scope.STOCK, _KEEPERS),
    "open": Right(Scope.STOCK, _GUIDES),
    "correct_lot": Right(Scope.STOCK, _KEEPERS),
    "reverse": Right(Scope.STOCK, _KEEPERS),
    "recall": Right(Scope.STOCK, _KEEPERS | {Role.ADVISER}),
    "answer_recall": Right(Scope.CUSTODY, ANYONE),
    # kits as such
    "build": Right(Scope.STOCK, _KEEPERS),
    "strip": Right(Scope.STOCK, _KEEPERS),
    "lay_up": Right(Scope.STOCK, _KEEPERS),
    "edit_kit": Right(Scope.LISTS, _KEEPERS),
    "edit_shelf": Right(Scope.LISTS, _KEEPERS),
    "edit_item": Right(Scope.LISTS, _KEEPERS),
    "edit_list": Right(Scope.LISTS, _KEEPERS | {Role.ADVISER}),
    "sign_list": Right(Scope.LISTS, frozenset({Role.ADVISER})),
    # trips
    "reserve": Right(Scope.TRIPS, _KEEPERS | {Role.INTEGRATION}),
    "edit_trip": Right(Scope.TRIPS, _KEEPERS | {Role.INTEGRATION}),
    # labels
    "print_labels": Right(Scope.LABELS, _GUIDES),
    "bind_label": Right(Scope.LABELS, _GUIDES),
    "cancel_label": Right(Scope.LABELS, _KEEPERS),
    # people and the rest
    "see_people": Right(Scope.READ, _GUIDES),
    "edit_person": Right(Scope.PEOPLE, _KEEPERS),
    "edit_member": Right(Scope.PEOPLE, _ADMIN),
    "export_person": Right(Scope.ADMIN, _ADMIN),  # of everywhere; one's own is `own_account`
    "erase_person": Right(Scope.ADMIN, _ADMIN),  # of everywhere
    "edit_room": Right(Scope.ADMIN, _ADMIN),
    "edit_device": Right(Scope.ADMIN, _KEEPERS),
    "own_account": Right(Scope.PEOPLE, ANYONE),
    "own_tokens": Right(Scope.ADMIN, ANYONE),
    "choose_notices": Right(Scope.CUSTODY, ANYONE),
    "see_notices": Right(Scope.READ, _KEEPERS | {Role.ADVISER}),
    "send_notice_again": Right(Scope.ADMIN, _KEEPERS),
    "edit_webhook": Right(Scope.ADMIN, _ADMIN | {Role.INTEGRATION}),
}


# ------------------------------------------------------------------- the shared device at the hatch
class Sure(enum.IntEnum):
    """How sure a shared device is of who stands before it."""

    NOBODY = 0
    NAMED = 1  # they said who they are
    CONFIRMED = 2  # and confirmed it with their PIN


_FACTS = (
    "look",
    "identify",
    "check_out",
    "set_due",
    "add_holder",
    "check_in",
    "pass",
    "emergency",
    "log_use",
    "report_lost",
    "withhold",
    "answer_recall",
    "take_back",
    "see_people",
)
_NAMED = (
    "read_history",
    "look_inside",
    "restock",
    "reseal",
    "count",
    "check_instrument",
    "take_expired_out",
    "borrow",
    "open",
    "come_back",
    "print_labels",
    "bind_label",
)
_CONFIRMED = (
    "check_out_short",
    "release",
    "receive",
    "move",
    "dispose",
    "write_off",
    "correct_lot",
    "reverse",
    "recall",
    "build",
    "strip",
    "lay_up",
    "edit_shelf",
    "edit_item",
    "reserve",
    "edit_trip",
    "cancel_label",
)

HATCH: dict[str, Sure] = {
    **dict.fromkeys(_FACTS, Sure.NOBODY),
    **dict.fromkeys(_NAMED, Sure.NAMED),
    **dict.fromkeys(_CONFIRMED, Sure.CONFIRMED),
}
"""How sure a shared device must be for each use case; one that is not here is never done there,
such as whatever belongs to somebody's own account."""
