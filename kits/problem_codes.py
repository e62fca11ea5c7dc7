"""What the gear room's own problems mean; see `gearroom.core.problem_codes`."""

from django.utils.translation import gettext_noop as _, pgettext_lazy

from gearroom.core.problem_codes import KINDS, NOUNS, ProblemKind

KINDS.update(
    {
        code: ProblemKind(status, title, what_to_do)
        for code, status, title, what_to_do in [
            # ---------------------------------------------------------------- a kit and who has it
            ("kit-is-out", 409, _("Somebody has this kit"),
             _("“person_name” and “since” show who has the kit and since when. If the kit is "
               "in front of you, hand it back for them first, then take it out.")),
            ("erased-already", 409, _("This person’s data has already been erased"),
             _("There is nothing to do.")),
            ("no-name", 422, _("A name is too short to search for"),
             _("Send names of at least 3 characters: shorter ones also occur inside other words.")),
            ("has-a-kit", 409, _("This person has a kit"),
             _("Hand the kit back or pass it on, then send the request again with a new key.")),
            ("leads-a-trip", 409, _("This person is leading or taking a kit on a future trip"),
             _("Enter somebody else for the trip, then send the request again with a new key.")),
            ("leader-has-no-address", 409, _("The trip’s leader is not named by email address"),
             _("Change the leader where the trip comes from.")),
            ("answers-for-a-kit", 409, _("This person is responsible for a kit"),
             _("Choose somebody else to be responsible, then send the request again with a new "
               "key.")),
            ("count-first", 409, _("The kit’s contents were mixed with another kit’s"),
             _("Count everything in the kit: this releases it. If its contents were not mixed up, "
               "undo the report.")),
            ("not-away", 409, _("Fewer items than that are still to be returned"),
             _("Reload the list of items that may be returned: somebody has already recorded some "
               "of them as returned or written off.")),
            ("not-here", 409, _("The item left with a casualty"),
             _("First record that it has been returned, and which shelf it is on.")),
            ("not-out", 409, _("This kit is not out"), _("Take the kit out first.")),
            ("who-takes-it", 422, _("Nobody has been chosen to take the kit"),
             _("Scan the guide’s tag, or choose who is taking it.")),
            ("due-in-the-past", 422, _("The return time has already passed"),
             _("Enter a time in the future.")),
            ("not-fit", 409, _("The kit may not go out as it is"),
             _("“reasons” lists each problem and its solution; “offers” lists what you can do now, "
               "quickest first. In an emergency the kit can always be taken: send “emergency”.")),
            ("short-needs-a-reason", 409, _("The kit is short of something"),
             _("“offers” lists what you can do now, quickest first: add what is missing, take "
               "another kit, or send “short_reason” or “cleared_by”.")),
            ("may-not-clear", 422, _("This person is not allowed to approve taking a kit"),
             _("“people” lists those who are. Call one of them, and name that person.")),
            ("answered-already", 409, _("This has already been answered"),
             _("There is nothing to do.")),
            ("not-yours", 403, _("Somebody else has to answer this"),
             _("The person named in “detail” can answer with the link that was sent to them, or "
               "after logging in.")),
            ("nothing-to-add", 409, _("No shelf here has what the kit is missing"),
             _("Take another kit, or restock this one from another gear room.")),
            ("kit-reserved", 409, _("The kit is reserved for a trip"),
             _("Choose another kit, or release the reservation.")),
            ("reserved-for-another", 409, _("The kit is reserved for somebody else’s trip"),
             _("“guide_name” and “trip_name” show who it is reserved for; “swap” names a kit that "
               "they can have instead: send “swap” as true, or send “take_reason”. If "
               "“uncovered_within_48h” is true, only a keeper may take it with a reason. In an "
               "emergency the kit can always be taken.")),
            ("another-kit-is-reserved", 409, _("Another kit is reserved for this trip"),
             _("Take that kit, or swap the two: send “swap” as true.")),
            ("kit-retired", 409, _("The kit has been retired"),
             _("Choose another kit, or add a new one.")),
            ("kit-missed", 409, _("The kit is reserved for trips"),
             _("“trips” has their ids: reserve another kit for these trips, or send them in "
               "“without”.")),
            ("confirm-expired", 409, _("Some of what is leaving is out of date, or its date is "
                                       "not known"),
             _("Remove it first, or tell whoever is getting it and send “expired” as true.")),
            ("kit-not-empty", 409, _("The kit is not empty"), _("Empty the kit first.")),
            ("laid-up-already", 409, _("The kit is already in storage"),
             _("There is nothing to do.")),
            ("not-laid-up", 409, _("The kit is not in storage"), _("There is nothing to do.")),
            ("not-withheld", 409, _("The kit is not on hold for this reason"),
             _("There is nothing to do.")),
            ("keep-as-it-came-back", 409, _("The kit must stay as it came back"),
             _("Nothing may be put in or removed until somebody with the right role releases the "
               "kit.")),
            ("sealed-already", 409, _("The kit already has this seal"),
             _("Check the number on the new seal again.")),
            ("seal-in-use", 409, _("Another kit has this seal"),
             _("Check the number again, or look at that kit.")),
            ("opened-since", 409, _("The kit has since been opened or resealed"),
             _("Check which seal is on the kit now, and enter its number.")),
            ("not-replaced", 409, _("Some of the items used have not been replaced"),
             _("“lines” lists them. Restock the kit first, or seal it as it is: send “anyway”.")),
            ("no-seal-on-record", 409, _("No seal is on record for this kit"),
             _("Check its contents, then seal it.")),
            ("deputy-is-another", 422, _("The deputy cannot be the responsible instructor"),
             _("Choose somebody else as deputy.")),
            ("training-stock-inside", 409, _("The kit contains training stock"),
             _("Empty the kit before you put it into use.")),
            # ------------------------------------------------------------------------------ labels
            ("which-kit", 409, _("This could be one of several kits"),
             _("“kits” lists them. Specify one.")),
            ("not-a-kit", 422, _("This label is not on a kit"), _("Scan the label on the kit.")),
            ("wrong-label", 422, _("This label is on something else"),
             _("“means” shows what it is on. Scan the right label.")),
            ("label-bound", 409, _("The label is already in use"),
             _("Use another blank label. If this label was moved, cancel it there first and print "
               "a new one.")),
            ("label-cancelled", 409, _("The label has been cancelled"),
             _("Remove it. If the item is in use, put a new label on.")),
            # ------------------------------------------------------------------------------- stock
            ("not-enough", 409, _("There are fewer units on record than that"),
             _("If there are more, count the place first, so that what you find is recorded.")),
            ("not-asked-for", 422, _("This item is not on the kit list"),
             _("Leave it out of the request, or put it in as an extra item.")),
            ("wrong-bin", 409, _("This item must be disposed of in a different way"),
             _("“detail” gives the right way.")),
            ("place-closed", 409, _("The place is no longer in use"), _("Choose another place.")),
            ("shelf-not-empty", 409, _("The shelf is not empty"),
             _("Move the items on it, or count the shelf.")),
            ("location-in-use", 409, _("Something is still kept at the location"),
             _("Choose another location for its kits and shelves.")),
            ("nothing-to-move", 409, _("Nothing has to be moved because of the weather"),
             _("Reload the page: the items may have been moved already.")),
            ("restock-instead", 409, _("Items cannot be moved into a kit"),
             _("Restock the kit or fill it instead.")),
            ("send-instead", 409, _("The place is in another gear room"),
             _("Send the item there, then record its arrival.")),
            ("not-for-class", 409, _("This may not be used in class"),
             _("Dispose of it in its own way: medicines, sharps and clinical waste are never used "
               "in class.")),
            ("training-never-back", 409, _("Training stock cannot go back into use"),
             _("Dispose of it when it is worn out.")),
            ("opened-already", 409, _("This has already been recorded as opened"),
             _("There is nothing to record.")),
            ("no-opened-life", 409, _("The expiry date does not change once this is opened"),
             _("There is nothing to record.")),
            ("withdrawn-already", 409, _("This change has already been withdrawn"),
             _("There is nothing to review.")),
            ("nothing-to-take-out", 409, _("Nothing needs to be removed"),
             _("There is nothing to do.")),
            ("nothing-to-correct", 409, _("This is already on record"),
             _("Enter only the details that differ on the pack.")),
            ("serial-known-otherwise", 409, _("The serial number is on record with other details"),
             _("Leave the lot number and the expiry date empty, or correct the batch first.")),
            ("instrument-held", 409, _("The instrument is on record in another place"),
             _("Move the instrument from there, or check its serial number again.")),
            ("not-an-instrument", 422, _("This is not an instrument"),
             _("Only instruments have regular checks.")),
            # -------------------------------------------------------- what is never put into a kit
            ("expired", 409, _("This is out of date"),
             _("Use another batch, and dispose of this one.")),
            ("recalled", 409, _("This has been recalled by its maker"),
             _("Put it in quarantine and follow the instructions in the recall.")),
            ("withheld", 409, _("This is on hold"), _("Use another one until this one is "
                                                      "released.")),
            ("failed-check", 409, _("This failed its check"),
             _("Use another one, and have this one repaired.")),
            ("unsigned-medicine", 409, _("This medicine is not on a signed list for the kit"),
             _("Ask the medical adviser to sign a list that includes it.")),
            ("undated", 409, _("The expiry date is not known"),
             _("Read the date on the pack and correct the batch, or use another batch.")),
            ("training-stock", 409, _("This is for training only"),
             _("Training stock may only go into training kits. Use another item.")),
            # --------------------------------------------------------------- putting right, recalls
            ("built-on", 409, _("Later records depend on this one"),
             _("“later” lists them. Send the request again with “together” and, as “through”, the "
               "last entry listed. If “together” is false in the answer, count what is there "
               "now.")),
            ("reversed-already", 409, _("This has already been corrected"),
             _("There is nothing to do.")),
            ("not-reversible", 409, _("This cannot be undone"),
             _("“detail” explains what to do instead.")),
            ("closed-already", 409, _("The recall is already closed"),
             _("There is nothing to do.")),
            ("units-not-accounted-for", 409, _("Not all of the recalled batch is accounted for"),
             _("Settle what is named in “detail”, or send a reason for finishing the recall "
               "anyway.")),
            ("recall-open", 409, _("The recall is still open"),
             _("Continue with the open recall.")),
            ("not-withdrawn", 409, _("The maker has not withdrawn the recall"),
             _("Return the units or dispose of them; or close the recall as withdrawn and enter "
               "where the withdrawal is published.")),
            ("nothing-to-put-back", 409, _("No units may go back on a shelf"),
             _("Either none of the recalled units are in quarantine, or those that are there may "
               "not be used for another reason, such as their expiry date. “detail” says which.")),
            ("recalled-already", 409, _("There is already an open recall like this"),
             _("Continue with that recall.")),
            # ----------------------------------------------------------------- kit lists, catalogue
            ("draft-there", 409, _("There is already a draft of this list"),
             _("Continue with that draft.")),
            ("list-empty", 409, _("The list is empty"), _("Add an item first.")),
            ("hazard-not-served", 409, _("The list lacks what one of its hazards requires"),
             _("“lacking” says what. Add it, or say under “not_carried” why it is left out; or "
               "send “anyway” to publish the list as it is.")),
            ("must-have-lowered", 409, _("A must-have would be left out or lowered"),
             _("“lists” names the lists. Ask the medical adviser to decide, then send “anyway”.")),
            ("not-published", 409, _("The list is a draft"), _("Publish it first.")),
            ("published-already", 409, _("A published version cannot be changed"),
             _("Create a new draft from it.")),
            ("follows-already", 409, _("The kit already uses this version"),
             _("There is nothing to do.")),
            ("signature-in-the-past", 422, _("The last day of the signature is in the past"),
             _("Enter today or a later day.")),
            ("on-a-kit-list", 409, _("This item is on kit lists that are in use"),
             _("First publish versions without the item, and switch the kits to them.")),
            ("units-in-the-book", 409, _("Units of this item are on record"),
             _("After this change the record would no longer describe them. Add a new item "
               "instead.")),
            ("pack-code-taken", 409, _("This pack code belongs to another item"),
             _("Remove the code from that item first.")),
            # ------------------------------------------------------------------------------- trips
            ("trip-cancelled", 409, _("The trip has been cancelled"),
             _("Kits cannot be reserved for this trip or taken out for it.")),
            ("trip-is-over", 422, _("The trip is over"), _("Check the trip’s dates.")),
            ("trip-ends-before-it-begins", 422, _("The trip would end before it begins"),
             _("Check the trip’s dates.")),
            ("trip-more-than-once", 422, _("The same trip is in the request more than once"),
             _("Each trip may be in a request once. Nothing was done about this one.")),
            ("trip-too-long", 422, _("The trip would last more than a year"),
             _("Check the trip’s dates.")),
            ("does-not-suit", 409, _("The kit is not suitable for this trip"),
             _("“reasons” explains why. Choose another kit, or add one that has what is missing.")),
            ("not-reserved", 409, _("The kit is not reserved for this trip"),
             _("Reserve the kit instead.")),
            ("released-already", 409, _("The kit is no longer reserved"),
             _("There is nothing to do.")),
            ("link-too-old", 409, _("The link has expired"),
             _("Tell a keeper of the gear room your answer: they can record it.")),
            # ------------------------------------------------------------------------ advice
            ("advice-off", 409, _("Advice for others is turned off"),
             _("An administrator can turn advice for others on in the settings.")),
            ("not-a-sender", 403, _("This person may not send advice"),
             _("An administrator chooses who may send advice, in the settings.")),
            ("advice-sent", 409, _("The answer has already been sent"),
             _("Ask whoever sent the link for a new one, or for a corrected answer.")),
            ("advice-withdrawn", 409, _("The advice has been withdrawn"),
             _("The advice can no longer be used or changed. Make a new link.")),
            ("not-answered-yet", 409, _("The questions have not been answered yet"),
             _("Wait for the answers, then look at the draft.")),
            ("names-a-medicine", 422, _("Advice never includes medicines"),
             _("Remove the medicine: advice for others never includes one.")),
            ("names-a-dose", 422, _("Advice never gives doses"),
             _("Remove the dose from the text: advice for others never includes one.")),
            ("needs-training", 422, _("Nobody in the group is trained for this"),
             _("Choose something else, or write under “not carried” that somebody has to be "
               "trained.")),
            ("must-have-left-out", 422, _("The trip must have something for this need"),
             _("Add an item for it; “needs” lists what is missing.")),
            ("duty-not-confirmed", 422, _("The duty of care was not confirmed"),
             _("Send “duty_confirmed” as true once you have read the text about the duty of "
               "care.")),
            ("told-already", 409, _("This has already been reported"),
             _("There is nothing to do.")),
            ("same-kit", 409, _("The kit is already the one on record"),
             _("Take this kit, or choose a different one.")),
            # -------------------------------------------------------------------------- people
            # -------------------------------------------------------------------------- orders
            ("draft-open", 409, _("There is already a draft of this order"),
             _("Change or discard that draft, or send “replace” as true.")),
            ("ordered-already", 409, _("This has already been ordered"),
             _("Draft a new order for what is still needed.")),
            ("order-empty", 409, _("There is nothing in this order"), _("Add a line first.")),
            ("order-begun", 409, _("Part of this order has already arrived or been cancelled"),
             _("Cancel what is still to come.")),
            ("not-ordered", 409, _("This order has not been sent to the supplier yet"),
             _("Send the order to the supplier and record it as ordered first.")),
            ("nothing-open", 409, _("There is nothing to change"), _("There is nothing to do.")),
            ("same-person", 409, _("This is the same person"), _("Choose the other person.")),
            ("merged-already", 409, _("These people have already been merged"),
             _("There is nothing to do.")),
            ("not-a-person", 409, _("This is a program, not a person"), _("Choose two people.")),
            ("two-sign-ins", 409, _("Both people have a login"),
             _("Record that one of them has left, then merge them.")),
            # ------------------------------------------------------------------------- notices
            ("no-address", 422, _("This person has no email address on record"),
             _("Add an address first, or call them.")),
            # -------------------------------------------------------------- events and webhooks
            ("cursor-of-another-time", 422, _("The cursor does not fit the events on record"),
             _("Read again what you need to know, then the events from the oldest on, without "
               "“after”.")),
            ("too-many-webhooks", 409, _("There are too many webhooks"),
             _("Remove one that is no longer needed.")),
            ("not-next", 409, _("This event is not the next one"),
             _("Read which event is sent next, and decide again.")),
        ]
    }
)  # fmt: skip

