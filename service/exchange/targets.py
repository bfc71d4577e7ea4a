"""Where events may be sent: the operator's list, and the addresses that are never reached.

Plants live on private networks, so a private address is no reason to refuse: what the operator did not list is.
"""

import re
import socket
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from ipaddress import IPv4Address, IPv4Network, IPv6Address, IPv6Network, ip_address, ip_network
from typing import Final
from urllib.parse import urlsplit

from service.errors import CannotEvaluate
from service.settings import AllowedTarget

Address = IPv4Address | IPv6Address
Network = IPv4Network | IPv6Network
Resolver = Callable[[str, int], Iterable[str]]

LONGEST_URL: Final = 2000
LOOPBACK: Final = (ip_network("127.0.0.0/8"), ip_network("::1/128"))
NEVER: Final = tuple(
    ip_network(text)
    for text in (
        "0.0.0.0/8",  # this network, unspecified
        "169.254.0.0/16",  # link-local, with the metadata services of clouds
        "192.0.0.0/24",  # protocol assignments
        "100.100.100.200/32",  # a metadata service
        "168.63.129.16/32",  # a metadata service
        "198.18.0.0/15",  # benchmarking
        "224.0.0.0/4",  # multicast
        "240.0.0.0/4",  # reserved, broadcast
        "::/128",  # unspecified
        "fe80::/10",  # link-local
        "fec0::/10",  # site-local, deprecated
        "fd00:ec2::/32",  # a metadata service
        "fd20:ce::/32",  # a metadata service
        "ff00::/8",  # multicast
        "100::/64",  # discard
    )
)
_HOST: Final = re.compile(r"(?=.{1,253}$)[a-z0-9]([a-z0-9-]*[a-z0-9])?(\.[a-z0-9]([a-z0-9-]*[a-z0-9])?)*").fullmatch
_ENDS_IN_NUMBER: Final = re.compile(r"(?:.*\.)?(?:\d+|0x[0-9a-f]*)").fullmatch
_NAT64: Final = (ip_network("64:ff9b::/96"), ip_network("64:ff9b:1::/48"))
_TRANSLATED: Final = ip_network("::ffff:0:0:0/96")
_COMPATIBLE: Final = ip_network("::/96")


class TargetNotAllowed(CannotEvaluate):
    """The address is none that events may be sent to."""

    code = "target_not_allowed"


@dataclass(frozen=True, slots=True)
class Target:
    """A URL that was read: nothing in it but scheme, host, port and path."""

    scheme: str
    host: str
    port: int
    path: str


@dataclass(frozen=True, slots=True)
class AllowList:
    """The operator's list."""

    targets: tuple[AllowedTarget, ...]
    loopback: bool = False

    def target(self, url: str) -> Target:
        """Return what the URL names, when the list has room for it.

        Raises
        ------
        TargetNotAllowed
            The URL has other parts than scheme, host, port and path, or the list does not cover it.
        """
        target = _read(url)
        listed = list(self._listed(target))
        if not listed:
            raise TargetNotAllowed(
                f"{target.scheme}://{target.host}:{target.port} is not in the list of the operator "
                "(CAPSADDLE_WEBHOOK_TARGETS)",
                field="url",
            )
        literal = _literal(target.host)
        if literal is not None:
            self._check(literal, target)
        return target

    def addresses(self, target: Target, resolve: Resolver | None = None) -> list[str]:
        """Return the addresses of the host, all of them checked.

        Raises
        ------
        TargetNotAllowed
            Any of them is one that is never reached, or lies outside the operator's networks.
        OSError
            The name has no address.
        """
        found = list((resolve or resolved)(target.host, target.port))
        for text in found:
            self._check(ip_address(text.partition("%")[0]), target)
        if not found:
            raise OSError("the name has no address")
        return found

    def _listed(self, target: Target) -> Iterator[AllowedTarget]:
        """Yield the entries that may cover the target; a network may cover any name until it is resolved."""
        literal = _literal(target.host)
        for entry in self.targets:
            if (entry.scheme, entry.port) != (target.scheme, target.port):
                continue
            by_name = entry.host is not None and entry.host == target.host
            if by_name or (entry.network is not None and (literal is None or literal in entry.network)):
                yield entry

    def _check(self, address: Address, target: Target) -> None:
        refused = f"{target.host} has the address {address}, which is never reached"
        for each in (address, *_inside(address)):
            if any(each in network for network in NEVER):
                raise TargetNotAllowed(refused, field="url")
            if not self.loopback and any(each in network for network in LOOPBACK):
                raise TargetNotAllowed(refused, field="url")
        entries = list(self._listed(target))
        by_name = any(entry.host is not None for entry in entries)
        if not by_name and not any(entry.network is not None and address in entry.network for entry in entries):
            raise TargetNotAllowed(f"{target.host} has an address outside the operator's networks", field="url")


def resolved(host: str, port: int) -> list[str]:
    """Return the addresses of a host, as the system resolves it.

    Raises
    ------
    OSError
        It has none.
    """
    found = socket.getaddrinfo(host, port, type=socket.SOCK_STREAM)
    return list(dict.fromkeys(str(entry[4][0]) for entry in found))


def _read(url: str) -> Target:
    if len(url) > LONGEST_URL or not url.isascii() or not url.isprintable() or " " in url or "\\" in url:
        raise TargetNotAllowed("the URL is too long or holds characters that belong encoded", field="url")
    try:
        parts = urlsplit(url)
        port = parts.port
    except ValueError:
        raise TargetNotAllowed("the URL cannot be read", field="url") from None
    host = (parts.hostname or "").removesuffix(".")
    if parts.scheme not in ("https", "http") or "@" in parts.netloc or "#" in url or not host:
        raise TargetNotAllowed("a URL is https://HOST:PORT/PATH, without user, password and fragment", field="url")
    if port == 0:
        raise TargetNotAllowed("port 0 is no port that anybody listens on", field="url")
    if _literal(host) is None and (not _HOST(host) or _ENDS_IN_NUMBER(host)):
        raise TargetNotAllowed(f"{host[:80]!a} is neither a name nor an address in its usual form", field="url")
    path = (parts.path or "/") + (f"?{parts.query}" if parts.query else "")
    return Target(parts.scheme, host, port or {"https": 443, "http": 80}[parts.scheme], path)


def _literal(host: str) -> Address | None:
    try:
        return ip_address(host)
    except ValueError:
        return None


def _inside(address: Address) -> Iterator[Address]:
    """Yield the IPv4 addresses that an IPv6 address stands for: mapped, translated, tunnelled."""
    if isinstance(address, IPv4Address):
        return
    low = IPv4Address(int(address) & 0xFFFFFFFF)
    if address.ipv4_mapped is not None:
        yield address.ipv4_mapped
    if address.sixtofour is not None:
        yield address.sixtofour
    if address.teredo is not None:
        yield from address.teredo
    if any(address in network for network in (*_NAT64, _TRANSLATED)):
        yield low
    if address in _COMPATIBLE and int(address) > 0xFFFF:
        yield low
