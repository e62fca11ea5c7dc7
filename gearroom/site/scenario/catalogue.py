"""About forty things with plain generic names, and what will do instead of some."""

from dataclasses import dataclass

from kits.rules.ledger.facts import Kind

C, M, INST, T, D = Kind.CONSUMABLE, Kind.MEDICINE, Kind.INSTRUMENT, Kind.TOOL, Kind.DOCUMENT
CAUTION = "Only as the school's medical adviser and its protocols allow."


@dataclass(frozen=True)
class Thing:
    """A thing of the catalogue: `pack` is units a pack, `shelf_life_days` a typical one (0: needs
    no date), `ml` and `g` a unit's volume and mass."""

    name: str
    kind: Kind
    unit: str
    pack: int = 1
    shelf_life_days: int = 0
    sterile: bool = False
    by_eye: bool = False
    latex: bool = False
    child: bool = False
    min_c: int | None = None
    max_c: int | None = None
    opened_life_days: int | None = None
    check_every_days: int | None = None
    question: str = ""
    disposal: str = "bin"
    ml: int = 20
    g: int = 10
    price: str = "0.40"


THINGS = (
    Thing("gauze swab 10 × 10 cm", C, "swab", 25, 1500, sterile=True, ml=6, g=3, price="0.06"),
    Thing("wound dressing, medium", C, "dressing", 10, 1400, sterile=True, ml=60, g=22),
    Thing("wound dressing, large", C, "dressing", 10, 1400, sterile=True, ml=95, g=38),
    Thing("non-adherent dressing 10 × 10 cm", C, "dressing", 10, 1400, sterile=True, ml=10, g=4),
    Thing("eye pad", C, "pad", 5, 1200, sterile=True, ml=30, g=9),
    Thing("burn gel dressing 10 × 10 cm", C, "dressing", 5, 900, sterile=True, ml=45, g=40),
    Thing("skin closure strips", C, "card", 10, 1200, sterile=True, ml=3, g=2),
    Thing("blister dressing", C, "dressing", 10, 1000, sterile=True, ml=8, g=5, price="0.90"),
    Thing("plasters, assorted", C, "plaster", 100, 1400, by_eye=True, ml=2, g=1),
    Thing("antiseptic wipes", C, "wipe", 100, 900, by_eye=True, ml=4, g=3),
    Thing("safety pins", C, "pin", 50, by_eye=True, ml=1, g=1),
    Thing("adhesive felt", C, "sheet", 10, by_eye=True, ml=25, g=12),
    Thing("crepe bandage 10 cm", C, "bandage", 10, ml=70, g=28),
    Thing("cohesive bandage 7.5 cm", C, "bandage", 6, 1300, latex=True, ml=80, g=30),
    Thing("cohesive bandage 7.5 cm, latex-free", C, "bandage", 6, 1300, ml=80, g=30),
    Thing("triangular bandage", C, "bandage", 10, ml=60, g=35),
    Thing("zinc oxide tape 2.5 cm", C, "roll", 6, 1500, ml=60, g=40, price="1.60"),
    Thing("eye wash 20 ml", C, "pod", 25, 800, sterile=True, min_c=2, max_c=35, ml=25, g=24),
    Thing("saline 20 ml", C, "pod", 25, 800, sterile=True, min_c=2, max_c=35, ml=25, g=24),
    Thing("irrigation syringe 20 ml", C, "syringe", 10, 1500, sterile=True, ml=70, g=18),
    Thing("hand gel 50 ml", C, "bottle", 12, 800, opened_life_days=180, ml=65, g=60),
    Thing("nitrile gloves, pair", C, "pair", 50, 1600, ml=30, g=10, disposal="clinical"),
    Thing("resuscitation face shield", C, "shield", 10, 1500, ml=20, g=12),
    Thing("face mask, child size", C, "mask", 1, 1500, child=True, ml=250, g=90, price="6.50"),
    Thing("foil blanket", C, "blanket", 10, ml=120, g=60),
    Thing("glucose gel 25 g", C, "tube", 10, 700, min_c=0, max_c=40, ml=30, g=28),
    Thing("windlass tourniquet", C, "tourniquet", 1, ml=180, g=85, price="24.00"),
    Thing("haemostatic dressing", C, "dressing", 1, 1000, sterile=True, ml=90, g=40, price="32.00"),
    Thing("clinical waste bag", C, "bag", 50, ml=15, g=6),
    Thing("paracetamol 500 mg", M, "tablet", 16, 900, max_c=30, ml=2, g=1, disposal="pharmacy"),
    Thing("ibuprofen 200 mg", M, "tablet", 16, 900, max_c=30, ml=2, g=1, disposal="pharmacy"),
    Thing("aspirin 300 mg", M, "tablet", 16, 900, max_c=30, ml=2, g=1, disposal="pharmacy"),
    Thing("antihistamine 10 mg", M, "tablet", 14, 900, max_c=30, ml=2, g=1, disposal="pharmacy"),
    Thing("rehydration salts", M, "sachet", 20, 800, max_c=30, ml=8, g=6, disposal="pharmacy"),
    Thing(
        "paracetamol suspension, child 5 ml",
        M,
        "sachet",
        12,
        700,
        child=True,
        min_c=2,
        max_c=30,
        ml=8,
        g=7,
        disposal="pharmacy",
    ),
    Thing("malleable splint", T, "splint", 1, ml=400, g=120, price="7.20"),
    Thing("clothing shears", T, "pair", 1, ml=90, g=95, price="4.10"),
    Thing("tweezers", T, "pair", 1, ml=10, g=14, price="1.20"),
    Thing("tick remover", T, "piece", 1, ml=5, g=4, price="1.80"),
    Thing("sharps tub, small", T, "tub", 1, ml=250, g=70, disposal="sharps", price="1.90"),
    Thing("group shelter, 8 people", T, "shelter", 1, ml=3200, g=950, price="79.00"),
    Thing("incident cards and pencil", D, "set", 10, ml=15, g=12),
    Thing("first aid notes", D, "booklet", 10, ml=40, g=45, price="2.50"),
    Thing(
        "digital thermometer",
        INST,
        "thermometer",
        1,
        check_every_days=365,
        question="Does the display come on?",
        ml=20,
        g=15,
        price="6.00",
    ),
    Thing(
        "head torch",
        INST,
        "torch",
        1,
        check_every_days=180,
        question="Is the light on, and bright?",
        ml=150,
        g=90,
        price="18.00",
    ),
    Thing(
        "oxygen cylinder, small",
        INST,
        "cylinder",
        1,
        check_every_days=365,
        question="Is the gauge in the green?",
        ml=2600,
        g=2400,
        price="140.00",
    ),
)

INSTEAD = (
    ("cohesive bandage 7.5 cm", "cohesive bandage 7.5 cm, latex-free"),
    ("eye wash 20 ml", "saline 20 ml"),
    ("saline 20 ml", "eye wash 20 ml"),
    ("wound dressing, medium", "wound dressing, large"),
    ("crepe bandage 10 cm", "cohesive bandage 7.5 cm, latex-free"),
)
