"""What the problems of labels, scans and printing mean; see `gearroom.core.problem_codes`."""

from gearroom.core.problem_codes import KINDS, ProblemKind

KINDS.update(
    {
        code: ProblemKind(status, title, what_to_do)
        for code, status, title, what_to_do in [
            # ------------------------------------------------------------------ what was scanned
            ("nothing-read", 422, "Nothing was read",
             "Go closer, hold still, let light fall on the label; or type the code that stands"
             " below the symbol."),
            ("not-ours", 422, "This is not a label of ours",
             "“means” in “outcomes” says what it is: somebody's link, network, address card or"
             " other text. Scan a label of a kit, a shelf or a batch."),
            ("code-wrong", 422, "One character of the code is wrong",
             "Read it from the label again. Where one label of your rooms is one character away,"
             " “next” offers it; nothing was done with it."),
            ("makers-code-wrong", 422, "A part of the maker's code cannot be right",
             "“detail” names the part. Scan the pack's other symbol, or type batch and date in."),
            ("not-wanted-here", 422, "This label is on something else",
             "“detail” says what is asked for. Scan that."),
            ("label-not-bound", 409, "The label is not on anything yet",
             "Bind it to what it is stuck on."),
            ("which-batch", 422, "The batch is not known",
             "The code fits no batch on record, or several. Use our own label, or do without."),
            ("which-person", 422, "Several tags were read",
             "Scan the tag of the one who takes it, alone; or send “holder”."),
            # -------------------------------------------------------------------- pictures of it
            ("not-a-picture", 415, "This is no picture that can be read",
             "Send JPEG, PNG, WebP, GIF, BMP, TIFF or HEIC. Kinds are told by content, not name."),
            ("picture-broken", 422, "The picture is cut short or damaged", "Take it again."),
            ("readers-busy", 503, "All readers are at work",
             "Nothing was changed. Send it again, with the same key, in a few seconds."),
            # --------------------------------------------------------------------------- printing
            ("public-address-missing", 409, "Labels would lead nowhere",
             "Set GEARROOM_PUBLIC_URL to the address that phones will open; or ask for a preview."),
            ("label-too-small", 422, "The label is too small for its symbol",
             "Choose one of at least the size that “detail” names, or a shorter public address."),
            ("card-too-long", 422, "The kit list is too long for a card",
             "Put fewer things on it, or print the kit list instead."),
            ("read-back-failed", 409, "A printed symbol does not read back",
             "Nothing was printed. Try again, and report the size and names if it stays so."),
            ("no-label", 409, "The kit has no label yet", "Make one, then print this."),
            ("not-sealed", 409, "The kit has no seal on record", "Reseal it, then print its tag."),
        ]
    }
)  # fmt: skip
