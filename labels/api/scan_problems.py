"""Of each problem that only a scan can meet an example, as it is answered.

`tests/labels/scan/test_problem_examples.py` asks for each of them and compares.
"""

from gearroom.core.api.openapi.problem_examples import Example

PROBLEMS: list[Example] = [
    ("code-wrong",
     "Check the code: one of its characters is wrong. Scan the code on the label again.",
     {}),
    ("label-not-bound",
     "The label P39B-PC5X is not linked to anything yet. First link it to what it is on.",
     {"label": "P39B-PC5X"}),
    ("makers-code-wrong",
     "The check digit of the item number 09501101530004 is wrong. Scan the code again, or type"
     " it again.",
     {}),
    ("not-ours",
     "This is a web link to example.org, not one of our labels. Scan the label of a kit, a "
     "shelf or a batch.",
     {}),
    ("not-wanted-here",
     "There is nothing to receive or count: scan a pack, a batch label or a shelf.",
     {"means": "person"}),
    ("nothing-read",
     "No label was found in the picture. Move closer, hold the camera still and make sure "
     "there is enough light; or type the code below the symbol.",
     {}),
    ("picture-broken",
     "The picture is cut off or damaged. Take it again.",
     {}),
    ("which-person",
     "The tags of Gil, Ines were scanned. Scan only the tag of the person taking the kit.",
     {}),
    ("another-kit-is-reserved",
     "DAY-02 is reserved for Gil for Hill day, not DAY-01. Take DAY-02, or swap the two kits.",
     {"kit": "DAY-01", "reserved": "DAY-02", "reservation": 1, "trip": 1}),
]  # fmt: skip
