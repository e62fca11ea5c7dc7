"""What the words of people, gear rooms and tokens mean in the API; see `openapi.glossary`."""

from gearroom.core.api.openapi.glossary import FIELDS, PARAMETERS, TAGS

FIELDS.update(
    {
        # ------------------------------------------------------------------------------- pages
        "next": ("The address of the next page", "this is the last one"),
        "previous": ("The address of the page before", "this is the first one"),
        "results": "The rows of this page, in the order of the list.",
        # ---------------------------------------------------------------------------- problems
        "ProblemDocument.title": "What kind of problem this is, in a few words.",
        "ProblemDocument.status": "The HTTP status of the answer.",
        # ------------------------------------------------------------------------------ people
        "username": ("The name to log in with", "without a login"),
        "email": ("An email address", "it may not be seen"),
        "language": "The language of pages and emails, such as en-gb; empty: not chosen.",
        "left_on": ("The day this person left", "they are still here"),
        "roles": "What this person may do, and in which gear rooms.",
        "role": "What somebody may do: a role, from guide to administrator.",
        "RoleBody.room": ("The gear room that the role is for: name or slug", "all gear rooms"),
        "RoleShown.room": ("The gear room that the role is for, by its slug", "all gear rooms"),
        "PersonShown.home_room": ("The person's own gear room, by its slug", "none"),
        "PersonBody.home_room": ("The person's own gear room: name or slug", "none"),
        "phone": "A telephone number; empty: none, or it may not be seen.",
        # -------------------------------------------------------------------------- gear rooms
        "slug": "The short name used in addresses and in the API.",
        "time_zone": "The time zone of the gear room, from the IANA database.",
        "how_to_return": "What anyone who finds a kit reads about how to return it.",
        "closing_time": "When a kit taken out without a trip is due back, such as 18:00.",
        "sorting_nights": "The least number of nights between a kit's return and its next trip.",
        "guides_decide_important": "A guide may take out a kit that is short of an important item,"
        " with a reason.",
        "expired_always_stops": "A kit with anything out of date inside may not be taken out.",
        "opening_pays_from": "How much money it has to save to open a sealed kit only to exchange"
        " batches.",
        # ------------------------------------------------------------------------------ tokens
        "scopes": "What the token may be used for.",
        "prefix": "How the token begins, so that its owner can tell it from others.",
        "created_at": "When it was made.",
        "expires_at": ("When it ends", "it does not end by itself"),
        "last_used_at": ("When it was last used, to the minute", "never"),
        "revoked_at": ("When it was revoked", "it is still valid, or has ended by itself"),
    }
)
PARAMETERS.update(
    {
        "room": "Only what is of this gear room: its name or slug.",
        "person": "Only what is of this person, by id.",
        "people/{id}": "The person's id.",
        "tokens/{id}": "The token's id.",
        "rooms/{room}": "The gear room's slug.",
        "{room}": "The gear room's slug.",
    }
)
TAGS.update(
    {
        "people": "Everybody who can have a kit, with or without a login, and their roles.",
        "rooms": "Gear rooms and their rules.",
        "tokens": "Tokens with which programs call this API.",
        "redactions": "Which names were erased, when and by whom.",
    }
)
