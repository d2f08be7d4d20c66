"""Which three-digit codes may stand on a cup, and sets of them that one slip of the pen cannot mix up.

Out of 900: digits all different (648 left), no nought (504), not all of 1, 6, 8 and 9, which read as another
code when a round cup stands upside down (480), no run such as 234 or 876 (466), none with a meaning of its
own (462). The rule is convention: no controlled study of codes on cups in tastings is known to us.
"""

from __future__ import annotations

from itertools import permutations
from typing import TYPE_CHECKING

from panel.randomiser.chance import Chance, check_count

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

# Numbers that say something to somebody: emergency calls, famous numbers, slang, bad or good luck. Most of
# them are out by the other rules already; they stand here so that a looser rule would not let them in.
# fmt: off
MEANINGFUL = frozenset(
    f"{number:03}" for number in (
        0, 7, 100, 101, 110, 111, 112, 113, 115, 118, 119, 123, 187, 200, 222, 247, 300, 314, 333,
        360, 365, 404, 420, 444, 500, 555, 600, 666, 700, 711, 777, 800, 888, 911, 999,
    )
)
# fmt: on
TURNABLE = frozenset("1689")
RUNS = frozenset("".join(str(a + i) for i in range(3)) for a in range(1, 8))


def _allowed(code: str) -> bool:
    runs = code in RUNS or code[::-1] in RUNS
    return not (runs or set(code) <= TURNABLE or code in MEANINGFUL)


POOL: tuple[str, ...] = tuple(
    code for digits in permutations("123456789", 3) if _allowed(code := "".join(digits))
)
FAR_APART = 64  # so many codes any two of which differ in two digits are always found
PASSES = 60  # of exchanges before a set of codes far apart is given up


def too_close(one: str, other: str) -> bool:
    """Whether two codes are equal or differ in a single digit."""
    return (one[0] == other[0]) + (one[1] == other[1]) + (one[2] == other[2]) >= 2


def codes(count: int, seed: int = 0) -> tuple[str, ...]:
    """So many different three-digit codes in random order.

    count : 1 to 462, the size of the pool. Up to 64 codes, any two differ in at least two digits, so that
    one wrong digit never names another cup. Raises ValueError above the size of the pool.
    """
    check_count("count", count, 1, len(POOL), "codes (the pool holds no more)")
    chance = Chance(seed, "codes")
    if count > FAR_APART:
        return tuple(chance.chosen(POOL, count))
    return tuple(chance.chosen(far_apart(count, POOL, chance), count))


def families(pool: Iterable[str], chance: Chance) -> list[list[str]]:
    """The pool cut into nine random families; inside a family any two codes differ in two digits or more.

    The families are the symbols of a random Latin cube of order 9 (a sum modulo 9 with the digits of each
    place renamed at random): two digits and the family fix the third digit.
    """
    names = [chance.shuffled(range(9)) for _ in range(3)]
    cut: list[list[str]] = [[] for _ in range(9)]
    for code in chance.shuffled(pool):
        cut[sum(names[i][int(digit) - 1] for i, digit in enumerate(code)) % 9].append(code)
    return chance.shuffled(cut)


def far_apart(
    count: int, pool: Sequence[str], chance: Chance, fallback: Sequence[str] | None = None
) -> list[str]:
    """At least so many codes of the pool, any two of which differ in at least two digits.

    Up to 64 out of the whole pool are always found. Where a part of the pool does not hold so many, the
    fallback is searched; without one the codes are only different from each other.
    """
    held = max(families(pool, chance), key=len)
    for _ in range(PASSES if len(pool) >= count else 0):
        if len(held) >= count:
            return held
        held = _exchanged(held, pool, chance)
    return list(pool) if fallback is None else far_apart(count, fallback, chance)


def _exchanged(held: list[str], pool: Sequence[str], chance: Chance) -> list[str]:
    """One pass of exchanges: add a code that clashes with none or one of the codes held, drop that one."""
    for code in chance.shuffled(pool):
        clashing = [other for other in held if too_close(code, other)]
        if len(clashing) <= 1 and code not in held:
            held = [other for other in held if other not in clashing]
            held.append(code)
    return held
