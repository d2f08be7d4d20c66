"""The address under which phones on the same network reach this machine."""

from __future__ import annotations

import socket
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from panel.settings import Settings


def reachable_base_url(settings: Settings) -> str:
    """The base URL that QR codes carry, without a trailing slash: the set one, or this machine's own."""
    if settings.base_url:
        return settings.base_url.rstrip("/")
    return f"http://{lan_address()}:{settings.port}"


def lan_address() -> str:
    """This machine's address on its network; 127.0.0.1 where there is none.

    A datagram socket that is "connected" to an address in a documentation range (RFC 5737) sends nothing,
    but makes the system choose the interface and so the address by which it would be reached.
    """
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        try:
            probe.connect(("192.0.2.1", 9))
        except OSError:
            return "127.0.0.1"
        address: str = probe.getsockname()[0]
        return address
