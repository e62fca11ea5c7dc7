"""The installation's settings on pages: who may, what the environment sets, address and mail."""

import smtplib
import socket
from typing import Any

import pytest
from django.core import mail
from django.test import Client

from gearroom.core.models import Installation, InstallationChange, Person
from gearroom.core.models.installation import announce, current, remember
from gearroom.core.rules.roles import Role
from gearroom.core.services.installation import installation, mail_server
from gearroom.core.setup.hosts import AllowedHosts
from tests.kits import factories as make
from tests.site.browsing import PAGES_ON_SQLITE, browser, post, text_of

pytestmark = PAGES_ON_SQLITE

NAMES = {"organisation": "Umberfell", "time_zone": "UTC", "language": "de"}
MAIL = {
    "mail_from": "Gear <gear@umberfell.example>",
    "mail_host": "mail.umberfell.example",
    "mail_port": "465",
    "mail_security": "tls",
    "mail_user": "gear",
    "mail_password": "quite secret",
}
KEPT = "gearroom.core.services.installation.mail_server.backend"


@pytest.fixture
def chief(db: None) -> Person:
    return make.person("Ada", Role.ADMINISTRATOR)


def test_what_is_saved_holds_at_once_and_who_changed_it_is_on_record(chief: Person) -> None:
    client = browser(chief)
    post(client, "/settings/installation/", **NAMES)

    assert (current().organisation, current().language) == ("Umberfell", "de")
    assert current().quiet_hours == ()
    change = InstallationChange.objects.get()
    assert change.person == chief and "organisation" in change.fields
    assert "Umberfell" in text_of(Client().get("/sign-in/"))
    page = text_of(client.get("/settings/installation/"))
    assert "Ada, Organisation" in page


def test_saved_again_it_is_no_change(chief: Person) -> None:
    client = browser(chief)
    for _ in range(2):
        post(client, "/settings/installation/", **NAMES)
    assert InstallationChange.objects.count() == 1


def test_the_environment_wins_and_the_page_says_so(chief: Person, settings: Any) -> None:
    settings.ORGANISATION = "From outside"
    client = browser(chief)
    page = client.get("/settings/installation/")

    assert "GEARROOM_ORGANISATION" in text_of(page) and "disabled" in page.content.decode()
    post(client, "/settings/installation/", **NAMES)
    assert current().organisation == "From outside"
    assert Installation.objects.get().organisation == ""


def test_only_an_administrator_of_every_room_may(db: None) -> None:
    room = make.room()
    for person in (
        make.person("Kim", Role.KEEPER, room),
        make.person("R", Role.ADMINISTRATOR, room),
    ):
        for page in ("installation", "address", "mail"):
            assert browser(person).get(f"/settings/{page}/").status_code == 403
            assert post(browser(person), f"/settings/{page}/", **NAMES, **MAIL).status_code == 403
    assert not Installation.objects.exists()


def test_a_process_that_read_before_reads_again_once_somebody_else_changed_it(
    chief: Person,
) -> None:
    remember(Installation())
    Installation.objects.create(organisation="Elsewhere")  # as another process does
    assert current().organisation == ""
    announce()
    assert current().organisation == "Elsewhere"


def test_settings_cost_no_query_on_a_page(chief: Person, django_assert_num_queries: Any) -> None:
    with django_assert_num_queries(0):
        current()


# -------------------------------------------------------------------------------------- address
def test_an_address_is_tried_by_a_phone(chief: Person) -> None:
    client = browser(chief)
    post(client, "/settings/address/", public_url="http://testserver/")
    assert "No phone has reached this address yet" in text_of(client.get("/settings/address/"))

    link = installation.link_to_try().removeprefix("http://testserver")
    assert Installation.objects.get().reached_at is None
    assert Client().get(link).status_code == 200
    assert Installation.objects.get().reached_at is None  # reading changes nothing
    assert "now shows this" in text_of(Client().post(link))
    assert "A phone has reached this address" in text_of(client.get("/settings/address/"))

    post(client, "/settings/address/", public_url="https://gear.example.org")
    assert "No phone has reached this address yet" in text_of(client.get("/settings/address/"))
    assert "too old" in text_of(Client().post(link))


def test_a_phone_that_came_by_another_address_does_not_count(chief: Person) -> None:
    post(browser(chief), "/settings/address/", public_url="https://gear.example.org")
    link = installation.link_to_try().removeprefix("https://gear.example.org")
    assert "Reached at another address" in text_of(Client().post(link))
    assert Installation.objects.get().reached_at is None


@pytest.mark.parametrize("typed", ["gear.example.org", "ftp://x", "https://a/b", "https://a:b"])
def test_what_is_no_address_is_refused(chief: Person, typed: str) -> None:
    answer = post(browser(chief), "/settings/address/", public_url=typed)
    assert answer.status_code == 400 and "is not a web address" in text_of(answer)


def test_the_public_host_is_answered_to(chief: Person) -> None:
    hosts = AllowedHosts(["localhost"])
    assert list(hosts) == ["localhost"]
    post(browser(chief), "/settings/address/", public_url="https://gear.example.org:8443")
    assert list(hosts) == ["localhost", "gear.example.org"]


