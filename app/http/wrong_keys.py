"""Wrong keys, by the address that they come from: after a few of them an address has to wait.

A secret has 256 random bits, so nobody finds one by trying; what is kept off is the noise, and the cost of looking each
one up. Nothing sleeps: who has to wait is told so at once.
"""

import ipaddress
import time
from collections import OrderedDict
from collections.abc import Callable
from math import ceil

from app.http.windows import Windows, keep

MOST_WRONG = 10
# Who holds one address of IPv6 holds its network.
NETWORK_BITS = 64


class WrongKeys:
    """How many wrong keys came from where, in a minute from the first one.

    A key that was right from an address before is looked at all the same: whoever shares an address, behind a proxy
    for instance, cannot shut others out by sending wrong keys. Each process counts by itself.
    """

    def __init__(self, clock: Callable[[], float] = time.monotonic) -> None:
        """Begin with no address."""
        self._wrong = Windows(clock)
        self._right: OrderedDict[tuple[str, str], None] = OrderedDict()

    def __len__(self) -> int:
        """Return how many addresses it remembers for their wrong keys."""
        return len(self._wrong)

    def wait_seconds(self, address: str, key_id: str | None) -> int:
        """Return how long an address has to wait before a key of this id is looked at; 0 if not at all."""
        network = network_of(address)
        n, left = self._wrong.seen(network)
        if n < MOST_WRONG or (key_id is not None and (network, key_id) in self._right):
            return 0
        return ceil(left)

    def note_wrong(self, address: str) -> None:
        """Count a wrong key."""
        self._wrong.count(network_of(address))

    def note_right(self, address: str, key_id: str) -> None:
        """Remember a key that was right."""
        keep(self._right, (network_of(address), key_id), None)


def network_of(address: str) -> str:
    """Return what counts as one address: of IPv6 the network of its first 64 bits."""
    try:
        parsed = ipaddress.ip_address(address.partition("%")[0])
    except ValueError:
        return address
    if isinstance(parsed, ipaddress.IPv4Address):
        return str(parsed)
    if parsed.ipv4_mapped is not None:
        return str(parsed.ipv4_mapped)
    return str(ipaddress.ip_network((parsed, NETWORK_BITS), strict=False))
