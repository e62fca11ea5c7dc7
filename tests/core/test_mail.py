"""Mail as files: complete, in order, never half there."""

import email
import os
from datetime import UTC, datetime
from email.policy import default
from pathlib import Path
from typing import Any

import pytest
import time_machine
from django.core.mail import EmailMessage, EmailMultiAlternatives
from pytest_django import Settings

from gearroom.core.mail import EmlBackend
from tests.present import present


@pytest.fixture
def outbox(tmp_path: Path, settings: Settings) -> Any:
    settings.EMAIL_OUTBOX_DIR = tmp_path / "outbox"
    return settings.EMAIL_OUTBOX_DIR


def letter(
    subject: str = "Kit DAY-01",
    to: list[Any] | tuple[str] = ("jo@example.org",),
    **more: Any,
) -> EmailMessage:
    return EmailMessage(subject, "Zwölf Mullkompressen\nfehlen.", "room@example.org", to, **more)


def test_it_writes_the_exact_bytes_that_a_mail_server_would_get(outbox: Any) -> None:
    message = letter(headers={"Message-ID": "<1@example.org>", "Date": "x"})
    assert EmlBackend().send_messages([message]) == 1
    (file,) = outbox.iterdir()
    assert file.read_bytes() == message.message().as_bytes(linesep="\r\n")  # type: ignore[call-arg]  # newer types
    assert b"\n" not in file.read_bytes().replace(b"\r\n", b"")


def test_it_writes_what_a_mail_program_can_read(outbox: Any) -> None:
    message = EmailMultiAlternatives("Grüße", "plain", "room@example.org", ["jo@example.org"])
    message.attach_alternative("<p>plain</p>", "text/html")
    EmlBackend().send_messages([message])
    (file,) = outbox.iterdir()
    read = email.message_from_bytes(file.read_bytes(), policy=default)
    assert read["Subject"] == "Grüße"
    assert present(read.get_body(["html"])).get_content().strip() == "<p>plain</p>"


def test_its_names_sort_by_the_time_of_sending_even_within_one_instant(outbox: Any) -> None:
    with time_machine.travel(datetime(2026, 3, 1, 7, tzinfo=UTC), tick=False) as clock:
        for number in range(30):
            EmlBackend().send_messages([letter(subject=str(number))])
            if number % 10 == 9:
                clock.shift(0.001)
    files = sorted(outbox.iterdir())
    subjects = [email.message_from_bytes(file.read_bytes())["Subject"] for file in files]
    assert subjects == [str(number) for number in range(30)]
    assert files[0].name.startswith("20260301T070000.000000Z-")
    assert {file.suffix for file in files} == {".eml"}


def test_it_leaves_a_message_for_nobody_out(outbox: Any) -> None:
    assert EmlBackend().send_messages([letter(to=[]), letter()]) == 1
    assert len(list(outbox.iterdir())) == 1


def test_it_keeps_blind_copies_out_of_the_file(outbox: Any) -> None:
    EmlBackend().send_messages([letter(bcc=["hidden@example.org"])])
    (file,) = outbox.iterdir()
    assert b"hidden@example.org" not in file.read_bytes()


def test_it_tells_when_it_cannot_write_unless_asked_to_be_silent(outbox: Any) -> None:
    outbox.write_text("a file where the folder should be")
    with pytest.raises(OSError, match="outbox"):
        EmlBackend().send_messages([letter()])
    assert EmlBackend(fail_silently=True).send_messages([letter()]) == 0


def test_it_shows_nothing_half_written(outbox: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    """When the disk refuses, no .eml is there to be taken for a message."""

    def full(_: Any) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(OSError, match="No space"):
        EmlBackend().send_messages([letter()])
    assert list(outbox.iterdir()) == []
