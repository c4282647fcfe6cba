"""This machine's own addresses and name on local networks. Nothing is asked of the network."""

from __future__ import annotations

import ipaddress
import re
import socket
from typing import Final

THIS_COMPUTER: Final = ("localhost", "127.0.0.1")
PRIVATE_NETWORKS: Final = tuple(
    ipaddress.IPv4Network(text)
    for text in (
        "127.0.0.0/8",  # this computer
        "10.0.0.0/8",  # RFC 1918
        "172.16.0.0/12",
        "192.168.0.0/16",
        "169.254.0.0/16",  # link-local, RFC 3927
        "100.64.0.0/10",  # shared, RFC 6598: phones that lend their network
    )
)
_LABEL: Final = re.compile(r"[a-z0-9]([a-z0-9-]{0,61}[a-z0-9])?")
_PROGRAMS: Final = ("docker", "br-", "veth", "virbr", "vmnet", "vboxnet", "tun", "tap", "wg")


def is_private(address: str) -> bool:
    """Whether an IPv4 address belongs to a local network; anything else does not.

    >>> is_private("192.168.1.7"), is_private("192.0.2.7"), is_private("tarn.local")
    (True, False, False)
    """
    try:
        found = ipaddress.IPv4Address(address)
    except ValueError:
        return False
    return any(found in network for network in PRIVATE_NETWORKS)


def own_addresses() -> tuple[str, ...]:
    """Private IPv4 addresses of interfaces that are up, the likeliest first.

    Those of bridges and tunnels of programs come last: a phone does not reach them.
    """
    import psutil

    up = {name for name, state in psutil.net_if_stats().items() if state.isup}
    found = [
        (_rank(name), str(one.address))
        for name, addresses in psutil.net_if_addrs().items()
        if name in up
        for one in addresses
        if one.family == socket.AF_INET
        and is_private(one.address)
        and not one.address.startswith("127.")
    ]
    return tuple(dict.fromkeys(address for _, address in sorted(found)))


def _rank(interface: str) -> int:
    name = interface.lower()
    if name.startswith(_PROGRAMS):
        return 2
    return 0 if name.startswith(("wl", "wi-fi", "en", "eth")) else 1


def own_name() -> str:
    """The machine's first name, for NAME and NAME.local; empty when it is none for an address."""
    name = socket.gethostname().partition(".")[0].lower()
    return name if _LABEL.fullmatch(name) and name != "localhost" else ""
