"""Who asks, where proxies stand in front: their word on it is taken, and none else's.

A proxy appends the address that it was asked from to X-Forwarded-For; what stands to the left of
that was sent by the client, who may write what they like.
"""

from collections.abc import Iterable, Sequence
from ipaddress import IPv4Address, IPv4Network, IPv6Address, IPv6Network, ip_address, ip_network

Network = IPv4Network | IPv6Network


def networks(texts: Iterable[str]) -> tuple[Network, ...]:
    """Networks out of addresses ("10.0.0.7", "::1") and prefixes ("10.0.0.0/28").

    Raises ValueError for what is neither.
    """
    return tuple(ip_network(text.strip()) for text in texts if text.strip())


def client_address(peer: str, forwarded: str, proxies: Sequence[Network]) -> str:
    """The address of who asks.

    peer       the address that the connection comes from; "" where it has none
    forwarded  the header X-Forwarded-For, or ""
    proxies    whose word on it is taken

    It is read from the right for as long as an address is a proxy's; what is no address ends it.
    """
    client, steps = peer, forwarded.split(",")
    while _is_in(client, proxies) and steps:
        if (step := _address(steps.pop().strip())) is None:
            break
        client = str(step)
    return client


def _is_in(address: str, proxies: Sequence[Network]) -> bool:
    known = _address(address)
    return known is not None and any(known in network for network in proxies)


def _address(text: str) -> IPv4Address | IPv6Address | None:
    try:
        result = ip_address(text)
    except ValueError:
        return None
    return getattr(result, "ipv4_mapped", None) or result
