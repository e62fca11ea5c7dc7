"""What has been published on how often things happen outdoors, for rates that say where they come
from.

The studies count different things (what was reported, what a doctor saw, what was treated), so
their rates differ fifteen-fold and are never averaged: each is shown as it is, and belongs only to
what it counts. All were read as abstracts unless `read` says otherwise.
"""

from dataclasses import dataclass, field


@dataclass(frozen=True)
class Study:
    """A published study: who, where (no organisation's name), when; in which setting and over how
    many person-days; `rates` per 1,000 person-days by what was counted; what of it was read."""

    key: str
    authors: str
    published: str
    year: int
    doi: str
    setting: str
    counts: str
    person_days: int | None = None
    rates: dict[str, float] = field(default_factory=dict)
    note: str = ""
    read: str = "abstract"


STUDIES = (
    Study(
        "gentile-1992",
        "Gentile DA and others",
        "Annals of Emergency Medicine 21(7):853–861",
        1992,
        "",
        "outdoor courses, five years, prospective",
        "what was reported",
        rates={"injury": 2.3, "illness": 1.5, "evacuation": 1.5},
        note="Sprains, strains and soft tissue were 80 % of injuries.",
    ),
    Study(
        "leemon-2003",
        "Leemon D, Schimelpfenig T",
        "Wilderness and Environmental Medicine 14(3):174–182",
        2003,
        "",
        "outdoor courses, four years",
        "what was reported",
        person_days=630_937,
        note="Of injuries 50 % athletic (knees 35 %, ankles 30 %, backs 13 %) and 30 % soft tissue;"
        " of illnesses 26.4 % gut and 16.6 % flu-like.",
    ),
    Study(
        "wells-2018",
        "Wells FC, Warden CR",
        "Wilderness and Environmental Medicine",
        2018,
        "10.1016/j.wem.2018.07.004",
        "outdoor courses, 2014–2016",
        "what was reported",
        person_days=59_058,
        rates={"injury": 1.64, "illness": 0.78},
        note="Strains, sprains, skin and soft tissue were most.",
    ),
    Study(
        "expeditions-2000",
        "“Expedition health and safety: a risk assessment”",
        "Journal of the Royal Society of Medicine, PMC1298144",
        2000,
        "",
        "246 expeditions, by questionnaire",
        "what leaders remembered",
        person_days=130_000,
        rates={"incident": 6.4},
        note="78 % minor, 5 % serious.",
    ),
    Study(
        "lyon-2010",
        "Lyon RM, Wiggins CM",
        "Wilderness and Environmental Medicine 21(4):318–324",
        2010,
        "",
        "210 charity expeditions with medics",
        "what medics wrote down",
        person_days=42_482,
        rates={"minor": 34.48, "moderate": 1.86, "major": 0.47},
        note="Complaints of the gut were the commonest.",
    ),
    Study(
        "tonna-2009",
        "Tonna JE and others",
        "Wilderness and Environmental Medicine 20:107–112",
        2009,
        "",
        "desert field seasons, physicians recording every complaint",
        "everything that anybody mentioned",
        person_days=2_689,
        rates={"incident": 153.0},
        note="412 incidents, headaches and sleeplessness among them.",
    ),
    Study(
        "welch-1997",
        "Welch TP",
        "Wilderness and Environmental Medicine 8(3):148–151",
        1997,
        "",
        "565 people on summer treks",
        "first aid supplies used",
        person_days=3_955,
        note="Counts supplies used, the nearest to what a kit needs; its tables were not read.",
    ),
    Study(
        "boulware-2003",
        "Boulware DR, Forgey WW, Martin WJ",
        "American Journal of Medicine 114(4):288–293",
        2003,
        "",
        "280 long-distance hikers, 140 days on average, asked at the end",
        "people who had it at least once",
        person_days=38_940,
        rates={
            "blister": 4.6,
            "diarrhoea": 4.0,
            "sore skin": 3.7,
            "joint pain": 2.6,
            "tick bite": 1.7,
        },
        note="Our division of people by days: 180, 156, 143, 102 and 68 people. Each counts once,"
        " however often they had it, so there were more uses than that.",
    ),
    Study(
        "spano-2018",
        "Spano SJ, Hile AG, Jain R, Stalcup PR",
        "Wilderness and Environmental Medicine 29(2):203–210",
        2018,
        "",
        "771 hikers of a mountain trail, 15.2 days on average, by questionnaire",
        "people who had it at least once",
        note="57 % reported illness or injury; blisters (57 %), poor sleep (57 %) and pack-strap"
        " pain (46 %) were most common.",
    ),
    Study(
        "ribeiro-2023",
        "Ribeiro R and others",
        "Ticks and Tick-borne Diseases 14(2):102109",
        2023,
        "10.1016/j.ttbdis.2022.102109",
        "orienteers at eleven events in Scotland, August 2018 to September 2019",
        "tick bites, reported by those with and without",
        note="409 bites in 1,000 person-hours of running; of hours, so there is no rate for a day."
        " More in woods, in warmth and early in the day.",
    ),
    Study(
        "lipman-2016",
        "Lipman GS and others",
        "Clinical Journal of Sport Medicine 26(5):362–368",
        2016,
        "",
        "128 runners, randomised",
        "blisters with and without paper tape",
        note="Paper tape: 40 % fewer blisters (95 % interval 28–52 %).",
    ),
    Study(
        "lipman-2014",
        "Lipman GS and others",
        "Wilderness and Environmental Medicine",
        2014,
        "",
        "136 runners, randomised",
        "blisters with and without paper tape",
        note="Paper tape made no difference (52 % against 39 %, p = 0.22): the two disagree.",
    ),
)
"""In the order of how near what they count is to what our kits are asked for."""
