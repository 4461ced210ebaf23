"""Which addresses and names this machine has on its local network, found without sending a packet."""

from __future__ import annotations

import ipaddress
import socket
import struct
from dataclasses import dataclass

from coldlash.errors import InputError
from coldlash.language import say

# Blocks that are never routed on the internet (IANA special-purpose address registries, RFC 6890 and
# updates: private use, link-local, loopback, carrier-shared, benchmarking, documentation, unique local).
# They bound both who may connect and what a certificate of ours may stand for.
NOT_ON_THE_INTERNET: tuple[ipaddress.IPv4Network | ipaddress.IPv6Network, ...] = tuple(
    ipaddress.ip_network(block)
    for block in (
        "10.0.0.0/8",
        "172.16.0.0/12",
        "192.168.0.0/16",
        "169.254.0.0/16",
        "127.0.0.0/8",
        "100.64.0.0/10",
        "198.18.0.0/15",
        "192.0.2.0/24",
        "198.51.100.0/24",
        "203.0.113.0/24",
        "::1/128",
        "fe80::/10",
        "fc00::/7",
        "2001:db8::/32",
    )
)

LOOPBACK_NAMES = frozenset({"localhost", "127.0.0.1", "::1"})

_SIOCGIFADDR = 0x8915  # linux/sockios.h
_PROBES = ("10.255.255.255", "192.168.255.255", "172.31.255.255", "169.254.255.255")
_VIRTUAL = ("lo", "docker", "br-", "veth", "virbr", "vmnet", "podman")


@dataclass(frozen=True, slots=True)
class Surroundings:
    """How the machine can be reached: IPv4 ``addresses`` (best first) and ``names``, all lower case."""

    addresses: tuple[str, ...]
    names: tuple[str, ...]

    @property
    def hosts(self) -> frozenset[str]:
        """Every name and address a request may carry in its Host header on the local network."""
        return frozenset(self.addresses) | frozenset(self.names)


def is_local(address: str) -> bool:
    """True for an address inside the blocks that are never routed on the internet."""
    try:
        parsed = ipaddress.ip_address(address.partition("%")[0])
    except ValueError:
        return False
    if isinstance(parsed, ipaddress.IPv6Address) and parsed.ipv4_mapped is not None:
        parsed = parsed.ipv4_mapped
    return any(parsed in block for block in NOT_ON_THE_INTERNET if block.version == parsed.version)


def is_loopback(address: str) -> bool:
    """True for 127.0.0.0/8 and ::1."""
    try:
        return ipaddress.ip_address(address).is_loopback
    except ValueError:
        return False


def look_around() -> Surroundings:
    """This machine's local-network addresses and names.

    Reads the interfaces and the host name only: no lookup, no packet. Raises InputError if the machine has no
    address on a local network.
    """
    found = _addresses()
    usable = tuple(address for address in found if is_local(address) and not is_loopback(address))
    if not usable:
        seen = ", ".join(found) if found else "none"
        raise InputError(
            say(
                "this machine has no address on a local network (addresses found: {seen}); connect it to "
                "the Wi-Fi or cable network the phone is on, then start again",
                seen=seen,
            )
        )
    return Surroundings(usable, host_names(socket.gethostname()))


def host_names(host: str) -> tuple[str, ...]:
    """The names the machine answers to: its ``.local`` name, and its full name where it has one.

    A name without a dot is left out on purpose: some are top-level domains of the internet.
    """
    host = host.strip().rstrip(".").lower()
    if not host or not all(_is_label(label) for label in host.split(".")) or host == "localhost":
        return ()
    first = host.split(".")[0]
    names = [f"{first}.local"]
    if "." in host and host not in names:
        names.append(host)
    return tuple(names)


def _is_label(label: str) -> bool:
    return (
        0 < len(label) <= 63
        and label.isascii()
        and all(c.isalnum() or c == "-" for c in label)
        and label[0] != "-" != label[-1]
    )


def _addresses() -> list[str]:
    found: list[str] = []
    for probe in _PROBES:
        # connect() on a datagram socket only picks the outgoing interface; nothing is sent.
        with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as sock:
            try:
                sock.connect((probe, 9))
                found.append(sock.getsockname()[0])
            except OSError:
                continue
    found.extend(_interface_addresses())
    return list(dict.fromkeys(address for address in found if address != "0.0.0.0"))  # noqa: S104


def _interface_addresses() -> list[str]:
    try:
        import fcntl
    except ImportError:
        return []
    found = []
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as sock:
        for _, name in socket.if_nameindex():
            if name.startswith(_VIRTUAL):
                continue
            request = struct.pack("256s", name.encode()[:15])
            try:
                answer = fcntl.ioctl(sock.fileno(), _SIOCGIFADDR, request)
            except OSError:
                continue
            found.append(socket.inet_ntoa(answer[20:24]))
    return found
