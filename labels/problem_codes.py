"""What the problems of labels, printing and reading mean; see `gearroom.core.problem_codes`."""

from gearroom.core.problem_codes import KINDS, Kind

KINDS.update(
    {
        code: Kind(status, title, what_to_do)
        for code, status, title, what_to_do in [
            # ---------------------------------------------------------------------------- printing
            ("public-address-missing", 409, "No public address is set",
             "Labels would lead nowhere. Set GEARROOM_PUBLIC_URL, or print a preview."),
            ("label-too-small", 422, "The symbol would be too small to be read",
             "“detail” says the size that would do. Choose a larger label."),
            ("card-too-long", 422, "It does not fit the card", "Choose a larger one."),
            ("read-back-failed", 409, "A printed symbol could not be read back",
             "Nothing was handed over. Try again, with a larger label if it stays."),
            ("no-label", 409, "The kit has no label yet", "Make one, then print this."),
            ("not-sealed", 409, "The kit has no seal on record", "Reseal it, then print its tag."),
            # ----------------------------------------------------------------------------- reading
            ("nothing-read", 422, "No label was found",
             "Go closer, hold still, let light fall on it; or type the code below the symbol."),
            ("picture-broken", 422, "The picture is broken", "Take it again."),
            ("not-a-picture", 415, "The file is no picture that is read here",
             "Send a JPEG, PNG, WebP, GIF, BMP, TIFF or HEIC."),
            ("readers-busy", 503, "All readers are at work",
             "Send it again, with the same key, as soon as Retry-After says."),
            ("code-wrong", 422, "The code does not check out",
             "A character was misread. Read it from the label again."),
            ("makers-code-wrong", 422, "The maker's code does not check out",
             "Scan it again, or type what stands below it."),
            ("not-ours", 422, "It is not one of our labels",
             "Scan the label of a kit, a shelf or a batch."),
            ("not-wanted-here", 422, "This label is on something else",
             "“detail” says what is asked for. Scan that."),
            ("label-not-bound", 409, "The label is not on anything yet",
             "Bind it first to what it is stuck on."),
            ("which-person", 422, "Several people's tags were read",
             "Scan the tag of the one who takes it, alone."),
        ]
    }
)  # fmt: skip
