"""Operations whose services ask nothing of who acts before they write, and why that is right."""

_LINK = "by the link that was sent to one person: whoever has it may do the one thing it is for"

NO_RIGHT_ASKED: dict[str, str] = {
    "page POST cleared/{link}/": _LINK,
    "page POST sign/{signature}/": _LINK,
    "page POST trip-advice/{link}/": _LINK,
    "page POST used/{link}/": _LINK,
    "page POST used/{link}/{time}/": _LINK,
    "page POST sign-in/new/{uid}/{token}/": _LINK,
    "page POST begin/": "nobody has a login yet: the code is what is asked for",
    "page POST begin/{claim}/": "nobody has a login yet: the code is what is asked for",
    "page POST reached/{link}/": "by the link on a page of an administrator; it notes a time",
    "page POST sign-in/": "whoever signs in is nobody yet: the password is what is asked for",
    "page POST sign-in/forgotten/": "nobody has to be signed in to say that they cannot sign in;"
    " what is written is that a mail goes to the address on record",
}
NO_ROOM_ASKED: dict[str, str] = {}

_PASSED_OVER = "a room that is not theirs is passed over for their own"
MAY_NAME: dict[tuple[str, str], str] = {
    ("POST stock/send/", "body room"): "something may be sent to any room",
    ("page POST stock/at/{place}/{lot}/ #send", "body send"): "something may be sent to any room",
    ("page POST stock/chosen/ #send", "body to_room"): "something may be sent to any room",
    (
        "PUT trips/{source}/{reference}/",
        "parts reference",
    ): "a booking system's reference names one trip of the whole organisation: no other has it",
    ("page POST labels/", "body room"): _PASSED_OVER,
    ("page POST labels/{code}/bind/", "body room"): _PASSED_OVER,
}
"""By operation and field, where what is another room's may be named, and why."""
