"""Which addresses this machine has in the house, and what may stand in a certificate of ours."""

from __future__ import annotations

from collections.abc import Iterable
from ipaddress import IPv4Address, IPv4Network, IPv6Address, IPv6Network, ip_address, ip_network

Address = IPv4Address | IPv6Address
Network = IPv4Network | IPv6Network

PRIVATE: tuple[Network, ...] = tuple(
    ip_network(text)
    for text in (
        "10.0.0.0/8",
        "172.16.0.0/12",
        "192.168.0.0/16",
        "127.0.0.0/8",
        "169.254.0.0/16",
        "::1/128",
        "fc00::/7",
        "fe80::/10",
    )
)
"""RFC 1918, RFC 4193, and what reaches no further than a cable (loopback, link-local)."""

MOST_ADDRESSES = 32


def is_private(address: Address) -> bool:
    return any(address.version == network.version and address in network for network in PRIVATE)


def plain(text: str) -> Address | None:
    """The address in a text, of version 4 where it came over a socket of version 6 as one. None: that is no address."""
    try:
        address = ip_address(text.partition("%")[0])
    except ValueError:
        return None
    return (address.ipv4_mapped or address) if isinstance(address, IPv6Address) else address


def present(host: str) -> tuple[str, ...]:
    """The addresses by which a phone reaches a server that listens on `host`; a wildcard means all of the machine's.

    Link-local addresses of version 6 are left out: a browser can't call them.
    """
    asked = plain(host)
    if asked is not None and not asked.is_unspecified:
        return (str(asked),)
    has_six = asked is None or asked.version == 6
    addresses = {each for each in _of_this_machine() if is_private(each) and not each.is_loopback}
    usable = sorted(
        (each for each in addresses if each.version == 4 or (has_six and not each.is_link_local)), key=_order
    )
    return tuple(str(each) for each in usable[:MOST_ADDRESSES])


def _order(address: Address) -> tuple[bool, int, int]:
    return (address.is_link_local, address.version, int(address))


def _of_this_machine() -> Iterable[Address]:
    # Only who opens the house to its network waits for this import.
    import ifaddr

    for adapter in ifaddr.get_adapters():
        for ip in adapter.ips:
            address = plain(ip.ip if isinstance(ip.ip, str) else ip.ip[0])
            if address is not None:
                yield address
