"""Of each problem that is particular to trips and reservations an example, as it is answered.

`tests/kits/trips/test_problem_examples.py` asks for each of them and compares.
"""

from gearroom.core.api.openapi.problem_examples import Example

PROBLEMS: list[Example] = [
    ("trip-ends-before-it-begins", "The trip returns before it departs. Check its times.",
     {"departs_at": "2026-06-02T09:00:00+00:00", "returns_at": "2026-06-02T07:00:00+00:00",
      "first_day": "2026-06-02", "last_day": "2026-06-02"}),
    ("due-in-the-past", "The return time has already passed. Enter a time in the future.", {}),
    ("trip-too-long", "This trip lasts more than a year. Check the trip’s dates.", {}),
    ("trip-of-calendar",
     "This trip comes from the calendar “Season”. Change it there, or stop using the calendar.",
     {}),
    ("trip-cancelled", "Hill day was cancelled, so kits cannot be reserved for it.", {}),
    ("trip-is-over", "Hill day ended on 31 May 2026. Check the trip’s dates.", {}),
    ("kit-reserved",
     "DAY-01 is reserved for River day (2 June 2026). Release that reservation, or choose another "
     "kit.",
     {"kit": "DAY-01", "trip": 118, "trip_name": "River day", "reservation": 40}),
    ("kit-retired", "DAY-02 has been retired. Choose another kit.", {}),
    ("released-already", "DAY-01 is no longer reserved for Hill day.", {}),
    ("not-reserved", "DAY-01 is no longer reserved for River day. Look at the page again.", {}),
    ("same-kit", "DAY-01 is already the reserved kit. Take it.", {}),
    ("kit-is-out",
     "Gil has had DAY-01 since 31 May, 09:10. If it is here, hand it back for them first, then "
     "take it out.",
     {"kit": "DAY-01", "person": 7, "person_name": "Gil", "phone": "",
      "since": "2026-05-31T09:10:00+00:00", "checkout": 212, "sealed": False}),
    ("does-not-suit",
     "DAY-02 is not suitable for Hill day: Wound dressing 10 × 12: 3 of 6 in the kit, minimum 4.",
     {"kit": "DAY-02", "trip": 119, "trip_name": "Hill day", "reasons": [{
         "code": "short", "weight": "stops",
         "text": "Wound dressing 10 × 12: 3 of 6 in the kit, minimum 4.",
         "facts": {
             "line": 4, "section": "main", "thing": "Wound dressing 10 × 12", "thing_id": 4,
             "criticality": "must-have", "carry": 6, "never_below": 4, "usable": 3, "shortfall": 3,
             "lacking": 1, "cause": "missing", "lots": [],
         },
     }]}),
]  # fmt: skip
