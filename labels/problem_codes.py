"""What the problems of labels, scans and printing mean; see `gearroom.core.problem_codes`."""

from gearroom.core.problem_codes import KINDS, ProblemKind

KINDS.update(
    {
        code: ProblemKind(status, title, what_to_do)
        for code, status, title, what_to_do in [
            # ------------------------------------------------------------------ what was scanned
            ("nothing-read", 422, "No label was found",
             "Move closer, hold the camera still and make sure there is enough light; or type the"
             " code below the symbol."),
            ("not-ours", 422, "This is not one of our labels",
             "“means” in “outcomes” shows what it is: a web link, a wireless network, a contact"
             " card or other text. Scan a label of a kit, a shelf or a batch."),
            ("code-wrong", 422, "One character of the code is wrong",
             "Scan the code on the label again. If it is only one character away from the code of"
             " a label in your gear rooms, “next” suggests that label; nothing has been recorded."),
            ("makers-code-wrong", 422, "Part of the maker’s code cannot be right",
             "“detail” names the part. Scan the other code on the pack, or enter the batch and"
             " expiry date."),
            ("not-wanted-here", 422, "This label is on something else",
             "“detail” explains which label is needed. Scan that one."),
            ("label-not-bound", 409, "The label is not linked to anything yet",
             "Link it to what it is on."),
            ("which-batch", 422, "The batch is not known",
             "The code matches no batch on record, or several. Scan our own label, or continue"
             " without a batch."),
            ("which-person", 422, "Several tags were scanned",
             "Scan only the tag of the person taking the kit, or send “holder”."),
            # -------------------------------------------------------------------- pictures of it
            ("not-a-picture", 415, "This picture cannot be read",
             "Send JPEG, PNG, WebP, GIF, BMP, TIFF or HEIC. The format is detected from the"
             " content of the file, not from its name."),
            ("picture-broken", 422, "The picture is cut off or damaged",
             "Take the picture again."),
            ("readers-busy", 503, "Too many pictures are being processed",
             "Nothing was changed. Send the picture again, with the same key, in a few seconds."),
            # --------------------------------------------------------------------------- printing
            ("public-address-missing", 409, "The codes on the labels would lead nowhere",
             "Set GEARROOM_PUBLIC_URL to the address that phones will open, or request a preview."),
            ("label-too-small", 422, "The label is too small for its code",
             "Choose one of at least the size given in “detail”, or a shorter web address."),
            ("card-too-long", 422, "The kit list is too long for a card",
             "Put fewer items on it, or print the kit list instead."),
            ("read-back-failed", 409, "A printed code could not be read back",
             "Nothing was printed. Try again; if it happens again, report it with the label size"
             " and the names on the labels."),
            ("no-label", 409, "The kit has no label yet", "Create one, then print this."),
            ("not-sealed", 409, "The kit has no seal on record", "Reseal it, then print its tag."),
        ]
    }
)  # fmt: skip
