"""What the gear room's own problems mean; see `gearroom.core.problem_codes`."""

from django.utils.translation import pgettext_lazy

from gearroom.core.problem_codes import KINDS, NOUNS, Kind

KINDS.update(
    {
        code: Kind(status, title, what_to_do)
        for code, status, title, what_to_do in [
            # ---------------------------------------------------------------- a kit and who has it
            ("kit-is-out", 409, "Somebody has this kit",
             "“person_name” says who, “since” since when. If the kit is here in your hand, hand it"
             " back for them first, then take it out: what is in the hand wins."),
            ("not-out", 409, "Nobody has this kit", "Take it out first."),
            ("has-it-already", 409, "They have it already", "There is nothing to do."),
            ("who-takes-it", 422, "Nobody is named who takes it",
             "Scan the guide's tag, or choose who takes it."),
            ("due-in-the-past", 422, "The due time has passed", "Give a time still to come."),
            ("not-fit", 409, "The kit is not fit to go",
             "“reasons” lists what stands against it, and what settles each. Take another kit, or"
             " settle them. A rescue always goes: send “emergency”."),
            ("short-needs-a-reason", 409, "The kit is short of something",
             "A keeper or an instructor may let it go with a reason: send “short_reason”."),
            ("kit-reserved", 409, "The kit is promised to a trip",
             "Choose another kit, or release the reservation."),
            ("reserved-for-another", 409, "The kit is promised to another's trip",
             "“guide_name” and “trip_name” say whose it is; “swap” names the kit that would do in"
             " its place: swap the reservation, or send “take_reason”. Where “uncovered_within_48h”"
             " is true, only a keeper may take it with a reason. A rescue always goes."),
            ("another-kit-is-reserved", 409, "Another kit is promised to this trip",
             "Take that one, or swap."),
            ("kit-retired", 409, "The kit was retired", "Choose another kit, or add a new one."),
            ("kit-not-empty", 409, "The kit still holds something", "Strip it first."),
            ("laid-up-already", 409, "The kit is laid up already", "There is nothing to do."),
            ("not-laid-up", 409, "The kit is not laid up", "There is nothing to do."),
            ("not-withheld", 409, "The kit is not kept back for that", "There is nothing to do."),
            ("keep-as-it-came-back", 409, "The kit is kept as it came back",
             "Nothing is put in or taken out until somebody who may do so releases it."),
            ("sealed-already", 409, "The kit carries this seal already",
             "Read the number on the new seal again."),
            ("seal-in-use", 409, "Another kit carries this seal",
             "Read the number again, or look at that kit."),
            ("no-seal-on-record", 409, "No seal is on record", "Look inside, then seal it."),
            ("deputy-is-another", 422, "The deputy is the responsible instructor",
             "Choose somebody else as deputy."),
            ("training-stock-inside", 409, "The kit holds what was used for training",
             "Empty it, then take it into use."),
            # ------------------------------------------------------------------------------ labels
            ("not-a-kit", 400, "This label is not a kit's", "Scan the kit's own label."),
            ("wrong-label", 400, "This label is on something else",
             "“means” says on what. Scan the label of what is asked for."),
            ("label-bound", 409, "The label is on something already",
             "Bind another blank one. If this label was moved, cancel it there and print a new"
             " one."),
            ("label-cancelled", 409, "The label was cancelled",
             "Take it off. If the thing is in use, bind a new label."),
            # ------------------------------------------------------------------------------- stock
            ("not-enough", 409, "The book has fewer there",
             "Count the place first if more are there: what is found is written as found."),
            ("not-asked-for", 422, "The list does not ask for it",
             "Leave it out, or put it in as something extra."),
            ("wrong-bin", 409, "It does not go there", "“detail” says where it goes."),
            ("place-closed", 409, "The place is no longer in use", "Choose another place."),
            ("shelf-not-empty", 409, "The shelf still holds something",
             "Move what is on it, or count it."),
            ("restock-instead", 409, "Things go into a kit checked",
             "Restock or build the kit instead of moving things into it."),
            ("send-instead", 409, "The place is in another room",
             "Send it there, then let it arrive."),
            ("training-never-back", 409, "Training stock stays training stock",
             "It never goes back into use. Throw it out when it is worn."),
            ("opened-already", 409, "These were opened before", "There is nothing to record."),
            ("no-opened-life", 409, "It keeps as long once opened", "There is nothing to record."),
            ("nothing-to-take-out", 409, "Everything may stay where it is",
             "There is nothing to do."),
            ("nothing-to-correct", 409, "This is what is on record",
             "Send what the pack says, if it says otherwise."),
            ("serial-known-otherwise", 409, "The serial number is on record with other facts",
             "Leave lot number and date out, or correct the batch first."),
            ("instrument-held", 409, "The instrument is on record elsewhere",
             "Move it from there, or read its serial number again."),
            ("not-an-instrument", 400, "It is no instrument", "Only instruments are checked."),
            # -------------------------------------------------------- what is never put into a kit
            ("expired", 409, "It has expired", "Take another batch, and throw this one out."),
            ("recalled", 409, "Its maker recalled it",
             "Put it into quarantine and follow what the recall says."),
            ("withheld", 409, "It is kept back", "Take another one until it is released."),
            ("failed-check", 409, "It failed its check", "Take another one; have this one mended."),
            ("unsigned-medicine", 409, "The kit's list is not signed for this medicine",
             "Ask the medical adviser to sign the list."),
            ("undated", 409, "Its date is not known",
             "Read the date off the pack and correct the batch, or take another one."),
            ("training-stock", 409, "It was set aside for training",
             "Only training kits take it. Take another one."),
            # --------------------------------------------------------------- putting right, recalls
            ("built-on", 409, "Later acts were built on it",
             "“later” lists them. Send it again with “together” and, as “through”, the last entry"
             " listed; where “together” says false, count what is there now."),
            ("reversed-already", 409, "It was put right already", "There is nothing to do."),
            ("not-reversible", 409, "Such an act is not reversed",
             "“detail” says what is done instead."),
            ("closed-already", 409, "The recall is closed already", "There is nothing to do."),
            ("recalled-already", 409, "Such a recall is open already", "Follow that one."),
            # ----------------------------------------------------------------- kit lists, catalogue
            ("draft-there", 409, "There is a draft of this list", "Go on with that one."),
            ("list-empty", 409, "The list is empty", "Put a line on it first."),
            ("not-published", 409, "The list is a draft", "Publish it first."),
            ("published-already", 409, "A published version never changes",
             "Make a new draft from it."),
            ("follows-already", 409, "The kit follows this version already",
             "There is nothing to do."),
            ("signature-in-the-past", 422, "The signature would be over already",
             "Give a last day still to come."),
            ("on-a-kit-list", 409, "Kit lists in use ask for it",
             "Make versions without it, and let the kits follow those first."),
            ("units-in-the-book", 409, "The book holds units of it",
             "They would mean something else after this change. Add it as another thing instead."),
            ("pack-code-taken", 409, "Another thing has this pack code",
             "Take the code from that thing first."),
            # ------------------------------------------------------------------------------- trips
            ("trip-cancelled", 409, "The trip was cancelled",
             "Nothing is reserved for it, or taken for it."),
            ("trip-is-over", 422, "The trip is over", "Look at its dates again."),
            ("trip-ends-before-it-begins", 422, "The trip would end before it begins",
             "Look at its dates again."),
            ("trip-too-long", 422, "The trip would last more than a year",
             "Look at its dates again."),
            ("does-not-suit", 409, "The kit does not do for this trip",
             "“reasons” says why. Choose another kit, or add one that has what is missing."),
            ("not-reserved", 409, "The kit is not reserved for this trip", "Reserve it instead."),
            ("released-already", 409, "The kit is not reserved any more",
             "There is nothing to do."),
            ("link-too-old", 409, "The link has ended",
             "Tell whoever looks after the kits; they write it down."),
            ("told-already", 409, "It was told already", "There is nothing to do."),
            ("same-kit", 409, "It is that kit already",
             "Take it; or choose the other one."),
            # -------------------------------------------------------------------------- people
            ("same-person", 409, "It is the same person", "Choose the other one."),
            ("merged-already", 409, "They are one already", "There is nothing to do."),
            ("not-a-person", 409, "A program is no person", "Choose two people."),
            ("two-sign-ins", 409, "Both have a sign-in",
             "Say of one of them that they left, then merge."),
            # ------------------------------------------------------------------------- notices
            ("no-address", 422, "There is no address to send it to",
             "Give the person an email address first, or ring them."),
        ]
    }
)  # fmt: skip

