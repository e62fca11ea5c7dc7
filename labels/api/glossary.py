"""What the words of labels, sheets and scans mean in the API; see `core.api.openapi.glossary`."""

from gearroom.core.api.openapi.glossary import FIELDS, PARAMETERS, TAGS
from gearroom.core.api.openapi.problem_examples import PARTICULAR
from labels.api.scan_problems import PROBLEMS

PARTICULAR.extend(PROBLEMS)
FIELDS.update(
    {
        # ------------------------------------------------------------------------------ labels
        "LabelAnswer.kind": "What kind of thing the label is for.",
        "LabelAnswer.person": ("The person whose tag it is, by id", "it is no tag"),
        "LabelAnswer.shelf": ("The shelf that it is on, by id", "it is on no shelf"),
        "LabelAnswer.lot": ("The batch that it is on, by id", "it is on no batch"),
        "LabelAnswer.kit": ("The kit that it is on, by name", "it is on no kit"),
        "LabelAnswer.section": (
            "The section's key; “kit” names its kit",
            "it is on no section",
        ),
        "LabelAnswer.made_at": "When the code was made.",
        "labels": "The labels.",
        "bound_at": ("When it was put on something", "it is still blank"),
        "printed_at": ("When it was last printed", "never"),
        "LabelAnswer.cancelled_at": ("When it was cancelled", "it is in use"),
        "cancelled_why": "Why it was cancelled; empty: it is in use, or no reason was given.",
        "LabelAnswer.replaced_by": ("The code of the label that replaces it", "none does"),
        "CancelAnswer.cancelled": "The label that is no longer valid.",
        "replacement": ("The new label for the same thing", "none was asked for"),
        # ------------------------------------------------------------------------------ sheets
        "sheet": "The sheet or roll to print on: a key from GET labels/layouts/.",
        "copies": "How many labels of each.",
        "SheetBody.order": "In which order the labels are printed.",
        "layouts": "Sheets and rolls that labels are printed on.",
        "LayoutAnswer.name": "What the sheet or roll is called on pages.",
        "LayoutBody.name": "What the sheet or roll is to be called on pages.",
        "page_width_mm": "The width of the page, in millimetres.",
        "page_height_mm": "The height of the page, in millimetres.",
        "columns": "Labels side by side.",
        "rows": "Labels one below the other.",
        "cells": "Labels on a page.",
        "cell_width_mm": "The width of a label, in millimetres.",
        "cell_height_mm": "The height of a label, in millimetres.",
        "left_mm": "From the left edge of the page to the first label, in millimetres.",
        "top_mm": "From the top edge of the page to the first label, in millimetres.",
        "pitch_x_mm": "From the left edge of a label to that of the next one, in millimetres.",
        "pitch_y_mm": "From the top edge of a label to that of the one below, in millimetres.",
        "roll": "Each label is on its own page.",
        "cut": "Cutting marks are printed in the margin.",
        "dx_mm": "How far everything is moved to the right, in millimetres; below 0: to the left.",
        "dy_mm": "How far everything is moved down, in millimetres; below 0: up.",
        "scale_x": "By how much everything is made wider; 1: as it is.",
        "scale_y": "By how much everything is made higher; 1: as it is.",
        "hole": ("Where each label has a hole", "it has none"),
        "diameter_mm": "How wide the hole is, in millimetres.",
        "centre_from_top_mm": "From the top edge of the label to the middle of the hole, in"
        " millimetres.",
        "clear_mm": "How far from the hole nothing may be printed, in millimetres.",
        # ------------------------------------------------------------------------------- scans
        "scan_id": "The key of this scan: send it again with the same content, and nothing is done"
        " twice.",
        "intent": "What to do with what is read; identify only says what it is.",
        "read": "What was read from the symbol, or what was typed.",
        "means": "What kind of thing the text stands for.",
        "OutcomeAnswer.says": "What came of it, in a sentence.",
        "OutcomeAnswer.label": ("The code of our label", "it is none of ours"),
        "OutcomeAnswer.kit": ("The kit that it stands for", "it stands for something else"),
        "OutcomeAnswer.section": ("The section that it stands for", "it stands for something else"),
        "OutcomeAnswer.lot": ("The batch that it stands for", "it stands for something else"),
        "OutcomeAnswer.shelf": ("The shelf that it stands for", "it stands for something else"),
        "OutcomeAnswer.person": (
            "The person whose tag it is",
            "it stands for something else, or you may not see people",
        ),
        "passer_by": (
            "What anyone may know of a label of another gear room",
            "it stands for something else",
        ),
        "OutcomeAnswer.entry": ("The record that was made", "nothing was recorded"),
        "problem": ("What was in the way", "nothing was"),
        "NextAnswer.do": "What can be done.",
        "NextAnswer.says": "The same as a sentence, as it stands on a button.",
        "url": "The address of the call that does it.",
        "method": "The method of the call that does it.",
        # what a scanned thing is
        "SectionAnswer.kit": "The kit that the section is in, by name.",
        "SectionAnswer.key": "The section's key in its kit.",
        "SectionAnswer.seal": "The number of the section's seal; empty: it has none.",
        "KitAnswer.home_room": "The gear room that it belongs to.",
        "KitAnswer.packing_list": "The name of its kit list.",
        "KitAnswer.responsible": "The person who answers for it; empty: nobody.",
        "KitAnswer.seal": "The number of its seal; empty: it is not sealed.",
        "KitAnswer.has_it_id": ("The id of the person who has it", "it is not out"),
        "KitAnswer.has_it_phone": "Their telephone number; empty: none, or it may not be seen.",
        "KitAnswer.out_since": ("When it was taken out", "it is not out"),
        "KitAnswer.due_at": ("When it is due back", "it is not out, or no time was set"),
        "KitAnswer.trip": (
            "The id of the trip that the status is for",
            "the status is for a day, not for a trip",
        ),
        "trip_name": "The name of that trip; empty: none.",
        "trip_departs_at": ("When that trip departs", "no trip"),
        "trip_last_day": ("The last day of that trip", "no trip"),
        "KitAnswer.guide": ("The person taking it on that trip", "nobody yet, or no trip"),
        "guide_name": "The name of the person taking it on that trip; empty: nobody yet.",
        "LotAnswer.recalled": "Its maker has recalled it.",
        "LotAnswer.item_name": "The name of the item.",
        "LotAnswer.where": "Where there are units of it in your gear rooms.",
        "inside": "The kit or gear room that it is in.",
        "WhereAnswer.place": "The shelf or section, by id.",
        "PackAnswer.item_name": "The name of the item; empty: it is new here.",
        "PackAnswer.gtin": "The maker's code of the pack (GTIN, 14 digits).",
        "PackAnswer.number": "The maker's lot number in the code; empty: none.",
        "PackAnswer.serial": "The serial number in the code; empty: none.",
        "PackAnswer.expiry": ("The expiry date in the code", "none"),
        "PackAnswer.recalled": "The batch has been recalled.",
        "PackAnswer.count": ("The number of units in the code itself", "it has none"),
        "PackAnswer.units": ("The number of units in one such pack", "not known"),
        "PackAnswer.units_per_pack": ("Units in a pack with this code", "not known"),
        "PackAnswer.lot": ("The batch, if it is already on record", "it is not"),
        # what a stranger sees
        "PasserByAnswer.kind": "What kind of thing it is.",
        "PasserByAnswer.what": "What it is, in a few words.",
        "whose": "Whose it is: the organisation, and the gear room.",
        "PasserByAnswer.phone": "Whom to call about it; empty: no number is set.",
        "PasserByAnswer.code": "The code on the label.",
        "PasserByAnswer.cancelled": "The label is no longer valid.",
        "PasserByAnswer.replaced_by": "The code of the label that replaces it; empty: none does.",
        "yours": "It is of one of your gear rooms.",
        # what a shared form of a scan says
        "short_reason": "The reason for taking it out although it is not ready.",
    }
)
PARAMETERS.update(
    {
        "exports/{table}": "The name of the table, from GET tables/.",
        "imports/{table}": "The name of the table, from GET tables/.",
        "labels/{code}": "The label's code, with or without its hyphen.",
        "sheet": "The sheet or roll: a key from GET labels/layouts/.",
        "across_mm": "The whole length of the ruler across, as measured on the test page, in"
        " millimetres.",
        "down_mm": "The whole length of the ruler down the page, as measured on the test page,"
        " in millimetres.",
        "left_mm": "From the left edge of the paper to the cross, as measured on the test page,"
        " in millimetres.",
        "top_mm": "From the top edge of the paper to the cross, as measured on the test page,"
        " in millimetres.",
        "cancelled": "True: only cancelled ones; false: only those that are not.",
        "printed": "True: only labels that were printed; false: only those that were not.",
        "size": "The paper of the card.",
        "paper": "The paper of the calendar.",
        "form": "The format of the picture.",
        "dpi": "The printer's dots per inch, for a PNG.",
        "shelf": "Only what is on this shelf, by id.",
        "preview": "Print a preview, marked as such; its codes lead nowhere.",
    }
)
TAGS.update(
    {
        "exports": "Tables out to a file.",
        "imports": "Tables in from a file, with a dry run.",
        "labels": "Labels: codes that are printed, put on things, cancelled and replaced.",
        "scans": "Reading labels, and doing what a scan is for.",
        "tables": "Tables that can be exported and imported.",
    }
)
