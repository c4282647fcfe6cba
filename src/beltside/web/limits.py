"""How much one may ask for in which time: token buckets, with bounded memory.

A bucket fills at a steady rate up to its size, and every request takes one out (ITU-T I.371 and
others describe the same; from memory).
"""

from __future__ import annotations

import math
import threading
import time
from collections import OrderedDict
from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

MOST_KEYS: Final = 2048


@dataclass(frozen=True)
class Rate:
    """So many at once, and so many a minute for long."""

    at_once: int
    a_minute: float


class Limit:
    """One limit for many who ask.

    Parameters
    ----------
    now
        A clock in seconds that never goes back.
    most_keys
        Of so many it remembers how much they asked for; then those that asked longest ago are
        forgotten, which gives them a full bucket.
    """

    def __init__(
        self,
        rate: Rate,
        *,
        now: Callable[[], float] = time.monotonic,
        most_keys: int = MOST_KEYS,
    ) -> None:
        self.rate: Final = rate
        self._now = now
        self._most_keys: Final = most_keys
        self._buckets: OrderedDict[str, tuple[float, float]] = OrderedDict()
        self._lock: Final = threading.Lock()

    def take(self, key: str) -> int:
        """Take one out of a bucket: 0, or in how many seconds there will be one, rounded up."""
        with self._lock:
            at = self._now()
            left, since = self._buckets.pop(key, (float(self.rate.at_once), at))
            each_s = 60.0 / self.rate.a_minute
            left = min(float(self.rate.at_once), left + max(0.0, at - since) / each_s)
            wait = 0
            if left >= 1.0:
                left -= 1.0
            else:
                wait = max(1, math.ceil((1.0 - left) * each_s))
            self._buckets[key] = (left, at)
            while len(self._buckets) > self._most_keys:
                self._buckets.popitem(last=False)
            return wait

    def __len__(self) -> int:
        return len(self._buckets)


class PhoneLimits:
    """What may be asked for through the door for phones.

    A page is some ten requests with all that hangs on it; a technician with three phones stays far
    below these. Each figure is our own choice.
    """

    def __init__(self, *, now: Callable[[], float] = time.monotonic) -> None:
        self.by_address: Final = Limit(Rate(300, 1200), now=now)
        self.by_session: Final = Limit(Rate(300, 900), now=now)
        self.unpaired: Final = Limit(Rate(60, 120), now=now)
        self.changes: Final = Limit(Rate(60, 120), now=now)
        self.pairing: Final = Limit(Rate(5, 5), now=now)
        self.pairing_in_all: Final = Limit(Rate(20, 20), now=now)

    def wait_before(self, address: str) -> int:
        """Seconds to wait for anybody at an address; 0 when he may come in."""
        return self.by_address.take(address)

    def wait(self, address: str, session: str, *, changing: bool, pairing: bool) -> int:
        """As `wait_before`, once it is known who asks: `session` is "" for an unpaired phone."""
        waits = [self.by_session.take(session) if session else self.unpaired.take(address)]
        if changing:
            waits.append(self.changes.take(session or address))
        if pairing:
            waits.append(self.pairing.take(address))
            # Only what an address may still try counts for all: one cannot shut the others out.
            if not any(waits):
                waits.append(self.pairing_in_all.take(""))
        return max(waits)