NOUNS.update(
    {
        "clearance": pgettext_lazy("not found", "approval"),
        "batch": pgettext_lazy("not found", "batch"),
        "calendar": pgettext_lazy("not found", "calendar"),
        "entry": pgettext_lazy("not found", "entry"),
        "event": pgettext_lazy("not found", "event"),
        "kit list": pgettext_lazy("not found", "kit list"),
        "kit": pgettext_lazy("not found", "kit"),
        "location": pgettext_lazy("not found", "location"),
        "notice": pgettext_lazy("not found", "notification"),
        "order": pgettext_lazy("not found", "order"),
        "other version of that kit list": pgettext_lazy(
            "not found", "other version of this kit list"
        ),
        "line of what that kit list leaves out": pgettext_lazy(
            "not found", "line of what this kit list leaves out"
        ),
        "pack code": pgettext_lazy("not found", "pack code"),
        "photo": pgettext_lazy("not found", "photo"),
        "place": pgettext_lazy("not found", "place"),
        "recall": pgettext_lazy("not found", "recall"),
        "reservation": pgettext_lazy("not found", "reservation"),
        "row of this recall": pgettext_lazy("not found", "entry in this recall"),
        "section of that kit list": pgettext_lazy(
            "not found", "section in this kit list with the key"
        ),
        "shelf": pgettext_lazy("not found", "shelf"),
        "signed page of that version": pgettext_lazy("not found", "signed page for this version"),
        "such batch in this place": pgettext_lazy("not found", "stock of this batch in this place"),
        "such substitute": pgettext_lazy("not found", "substitute called"),
        "thing": pgettext_lazy("not found", "item"),
        "trip": pgettext_lazy("not found", "trip"),
        "version of that kit list": pgettext_lazy(
            "not found", "version of this kit list with the number"
        ),
        "webhook": pgettext_lazy("not found", "webhook"),
    }
)
