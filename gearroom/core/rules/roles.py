"""Who may do what: the one table of roles and use cases.

A right is looked up by use case. It is held in a room (a membership of that room) or everywhere
(a membership without a room). `ANYONE` marks what needs no role: whoever can reach the program.
A fact is never refused for what it says, but who reports it must be one who may: `MEMBERS` are all
who have a role, where the use case is asked for: in the kit's rooms, or, asked for without a room,
anywhere. A second table says what of it may be done at a shared device, and how sure that has to be
of who stands before it. Last come the rules about people's accounts: who may change how somebody
signs in, and who may give a role.
"""

import enum
from collections.abc import Mapping
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
    """Who may do one use case, and the scope that a token needs for it. `roles` None: no role is
    needed. `everywhere` are roles that count besides, where they are held in every room."""

    scope: Scope
    roles: frozenset[Role] | None
    everywhere: frozenset[Role] = frozenset()


Roles = Mapping[int | None, frozenset[Role]]
"""What somebody is, by room (its id); under None, what they are in every room."""

ANYONE = None
MEMBERS = frozenset(Role)
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
    # facts: of any kit, by whoever has a role anywhere
    "check_in": Right(Scope.CUSTODY, MEMBERS),
    "emergency": Right(Scope.CUSTODY, MEMBERS),
    # facts: by whoever has a role in the kit's home or present room
    "report_gone": Right(Scope.CUSTODY, MEMBERS),
    # facts: by the same, and by whoever had it last
    "pass": Right(Scope.CUSTODY, MEMBERS),
    "log_use": Right(Scope.CUSTODY, MEMBERS),
    "report_lost": Right(Scope.CUSTODY, MEMBERS),
    "withhold": Right(Scope.CUSTODY, MEMBERS),
    "answer_use": Right(Scope.CUSTODY, ANYONE),  # one's own alone, by the link for it
    "come_back": Right(Scope.STOCK, _GUIDES),
    "write_off": Right(Scope.STOCK, _KEEPERS),
    "take_back": Right(Scope.CUSTODY, MEMBERS),  # one's own act, soon after it
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
    "close_recall": Right(Scope.STOCK, frozenset({Role.ADVISER}), everywhere=_ADMIN),
    "answer_recall": Right(Scope.CUSTODY, MEMBERS),
    # kits as such
    "build": Right(Scope.STOCK, _KEEPERS),
    "strip": Right(Scope.STOCK, _KEEPERS),
    "lay_up": Right(Scope.STOCK, _KEEPERS),
    "edit_kit": Right(Scope.LISTS, _KEEPERS),
    "edit_shelf": Right(Scope.LISTS, _KEEPERS),
    "edit_item": Right(Scope.LISTS, _KEEPERS),
    "edit_list": Right(Scope.LISTS, _KEEPERS | {Role.ADVISER}),
    "sign_list": Right(Scope.LISTS, frozenset({Role.ADVISER})),
    "state_rate": Right(Scope.LISTS, frozenset({Role.ADVISER})),
    # advice for others: of the whole organisation
    "set_up_advice": Right(Scope.ADMIN, frozenset(), everywhere=_ADMIN),
    "send_advice": Right(Scope.LISTS, _KEEPERS | {Role.ADVISER}),  # of those who were named
    # trips
    "reserve": Right(Scope.TRIPS, _KEEPERS | {Role.INTEGRATION}),
    "edit_trip": Right(Scope.TRIPS, _KEEPERS | {Role.INTEGRATION}),
    # tables out to a file and in from one; each table asks for its own right besides
    "export_tables": Right(Scope.READ, _KEEPERS),
    "import_tables": Right(Scope.ADMIN, _KEEPERS),
    # labels
    "print_labels": Right(Scope.LABELS, _GUIDES),
    "bind_label": Right(Scope.LABELS, _GUIDES),
    "cancel_label": Right(Scope.LABELS, _KEEPERS),
    # people and the rest
    "see_people": Right(Scope.READ, _GUIDES),
    "edit_person": Right(Scope.PEOPLE, _KEEPERS),
    "edit_member": Right(Scope.PEOPLE, _ADMIN),
    "appoint_adviser": Right(Scope.PEOPLE, frozenset(), everywhere=_ADMIN),
    "export_person": Right(Scope.PEOPLE, _ADMIN),  # of everywhere; one's own is `own_account`
    "erase_person": Right(Scope.ADMIN, _ADMIN),  # of everywhere
    "edit_room": Right(Scope.ADMIN, _ADMIN),
    "edit_installation": Right(Scope.ADMIN, frozenset(), everywhere=_ADMIN),
    "edit_device": Right(Scope.ADMIN, _KEEPERS),
    "own_account": Right(Scope.PEOPLE, ANYONE),
    "own_tokens": Right(Scope.ADMIN, ANYONE),
    "choose_notices": Right(Scope.CUSTODY, ANYONE),
    "own_notices": Right(Scope.READ, ANYONE),  # with those of rooms whose notices one may see
    "see_notices": Right(Scope.READ, _KEEPERS | {Role.ADVISER}),
    "send_notice_again": Right(Scope.ADMIN, _KEEPERS),
    "edit_webhook": Right(Scope.ADMIN, _ADMIN | {Role.INTEGRATION}),
    "read_events": Right(Scope.READ, _KEEPERS | {Role.INTEGRATION}),
}


FOR_SEVERAL = frozenset(
    {
        "check_out",
        "check_out_short",
        "add_holder",
        "clear_by_phone",
        "emergency",
        "pass",
        "set_due",
        "own_tokens",
        "edit_device",
        "edit_webhook",
        "set_up_advice",
    }
)
"""The use cases that take more than one person, or a program: pages do not offer them to somebody
who works alone. They stay theirs: their addresses answer as ever."""


# ------------------------------------------------------------------- the shared device at the hatch
class Assurance(enum.IntEnum):
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
    "report_gone",
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

SHARED_DEVICE: dict[str, Assurance] = {
    **dict.fromkeys(_FACTS, Assurance.NOBODY),
    **dict.fromkeys(_NAMED, Assurance.NAMED),
    **dict.fromkeys(_CONFIRMED, Assurance.CONFIRMED),
}
"""How sure a shared device must be for each use case; one that is not here is never done there,
such as whatever belongs to somebody's own account."""


# ----------------------------------------------------------------------------- people's accounts
_OVER: dict[Role, frozenset[Role]] = {
    Role.GUIDE: _KEEPERS,
    Role.INSTRUCTOR: _ADMIN,
    Role.KEEPER: _ADMIN,
    Role.INTEGRATION: _ADMIN,
    Role.ADMINISTRATOR: _ADMIN,
}
"""Who in the same room has the right over somebody for each role of theirs. A role that is not here
is for administrators of every room alone: nobody of a room may do all that a medical adviser may.
"""


def has_right_over(mine: Roles, theirs: Roles) -> bool:
    """Whether somebody has the right over all that another may do, in every room: then they may
    change how the other signs in and where mail reaches them, which is as good as being them."""
    everywhere = mine.get(None, frozenset())
    if Role.ADMINISTRATOR in everywhere:
        return True
    return all(
        (everywhere | (frozenset() if room is None else mine.get(room, frozenset())))
        & _OVER.get(role, frozenset())
        for room, roles in theirs.items()
        for role in roles
    )
