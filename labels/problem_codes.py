"""What the problems of labels, scans and printing mean; see `gearroom.core.problem_codes`."""

from django.utils.translation import gettext_noop as _

from gearroom.core.problem_codes import KINDS, ProblemKind

KINDS.update(
    {
        code: ProblemKind(status, title, what_to_do)
        for code, status, title, what_to_do in [
            # ------------------------------------------------------------------ what was scanned
            ("nothing-read", 422, _("No label was found"),
             _("Move closer, hold the camera still and make sure there is enough light; or type "
               "the code below the symbol.")),
            ("not-ours", 422, _("This is not one of our labels"),
             _("“means” in “outcomes” shows what it is: a web link, a wireless network, a contact "
               "card or other text. Scan a label of a kit, a shelf or a batch.")),
            ("code-wrong", 422, _("One character of the code is wrong"),
             _("Scan the code on the label again. If it is only one character away from the code "
               "of a label in your gear rooms, “next” suggests that label; nothing has been "
               "recorded.")),
            ("makers-code-wrong", 422, _("Part of the maker’s code cannot be right"),
             _("“detail” names the part. Scan the other code on the pack, or enter the batch and "
               "expiry date.")),
            ("not-wanted-here", 422, _("This label is on something else"),
             _("“detail” explains which label is needed. Scan that one.")),
            ("label-not-bound", 409, _("The label is not linked to anything yet"),
             _("Link it to what it is on.")),
            ("which-batch", 422, _("The batch is not known"),
             _("The code matches no batch on record, or several. Scan our own label, or continue "
               "without a batch.")),
            ("which-person", 422, _("Several tags were scanned"),
             _("Scan only the tag of the person taking the kit, or send “holder”.")),
            # -------------------------------------------------------------------- pictures of it
            ("not-a-picture", 415, _("This picture cannot be read"),
             _("Send JPEG, PNG, WebP, GIF, BMP, TIFF or HEIC. The format is detected from the "
               "content of the file, not from its name.")),
            ("picture-broken", 422, _("The picture is cut off or damaged"),
             _("Take the picture again.")),
            ("readers-busy", 503, _("Too many pictures are being processed"),
             _("Nothing was changed. Send the picture again, with the same key, in a few "
               "seconds.")),
            # --------------------------------------------------------------------------- printing
            ("public-address-missing", 409, _("The codes on the labels would lead nowhere"),
             _("Enter the address that phones will open under Settings, Web address, or set "
               "GEARROOM_PUBLIC_URL on the server; or request a preview.")),
            ("label-too-small", 422, _("The label is too small for its code"),
             _("Choose a label of at least the size given in “detail”, or a shorter web address.")),
            ("card-too-long", 422, _("The kit list is too long for a card"),
             _("Put fewer items on the kit list, or print the list itself instead.")),
            ("read-back-failed", 409, _("A printed code could not be read back"),
             _("Nothing was printed. Try again; if it happens again, report it with the label size "
               "and the names on the labels.")),
            ("no-label", 409, _("The kit has no label yet"), _("Create a label, then print this.")),
            ("not-sealed", 409, _("The kit has no seal on record"),
             _("Reseal the kit, then print its tag.")),
        ]
    }
)  # fmt: skip
