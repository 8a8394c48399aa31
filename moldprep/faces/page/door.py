"""Where the page listens: an address and a free port, and who can reach it there."""

from __future__ import annotations

import errno
import socket
from ipaddress import ip_address

import ifaddr

from ...errors import RequestError

PORTS_TRIED = 20
"""How many ports are looked at, from the one asked for, before the system may choose."""
EVERYWHERE = ("0.0.0.0", "::")


def opened_door(listen: str, port: int) -> socket.socket:
    """A socket bound to an address of this machine (or a name for one), at `port` or the next one that is free.

    Raises RequestError when this machine has no such address, or the port is not for everybody.
    """
    try:
        family, kind, _, _, place = socket.getaddrinfo(listen, port, type=socket.SOCK_STREAM)[0]
    except (OSError, UnicodeError):
        raise _no_such_address(listen) from None
    for number in (*range(port, min(port + PORTS_TRIED, 65536)), 0):
        door = socket.socket(family, kind)
        try:
            _share_after_restart(door)
            door.bind((place[0], number, *place[2:]))
            return door
        except OSError as error:
            door.close()
            if error.errno == errno.EACCES:
                raise RequestError(
                    f"Port {number} of {listen} is not for every user.",
                    code="port-forbidden",
                    remedy="Give another --port, from 1024 to 65535.",
                ) from error
            if error.errno != errno.EADDRINUSE:
                raise _no_such_address(listen) from error
    raise RequestError(
        f"No port of {listen} is free.",
        code="port-taken",
        remedy="Close other programs, or give another --listen.",
    )


def is_loopback(address: str) -> bool:
    """Whether only this machine reaches an address."""
    return ip_address(address.split("%")[0]).is_loopback


def host_name(host: str) -> str:
    """A host as addresses and Host headers have it: IPv6 in brackets."""
    return f"[{host}]" if ":" in host else host


def url(host: str, port: int) -> str:
    """The page's address at a host, as a browser takes it."""
    return f"http://{host_name(host)}:{port}/"


def reachable_at(address: str) -> list[str]:
    """The addresses by which other machines reach one that this machine listens at."""
    if address not in EVERYWHERE:
        return [address]
    found = (ip.ip for adapter in ifaddr.get_adapters() for ip in adapter.ips if ip.is_IPv4)
    return sorted(str(ip) for ip in found if not is_loopback(str(ip)))


def _share_after_restart(door: socket.socket) -> None:
    """Let a port be taken again at once when an earlier page has just left it; on Windows the same word would let
    two programs have it, and is not needed."""
    if hasattr(socket, "SO_EXCLUSIVEADDRUSE"):
        door.setsockopt(socket.SOL_SOCKET, socket.SO_EXCLUSIVEADDRUSE, 1)
    else:
        door.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)


def _no_such_address(listen: str) -> RequestError:
    return RequestError(
        f"This machine does not listen at {listen}.",
        code="listen-address",
        remedy="Leave --listen out for this machine alone, or give one of its addresses; 0.0.0.0 is all of them.",
    )
