"""Whose word is taken on who asks."""

import pytest

from gearroom.core.rules.proxies import client_address, networks

PROXIES = networks(["10.0.0.7", "10.1.0.0/24", "fd00::7"])


@pytest.mark.parametrize(
    ("peer", "forwarded", "client"),
    [
        ("192.0.2.1", "", "192.0.2.1"),
        ("192.0.2.1", "198.51.100.9", "192.0.2.1"),  # no proxy: may say what it likes
        ("10.0.0.7", "198.51.100.9", "198.51.100.9"),
        ("10.0.0.7", " 198.51.100.9 ", "198.51.100.9"),
        ("10.0.0.7", "203.0.113.5, 198.51.100.9", "198.51.100.9"),  # the left one is the client's
        ("10.0.0.7", "203.0.113.5, 198.51.100.9, 10.1.0.4", "198.51.100.9"),
        ("10.0.0.7", "10.1.0.4", "10.1.0.4"),
        ("10.0.0.7", "", "10.0.0.7"),
        ("10.0.0.7", "unknown", "10.0.0.7"),
        ("10.0.0.7", "198.51.100.9, ", "10.0.0.7"),
        ("10.0.0.7", "203.0.113.5, _hidden, 10.1.0.4", "10.1.0.4"),
        ("fd00::7", "2001:db8::9", "2001:db8::9"),
        ("::ffff:10.0.0.7", "198.51.100.9", "198.51.100.9"),
        ("10.0.0.7", "::ffff:198.51.100.9", "198.51.100.9"),
        ("", "198.51.100.9", ""),
        ("10.0.0.7", "1" * 10_000, "10.0.0.7"),
    ],
)
def test_it_is_read_from_the_right_while_it_is_a_proxys(
    peer: str, forwarded: str, client: str
) -> None:
    assert client_address(peer, forwarded, PROXIES) == client


def test_without_proxies_nobodys_word_is_taken() -> None:
    assert client_address("127.0.0.1", "198.51.100.9", ()) == "127.0.0.1"


@pytest.mark.parametrize("text", ["*", "proxy", "10.0.0.7/8", "10.0.0"])
def test_what_is_no_network_is_refused(text: str) -> None:
    with pytest.raises(ValueError):
        networks([text])