def test_forms_sent_from_the_public_address_behind_a_proxy_are_taken(chief: Person) -> None:
    post(browser(chief), "/settings/address/", public_url="https://testserver")
    strict = Client(enforce_csrf_checks=True)
    strict.get("/sign-in/")
    token = strict.cookies["csrftoken"].value
    form = {"username": "nobody", "password": "x", "csrfmiddlewaretoken": token}
    for origin, status in (("https://testserver", 403), ("https://evil.example", 403)):
        answer = strict.post("/sign-in/", form, headers={"Origin": origin})
        taken = "do not match" in text_of(answer)
        assert (answer.status_code, taken) == (status, origin == "https://testserver")


def test_cookies_are_for_tls_alone_where_the_address_has_it(chief: Person) -> None:
    post(browser(chief), "/settings/address/", public_url="https://testserver")
    answer = Client().get("/sign-in/", headers={"Host": "testserver"})
    assert answer.cookies["csrftoken"]["secure"]
    assert "max-age" in answer["Strict-Transport-Security"]
    elsewhere = Client().get("/sign-in/", headers={"Host": "localhost"})
    assert not elsewhere.cookies["csrftoken"]["secure"]


# ----------------------------------------------------------------------------------------- mail
def test_a_password_is_kept_encrypted_and_never_shown(chief: Person, settings: Any) -> None:
    settings.EMAIL_BACKEND = KEPT
    client = browser(chief)
    post(client, "/settings/mail/", **MAIL)

    row = Installation.objects.get()
    assert "quite secret" not in row.mail_password
    assert mail_server.decrypted(row.mail_password) == "quite secret"
    connection: Any = mail.get_connection()
    assert (connection.host, connection.use_ssl, connection.password) == (
        "mail.umberfell.example", True, "quite secret",
    )  # fmt: skip
    assert "quite secret" not in client.get("/settings/mail/").content.decode()
    post(client, "/settings/mail/", **{**MAIL, "mail_password": ""})
    assert mail_server.decrypted(Installation.objects.get().mail_password) == "quite secret"


def test_a_kept_password_goes_to_no_other_server(chief: Person, settings: Any) -> None:
    settings.EMAIL_BACKEND = KEPT
    client = browser(chief)
    post(client, "/settings/mail/", **MAIL)
    post(client, "/settings/mail/", **{**MAIL, "mail_host": "evil.example", "mail_password": ""})
    assert Installation.objects.get().mail_password == ""


def test_another_secret_key_asks_for_the_password_again(chief: Person, settings: Any) -> None:
    kept = mail_server.encrypted("quite secret")
    settings.SECRET_KEY = "another" * 10
    assert mail_server.decrypted(kept) == ""


def test_without_a_mail_server_the_letter_is_saved_as_a_file(
    chief: Person, settings: Any, tmp_path: Any
) -> None:
    settings.EMAIL_BACKEND, settings.EMAIL_OUTBOX_DIR = KEPT, tmp_path
    answer = post(browser(chief), "/settings/mail/", **{"try": "1", "to": "ada@umberfell.example"})
    assert "was saved as a file" in text_of(answer)
    assert b"Subject: Emails from" in next(tmp_path.glob("*.eml")).read_bytes()


@pytest.mark.parametrize(
    ("error", "says"),
    [
        (socket.gaierror(), "no mail server with this name"),
        (ConnectionRefusedError(), "No mail server answers under this name"),
        (TimeoutError(), "did not answer in time"),
        (smtplib.SMTPAuthenticationError(535, b"5.7.8 no"), "answered: 535 5.7.8 no"),
        (smtplib.SMTPRecipientsRefused({"a": (550, b"gone")}), "answered: 550 gone"),
        (OSError("odd"), "could not be sent"),
    ],
)
def test_what_happened_to_the_letter_is_said(
    chief: Person, settings: Any, monkeypatch: pytest.MonkeyPatch, error: Exception, says: str
) -> None:
    settings.EMAIL_BACKEND = KEPT

    def fails(*_: Any, **__: Any) -> None:
        raise error

    monkeypatch.setattr("smtplib.SMTP_SSL", fails)
    answer = post(
        browser(chief), "/settings/mail/", **MAIL, **{"try": "1", "to": "ada@umberfell.example"}
    )
    assert answer.status_code == 200
    assert "The test email was not sent" in text_of(answer) and says in text_of(answer)


def test_a_letter_goes_to_no_senseless_address(chief: Person) -> None:
    for to in ("", "nobody", "a@b@c"):
        answer = post(browser(chief), "/settings/mail/", **{"try": "1", "to": to})
        assert answer.status_code == 400


def test_mail_that_the_environment_sets_is_left(chief: Person, settings: Any) -> None:
    settings.EMAIL_BACKEND = "django.core.mail.backends.locmem.EmailBackend"
    client = browser(chief)
    assert "EMAIL_URL" in text_of(client.get("/settings/mail/"))
    post(client, "/settings/mail/", **MAIL)
    assert Installation.objects.get().mail_host == ""
