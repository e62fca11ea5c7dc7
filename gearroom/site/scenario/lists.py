"""Four kit lists and the dozen kits that follow them."""

from dataclasses import dataclass

from kits.rules.ledger.facts import Criticality

R, IMP, MUST = Criticality.ROUTINE, Criticality.IMPORTANT, Criticality.MUST_HAVE


@dataclass(frozen=True)
class Row:
    """A line: a thing, carry, never below, how much it matters, and why it is there."""

    thing: str
    carry: int
    never_below: int
    criticality: Criticality = R
    reason: str = ""


@dataclass(frozen=True)
class KitList:
    """A list with its sections, in order; each section a key, a name and its rows."""

    name: str
    people: int
    days: int
    hazards: tuple[str, ...]
    sections: tuple[tuple[str, str, tuple[Row, ...]], ...]


_WOUNDS = (
    Row("nitrile gloves, pair", 6, 2, MUST, "Nobody treats bare-handed."),
    Row("gauze swab 10 × 10 cm", 10, 5, IMP, "Used on every second trip."),
    Row("wound dressing, medium", 3, 1, IMP),
    Row("wound dressing, large", 2, 1, MUST, "A bleed that a plaster does not stop."),
    Row("non-adherent dressing 10 × 10 cm", 4, 2),
    Row("crepe bandage 10 cm", 2, 1),
    Row("cohesive bandage 7.5 cm, latex-free", 1, 0),
    Row("triangular bandage", 2, 1, IMP),
    Row("zinc oxide tape 2.5 cm", 1, 1, IMP),
    Row("plasters, assorted", 1, 1, R, "The most used thing of all."),
    Row("antiseptic wipes", 1, 1),
    Row("safety pins", 1, 0),
)
_DAY_REST = (
    Row("eye wash 20 ml", 2, 1, IMP, "Grit on windy ridges and in caves."),
    Row("resuscitation face shield", 1, 1, MUST),
    Row("foil blanket", 2, 1, MUST, "The cold is the first hazard of every day here."),
    Row("blister dressing", 4, 1),
    Row("glucose gel 25 g", 2, 1, IMP),
    Row("clothing shears", 1, 1, IMP),
    Row("tick remover", 1, 1),
    Row("incident cards and pencil", 1, 1),
    Row("first aid notes", 1, 0),
    Row("hand gel 50 ml", 1, 0),
)
_MEDICINES = (
    Row("paracetamol 500 mg", 16, 8, R, "By protocol, with consent."),
    Row("ibuprofen 200 mg", 16, 4, R, "By protocol, with consent."),
    Row("antihistamine 10 mg", 7, 3, IMP, "By protocol: stings and known allergies."),
    Row("aspirin 300 mg", 4, 1, IMP, "By protocol and on advice."),
)

LISTS = (
    KitList("Day kit", 10, 1, ("hill",), (("main", "Main pouch", (*_WOUNDS, *_DAY_REST)),)),
    KitList(
        "Group kit",
        16,
        3,
        ("hill", "cave", "gorge", "water"),
        (
            (
                "wounds",
                "Wounds",
                (
                    *_WOUNDS,
                    Row("burn gel dressing 10 × 10 cm", 2, 1, R, "Stoves."),
                    Row("irrigation syringe 20 ml", 1, 0, R, "Dirty wounds underground."),
                    Row("saline 20 ml", 4, 2, IMP),
                    Row("skin closure strips", 2, 1),
                    Row("eye pad", 1, 0),
                ),
            ),
            ("medicines", "Medicines", _MEDICINES),
            (
                "rescue",
                "Rescue",
                (
                    *_DAY_REST,
                    Row("malleable splint", 1, 1, IMP, "Gorge and cave: slips."),
                    Row("group shelter, 8 people", 1, 1, MUST, "Waiting for help, cold and wet."),
                    Row("head torch", 1, 1, MUST),
                    Row("digital thermometer", 1, 0),
                    Row("face mask, child size", 1, 0, R, "School groups."),
                    Row("clinical waste bag", 2, 1),
                ),
            ),
        ),
    ),
    KitList(
        "Expedition kit",
        14,
        8,
        ("hill", "remote", "winter", "water"),
        (
            (
                "wounds",
                "Wounds",
                (
                    *_WOUNDS,
                    Row("saline 20 ml", 8, 4, IMP),
                    Row("skin closure strips", 4, 2, IMP),
                    Row("irrigation syringe 20 ml", 2, 1),
                    Row("burn gel dressing 10 × 10 cm", 4, 2),
                    Row("eye pad", 2, 1),
                ),
            ),
            (
                "medicines",
                "Medicines",
                (
                    *_MEDICINES,
                    Row("rehydration salts", 12, 6, IMP, "Days from a tap."),
                    Row("paracetamol suspension, child 5 ml", 6, 0, R, "Only with children along."),
                ),
            ),
            (
                "rescue",
                "Rescue",
                (
                    *_DAY_REST,
                    Row("malleable splint", 2, 1, MUST, "Help is a day away."),
                    Row("group shelter, 8 people", 1, 1, MUST),
                    Row("head torch", 1, 1, MUST),
                    Row("digital thermometer", 1, 1, IMP),
                    Row(
                        "oxygen cylinder, small", 1, 0, R, "Where the medical adviser asks for it."
                    ),
                    Row("sharps tub, small", 1, 1),
                    Row("clinical waste bag", 4, 2),
                ),
            ),
            ("feet", "Feet", (Row("adhesive felt", 1, 1), Row("tweezers", 1, 1))),
        ),
    ),
    KitList(
        "Footpath work kit",
        8,
        1,
        ("hill", "sharp-tools"),
        (
            ("main", "Main pouch", (*_WOUNDS, *_DAY_REST)),
            (
                "bleeding",
                "Heavy bleeding",
                (
                    Row(
                        "windlass tourniquet", 1, 1, MUST, "Saws and mattocks; trained users only."
                    ),
                    Row(
                        "haemostatic dressing", 1, 1, MUST, "Saws and mattocks; trained users only."
                    ),
                ),
            ),
        ),
    ),
)

KITS = (
    # name, list, home room, lives in, bag, volume ml, mass limit g
    *(
        (f"DAY-{n:02}", "Day kit", "main-store", "store", "red hip bag", 3500, 1500)
        for n in (1, 2, 3, 4)
    ),
    *((f"DAY-{n:02}", "Day kit", "cave-hut", "hut", "red hip bag", 3500, 1500) for n in (5, 6)),
    ("GROUP-01", "Group kit", "main-store", "store", "roll-top pouch, 12 l", 12000, 4000),
    ("GROUP-02", "Group kit", "main-store", "vehicle", "roll-top pouch, 12 l", 12000, 4000),
    ("GROUP-03", "Group kit", "cave-hut", "hut", "roll-top pouch, 12 l", 12000, 4000),
    ("EXPED-01", "Expedition kit", "main-store", "store", "hard case, 20 l", 20000, 9000),
    ("EXPED-02", "Expedition kit", "main-store", "store", "hard case, 20 l", 20000, 9000),
    ("WORK-01", "Footpath work kit", "main-store", "vehicle", "red rucksack, 8 l", 8000, 2500),
)
