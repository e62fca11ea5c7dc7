"""The needs and activities that the program begins with; an organisation edits its own."""

from typing import NamedTuple


class NeedGiven(NamedTuple):
    """A need that is there from the start: its key, its name and its group."""

    key: str
    name: str
    group: str


NEEDS = (
    NeedGiven("small-wound", "small wound", "wounds"),
    NeedGiven("large-wound", "large wound", "wounds"),
    NeedGiven("wound-cleaning", "wound to be cleaned", "wounds"),
    NeedGiven("nosebleed", "nosebleed", "wounds"),
    NeedGiven("eye", "something in an eye", "wounds"),
    NeedGiven("burn", "burn or scald", "wounds"),
    NeedGiven("splinter", "splinter", "wounds"),
    NeedGiven("severe-bleeding", "severe bleeding from a limb", "severe"),
    NeedGiven("not-breathing", "not breathing", "severe"),
    NeedGiven("spine", "possible spinal injury", "severe"),
    NeedGiven("blister", "blister", "feet"),
    NeedGiven("chafing", "chafed or sore skin", "feet"),
    NeedGiven("sunburn", "sunburn", "feet"),
    NeedGiven("sprain", "sprain or strain", "limbs"),
    NeedGiven("fracture", "broken bone", "limbs"),
    NeedGiven("sling", "arm to be held still", "limbs"),
    NeedGiven("headache", "headache or other pain", "illness"),
    NeedGiven("stomach", "vomiting or diarrhoea", "illness"),
    NeedGiven("low-sugar", "low blood sugar", "illness"),
    NeedGiven("period", "period", "illness"),
    NeedGiven("sting", "sting or insect bite", "allergy"),
    NeedGiven("tick", "tick", "allergy"),
    NeedGiven("severe-allergy", "severe allergic reaction", "allergy"),
    NeedGiven("cold", "cold and wet person", "heat-cold"),
    NeedGiven("heat", "overheated person", "heat-cold"),
    NeedGiven("gloves", "gloves for whoever helps", "protection"),
    NeedGiven("contaminated-waste", "waste with blood on it", "protection"),
    NeedGiven("record", "writing down what happened", "protection"),
)

ACTIVITIES = (
    ("hill-walking", "hill walking"),
    ("gorge-walking", "gorge walking"),
    ("caving", "caving"),
    ("climbing", "climbing"),
    ("paddling", "paddling"),
    ("cycling", "cycling"),
    ("winter", "winter walking"),
    ("work-party", "work party"),
    ("camp", "camp"),
)


class HazardAsksFor(NamedTuple):
    """What a list that serves a hazard must have for a need, in units, unless it says why not."""

    hazard: str
    need: str
    units: int
    reason: str


HAZARDS = (
    HazardAsksFor("sharp-tools", "severe-bleeding", 1, "A saw or an axe can open an artery."),
    HazardAsksFor("sharp-tools", "large-wound", 2, "Cuts by tools are deep and long."),
    HazardAsksFor("fire", "burn", 1, "Stoves and fires burn and scald."),
    HazardAsksFor("animals", "sting", 1, "Stings and bites are to be expected."),
    HazardAsksFor("animals", "tick", 1, "A tick is taken off soon."),
    HazardAsksFor("winter", "cold", 1, "Whoever is hurt in snow cools down fast."),
    HazardAsksFor("water", "cold", 1, "Whoever is wet cools down fast."),
    HazardAsksFor("remote", "fracture", 1, "A limb is held still for hours."),
    HazardAsksFor("remote", "cold", 1, "Waiting for help is long and cold."),
    HazardAsksFor("heat", "heat", 1, "Overheating comes on in an hour."),
)
