"""Why another program could not be reached, and the sentence that says what to do."""

from enum import StrEnum

from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _lazy


class Failure(StrEnum):
    """Why nothing came of a request. The codes are kept with what was tried."""

    NOT_AN_ADDRESS = "not-an-address"
    NOT_HTTPS = "not-https"
    CREDENTIALS = "credentials"
    PORT = "port"
    NOT_PUBLIC = "not-public"
    UNKNOWN_NAME = "unknown-name"
    NO_CONNECTION = "no-connection"
    CERTIFICATE = "certificate"
    TOO_SLOW = "too-slow"
    NO_ANSWER = "no-answer"
    TOO_LARGE = "too-large"
    TOO_MANY_REDIRECTS = "too-many-redirects"


class OutboundError(Exception):
    """Nothing came of a request, for this reason."""

    def __init__(self, failure: Failure) -> None:
        super().__init__(failure.value)
        self.failure = failure


FAILURE_TEXTS: dict[Failure, Promise] = {
    Failure.NOT_AN_ADDRESS: _lazy(
        "This is not a web address. It begins with https:// and the name of the server, such as "
        "https://booking.example.org/events."
    ),
    Failure.NOT_HTTPS: _lazy("The address has to begin with https://."),
    Failure.CREDENTIALS: _lazy("Leave out the user name and password in the address."),
    Failure.PORT: _lazy(
        "Only port 443 is used. The operator of this server can allow this host with its port in "
        "GEARROOM_INTERNAL_HOSTS."
    ),
    Failure.NOT_PUBLIC: _lazy(
        "The address leads into an internal network. The operator of this server can allow the "
        "host in GEARROOM_INTERNAL_HOSTS."
    ),
    Failure.UNKNOWN_NAME: _lazy("No server has this name. Check the address."),
    Failure.NO_CONNECTION: _lazy("The server cannot be reached."),
    Failure.CERTIFICATE: _lazy("The server’s certificate is not valid for this address."),
    Failure.TOO_SLOW: _lazy("The server took too long to answer."),
    Failure.NO_ANSWER: _lazy("The server ended the connection without a complete answer."),
    Failure.TOO_LARGE: _lazy("The answer is too large."),
    Failure.TOO_MANY_REDIRECTS: _lazy(
        "The address redirects too often. Enter the address that it leads to."
    ),
}
