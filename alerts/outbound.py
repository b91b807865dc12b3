"""Where a webhook may lead: how its address must be written, and which addresses of the internet it may reach.

An owner names any address, and our own machine then opens a connection to it: without these rules a farm could look
around in our network. A name is judged by what it resolves to at each try, just before it is called
(alerts.delivery.hook_call); nothing that was found once is believed later.

Special addresses: RFC 6890 and IANA's registries of special-purpose addresses. Special names: RFC 6761, 6762, 7686,
8375 and 9476.
"""

import re
from collections.abc import Iterable
from ipaddress import IPv4Address, IPv6Address, ip_address, ip_network
from urllib.parse import SplitResult, urlsplit

from django.conf import settings
from django.utils.translation import gettext_lazy as _

from farms.errors import Invalid

IP = IPv4Address | IPv6Address
LONGEST = 500
PLAIN = re.compile(r"[!-~]+")  # printable ASCII: no space, no control character, no digit of another script
LABEL = re.compile(r"[a-z0-9]([a-z0-9-]{0,61}[a-z0-9])?")
# What a browser would take for an IPv4 address in some other notation: 2130706433, 0x7f.1, 0177.0.0.1.
NUMBER = re.compile(r"[0-9]+|0x[0-9a-f]*")
OWN_NETWORK = ("localhost", "local", "internal", "intranet", "lan", "home", "corp", "private", "arpa", "onion", "alt")
NEVER_THERE = ("test", "invalid", "example")
UNICAST = ip_network("2000::/3")  # all that IANA has handed out of IPv6 so far
NAT64 = ip_network("64:ff9b::/96")  # RFC 6052: the last 32 bits are an IPv4 address
NEVER = [
    ip_network(each)
    for each in (
        "0.0.0.0/8", "10.0.0.0/8", "100.64.0.0/10", "127.0.0.0/8", "169.254.0.0/16", "172.16.0.0/12", "192.0.0.0/24",
        "192.0.2.0/24", "192.31.196.0/24", "192.52.193.0/24", "192.88.99.0/24", "192.168.0.0/16", "192.175.48.0/24",
        "198.18.0.0/15", "198.51.100.0/24", "203.0.113.0/24", "224.0.0.0/4", "240.0.0.0/4",
        # Some hosts of machines answer here with what a machine may know of itself; from memory.
        "168.63.129.16/32",
        # Teredo and 6to4 carry an IPv4 address within: nobody's server is there.
        "2001::/23", "2001:db8::/32", "2002::/16", "2620:4f:8000::/48", "3fff::/20",
    )
]  # fmt: skip


class WebhookAddressWrong(Invalid):
    code = "webhook_address_wrong"
    message = _(
        "Write the address as https://name/path, with a full name of the internet or a public IP address, without user"
        " and password and without #. Its port is 443 or above 1023."
    )


def checked(address: str) -> SplitResult:
    """The parts of an address that is written as it must be. Raises WebhookAddressWrong. Looks nothing up."""
    try:
        parts = urlsplit(address)
        port = parts.port
    except ValueError as error:
        raise WebhookAddressWrong(pointer="/address") from error
    if not (_is_plain(address) and _scheme_is_right(parts) and _port_is_right(port) and _host_is_right(parts)):
        raise WebhookAddressWrong(pointer="/address")
    return parts


def may_be_reached(address: IP) -> bool:
    """Whether an IP address is one of the open internet, or one that the tests are allowed."""
    return is_public(address) or _allowed_for_tests(address)


def is_public(address: IP) -> bool:
    """Whether an IP address is somebody's of the open internet: not ours, not a network's own, not for many at once."""
    inner = inner_address(address)
    if inner is not None:
        return is_public(inner)
    if isinstance(address, IPv6Address) and (address.scope_id is not None or address not in UNICAST):
        return False
    never = any(address in network for network in NEVER if network.version == address.version)
    return address.is_global and not address.is_multicast and not address.is_reserved and not never


def inner_address(address: IP) -> IPv4Address | None:
    """The IPv4 address that an IPv6 one leads to: mapped (RFC 4291), or behind a translator (RFC 6052)."""
    if isinstance(address, IPv4Address):
        return None
    if address.ipv4_mapped is not None:
        return address.ipv4_mapped
    return IPv4Address(int(address) & 0xFFFFFFFF) if address in NAT64 else None


def all_may_be_reached(addresses: Iterable[IP]) -> bool:
    """Whether there is an address at all, and every one may be reached: one bad answer spoils the good ones."""
    found = list(addresses)
    return bool(found) and all(may_be_reached(address) for address in found)


def literal(host: str) -> IP | None:
    """The IP address that a host is written as, if it is one."""
    try:
        return ip_address(host)
    except ValueError:
        return None


def _is_plain(address: str) -> bool:
    return len(address) <= LONGEST and PLAIN.fullmatch(address) is not None and not set(address) & set("\\#<>\"'`{}|^")


def _scheme_is_right(parts: SplitResult) -> bool:
    plain_too = ("https", "http") if settings.WEBHOOKS_TEST_NETWORKS else ("https",)
    return parts.scheme in plain_too and "@" not in parts.netloc and not parts.netloc.endswith(":")


def _port_is_right(port: int | None) -> bool:
    return port is None or port == 443 or port > 1023


def _host_is_right(parts: SplitResult) -> bool:
    host = parts.hostname or ""
    if (address := literal(host)) is not None:
        return ("[" in parts.netloc) == (address.version == 6) and may_be_reached(address)
    labels = host.split(".")
    if "[" in parts.netloc or len(labels) < 2 or len(host) > 253 or not all(LABEL.fullmatch(label) for label in labels):
        return False
    return not NUMBER.fullmatch(labels[-1]) and labels[-1] not in (*OWN_NETWORK, *NEVER_THERE)


def _allowed_for_tests(address: IP) -> bool:
    networks = (ip_network(each) for each in settings.WEBHOOKS_TEST_NETWORKS)
    return any(address in network for network in networks)
