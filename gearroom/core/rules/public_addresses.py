"""Where the program may connect to by itself: public addresses, and what its operator allows.

An address that somebody typed, or that a name stands for, may be one inside the network that the
program runs in. Whoever can have it connected to could reach what only that network should.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from ipaddress import IPv4Address, IPv4Network, IPv6Address, IPv6Network, ip_network

from gearroom.core.rules.proxies import Network
from gearroom.core.rules.web_addresses import SECURE_PORT, WebAddress, host_and_port

_GLOBAL_UNICAST = IPv6Network("2000::/3")
"""All that is assigned to hosts (IANA, Internet Protocol Version 6 Address Space). Loopback,
unique local, link-local, site-local, multicast and addresses with an IPv4 address in them lie
outside."""
_TRANSLATED = (IPv6Network("::ffff:0:0/96"), IPv6Network("64:ff9b::/96"))
"""An IPv4 address in the last four bytes: as a socket may show it (RFC 4291, 2.5.5.2), and of a
network that translates (RFC 6052)."""
_SPECIAL = (
    # Beyond what Python knows as not global: protocol assignments with Teredo, 6to4,
    # documentation (IANA IPv4 and IPv6 Special-Purpose Address Registries).
    IPv4Network("192.0.0.0/24"),
    IPv4Network("192.88.99.0/24"),
    IPv6Network("2001::/23"),
    IPv6Network("2002::/16"),
    IPv6Network("3fff::/20"),
)


def is_public(address: IPv4Address | IPv6Address) -> bool:
    """Whether an address is one of a host that anybody may reach."""
    if isinstance(address, IPv6Address):
        if any(address in network for network in _TRANSLATED):
            return is_public(IPv4Address(address.packed[-4:]))
        if address.scope_id or address not in _GLOBAL_UNICAST:
            return False
    special = any(address.version == each.version and address in each for each in _SPECIAL)
    return address.is_global and not address.is_multicast and not special


@dataclass(frozen=True)
class AllowedInside:
    """What may be connected to although it is not public: hosts by name with a port, networks; and
    the ports of all other hosts."""

    hosts: frozenset[tuple[str, int]] = frozenset()
    networks: tuple[Network, ...] = ()
    ports: frozenset[int] = frozenset({SECURE_PORT})

    def port(self, to: WebAddress) -> bool:
        """Whether the port of an address may be used at all."""
        return to.port in self.ports or (to.host, to.port) in self.hosts

    def connection(self, to: WebAddress, address: IPv4Address | IPv6Address) -> bool:
        """Whether the host of an address may be reached where its name leads."""
        return (
            is_public(address)
            or (to.host, to.port) in self.hosts
            or any(address.version == each.version and address in each for each in self.networks)
        )


def allowed_inside(texts: Iterable[str]) -> AllowedInside:
    """What an operator allows: networks ("10.1.2.0/24"), and hosts ("booking.example.org",
    "10.1.2.3"), of another port than 443 with that ("booking.example.org:8443").

    Raises ValueError for what is none of these.
    """
    hosts, networks = set(), []
    for text in (each.strip() for each in texts):
        if "/" in text:
            networks.append(ip_network(text))
        elif text:
            hosts.add(host_and_port(text))
    return AllowedInside(frozenset(hosts), tuple(networks))