NOUNS.update(
    {
        "batch": pgettext_lazy("not found", "batch"),
        "calendar": pgettext_lazy("not found", "calendar"),
        "entry": pgettext_lazy("not found", "entry"),
        "kit list": pgettext_lazy("not found", "kit list"),
        "kit": pgettext_lazy("not found", "kit"),
        "notice": pgettext_lazy("not found", "notice"),
        "other version of that kit list": pgettext_lazy(
            "not found", "other version of that kit list"
        ),
        "pack code": pgettext_lazy("not found", "pack code"),
        "photo": pgettext_lazy("not found", "photo"),
        "place": pgettext_lazy("not found", "place"),
        "recall": pgettext_lazy("not found", "recall"),
        "reservation": pgettext_lazy("not found", "reservation"),
        "row of this recall": pgettext_lazy("not found", "row of this recall"),
        "section of that kit list": pgettext_lazy("not found", "section of that kit list"),
        "shelf": pgettext_lazy("not found", "shelf"),
        "signed page of that version": pgettext_lazy("not found", "signed page of that version"),
        "such batch in this place": pgettext_lazy("not found", "such batch in this place"),
        "such substitute": pgettext_lazy("not found", "such substitute"),
        "thing": pgettext_lazy("not found", "thing"),
        "trip": pgettext_lazy("not found", "trip"),
        "version of that kit list": pgettext_lazy("not found", "version of that kit list"),
    }
)
