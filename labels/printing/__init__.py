"""Printing: labels, tags, cards and sheets as PDF, PNG and SVG.

`Job` says how (address, organisation, language, preview); the functions take frozen dataclasses
from `labels.rules.layout.contents` and a sheet from `labels.rules.layout.sheets`, and give bytes.
Everything is read back from what was rendered before it is given.
"""

from labels.printing.cards import CardFormat, CardTooLong, lid_card_pdf, sign_out_sheet_pdf
from labels.printing.document import Document, Part, Table, document_pdf
from labels.printing.jobs import Job, PublicAddressMissing
from labels.printing.one_page import one_page_pdf
from labels.printing.order_sheet import OrderSheet, order_sheet_pdf
from labels.printing.patient_note import NoteSize, PatientNote, patient_note_pdf
from labels.printing.pictures import label_png, label_svg
from labels.printing.readback import ReadBackFailed, page_png
from labels.printing.sheet import calibration_page_pdf, sheet_pdf
from labels.printing.wall_calendar import wall_calendar_pdf

__all__ = [
    "CardFormat",
    "CardTooLong",
    "Document",
    "Job",
    "NoteSize",
    "OrderSheet",
    "Part",
    "PatientNote",
    "PublicAddressMissing",
    "ReadBackFailed",
    "Table",
    "calibration_page_pdf",
    "document_pdf",
    "label_png",
    "label_svg",
    "lid_card_pdf",
    "one_page_pdf",
    "order_sheet_pdf",
    "page_png",
    "patient_note_pdf",
    "sheet_pdf",
    "sign_out_sheet_pdf",
    "wall_calendar_pdf",
]
