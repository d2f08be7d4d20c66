"""The randomiser's own chance: the same numbers on every machine and under every Python version.

SHA-256 in counter mode over a seed and a purpose. Streams of different purposes are independent, so that
codes, orders and labels drawn from one seed tell nothing about each other.
"""

from __future__ import annotations

import hashlib
from typing import TYPE_CHECKING, TypeVar

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

T = TypeVar("T")
SEED_BITS = 128


class Chance:
    """A stream of random numbers for one purpose.

    seed : whole number from 0 to 2**128 - 1
    purpose : a name; another name gives an independent stream
    Raises ValueError for a seed out of range.
    Source: hash-based generator in counter mode, after NIST SP 800-90A (without reseeding).
    """

    __slots__ = ("_bits", "_count", "_key", "_store")

    def __init__(self, seed: int, purpose: str) -> None:
        check_seed(seed)
        self._key = hashlib.sha256(f"{seed}:{purpose}".encode()).digest()
        self._count = 0
        self._store = 0
        self._bits = 0

    def bits(self, number: int) -> int:
        """A whole number of so many random bits."""
        while self._bits < number:
            block = hashlib.sha256(self._key + self._count.to_bytes(8, "big")).digest()
            self._count += 1
            self._store |= int.from_bytes(block, "big") << self._bits
            self._bits += 256
        value = self._store & ((1 << number) - 1)
        self._store >>= number
        self._bits -= number
        return value

    def below(self, bound: int) -> int:
        """A whole number from 0 to bound - 1, each equally likely (by rejection, so without bias)."""
        if bound < 1:
            raise ValueError(f"bound must be at least 1, but got {bound!r}")
        width = (bound - 1).bit_length()
        while True:
            value = self.bits(width)
            if value < bound:
                return value

    def choice(self, items: Sequence[T]) -> T:
        """One of the items."""
        return items[self.below(len(items))]

    def shuffled(self, items: Iterable[T]) -> list[T]:
        """The items in random order (Fisher and Yates), as a new list."""
        deck = list(items)
        for last in range(len(deck) - 1, 0, -1):
            other = self.below(last + 1)
            deck[last], deck[other] = deck[other], deck[last]
        return deck

    def chosen(self, items: Sequence[T], count: int) -> list[T]:
        """So many of the items, without repetition, in random order."""
        return self.shuffled(items)[:count]


def check_seed(seed: int) -> None:
    """Raise ValueError unless the seed is a whole number of at most 128 bits."""
    if isinstance(seed, bool) or not isinstance(seed, int) or not 0 <= seed < 1 << SEED_BITS:
        raise ValueError(f"seed must be a whole number from 0 to 2**{SEED_BITS} - 1, but got {seed!r}")


def check_count(name: str, value: int, least: int, most: int, what: str) -> None:
    """Raise ValueError unless `value` is a whole number from `least` to `most`; `what` names the thing."""
    if isinstance(value, bool) or not isinstance(value, int):
        raise ValueError(f"{name} must be a whole number of {what}, but got {value!r}")
    if not least <= value <= most:
        raise ValueError(f"{name} must be from {least} to {most} {what}, but got {value}")
