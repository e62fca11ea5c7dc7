"""The people of the school. All names are invented."""

from dataclasses import dataclass

ROOMS = (
    # slug, name, how to return
    ("main-store", "Main store", "Hand it in at the hatch of Umberfell Outdoor School."),
    ("cave-hut", "Cave hut", "Leave it in the drop box at the cave hut, or at the main hatch."),
)


@dataclass(frozen=True)
class Somebody:
    """A person with roles as (room or None, role); `user` is the name of their sign-in."""

    name: str
    phone: str
    roles: tuple[tuple[str | None, str], ...]
    email: str = ""
    user: str = ""


PEOPLE = (
    Somebody(
        "Jo Marrick",
        "01632 960101",
        ((None, "administrator"), ("main-store", "instructor"), ("main-store", "keeper")),
        "jo@umberfell.example",
        "jo",
    ),
    Somebody(
        "Sam Tolland",
        "01632 960102",
        (("main-store", "instructor"), ("cave-hut", "keeper"), ("cave-hut", "instructor")),
        "sam@umberfell.example",
        "sam",
    ),
    Somebody(
        "Dr Nell Averis", "01632 960103", ((None, "adviser"),), "nell@umberfell.example", "nell"
    ),
    Somebody(
        "Ines Quarle", "01632 960111", (("main-store", "guide"),), "ines@umberfell.example", "ines"
    ),
    Somebody("Tam Brackley", "01632 960112", (("main-store", "guide"),)),
    Somebody("Wyn Osterley", "01632 960113", (("main-store", "guide"),)),
    Somebody("Fenna Holt", "01632 960114", (("main-store", "guide"), ("cave-hut", "guide"))),
    Somebody("Rafe Dunmore", "01632 960115", (("cave-hut", "guide"),)),
    Somebody("Lior Penhale", "01632 960116", (("cave-hut", "guide"),)),
    Somebody("Mika Sallow", "01632 960117", (("main-store", "guide"),)),
    Somebody("Ada Greystone", "01632 960118", (("main-store", "guide"),)),
    Somebody("Trip booking", "", ((None, "integration"),), "", "booking"),
)
