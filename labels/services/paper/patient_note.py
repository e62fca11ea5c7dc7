"""A blank patient note, to print. What is written on it stays on paper: this program records
nothing about casualties."""

from django.utils.translation import gettext as _, pgettext

from labels import printing
from labels.printing import NoteSize, PatientNote
from labels.services.paper.printer import job, pdf_of


def patient_note(size: NoteSize = "a4") -> bytes:
    """The note as PDF, in the language in force."""
    note = PatientNote(
        title=_("Patient note"),
        caution=[
            _(
                "Your training and your local protocol come first: this note is only for writing "
                "things down."
            ),
            _("No name is needed. Hand it over with the patient."),
        ],
        heads=[
            [_("Date and time"), _("Place or grid reference"), _("Incident reference")],
            [_("Adult or child, age about"), _("Written by"), _("Group’s phone number")],
        ],
        story=_("What happened, when"),
        sketch=_("Injuries: sketch the body and mark where"),
        sketches=(pgettext("of a body", "Front"), pgettext("of a body", "Back")),
        background=[
            _("Allergies, medicines taken, illnesses known"),
            _("Last drink, last food, last toilet"),
        ],
        observed=_("Observations: time"),
        observations=[
            _("Awake · to voice · to pain · none"),
            _("Breathing rate and quality"),
            _("Pulse rate and quality"),
            _("Skin: colour, warm, wet"),
            _("Pupils: size, same, react"),
            _("Temperature, where taken"),
            _("Pain, 0 to 10"),
            _("Anything else"),
        ],
        done=_("What was done, by whom, when"),
        ends=[_("Handed over to"), _("Time"), _("Page … of …")],
        pencil=_("Write in pencil: it does not run on wet paper."),
    )
    return pdf_of(
        lambda out: printing.patient_note_pdf(note, size=size, out=out, job=job(preview=True))
    )
