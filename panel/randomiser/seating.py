"""Places inside blocks: each sample at every place equally often."""

from __future__ import annotations

from typing import TYPE_CHECKING

from panel.randomiser.search import better_carry_over

if TYPE_CHECKING:
    from collections.abc import Sequence

    from panel.randomiser.balance import Order
    from panel.randomiser.chance import Chance

TRIES_PER_ROW = 40
MOST_TRIES = 12_000  # before the last window
WINDOW = 60


def arranged(blocks: Sequence[Sequence[int]], samples: int, chance: Chance) -> list[Order]:
    """The samples of each block in a serving order, with balanced places and then carry-over.

    blocks : sets of samples, all of one size, in dealing order
    A sample's counts at the places differ by at most one. Its occurrences, taken in dealing order, fill one
    round of places after another (bettering the carry-over may exchange some), so that first rows are even
    too. That such an arrangement exists is König's theorem
    (a bipartite graph of maximum degree k has its edges coloured with k colours); for whole rounds these are
    the generalised Youden designs of Smith and Hartley (1948), JRSS B 10, 262-263.
    """
    places = _coloured(blocks, len(blocks[0]), samples, chance)
    tries = min(TRIES_PER_ROW, MOST_TRIES // len(places) + 1)
    return better_carry_over(places, samples, chance, tries, WINDOW)


def _coloured(blocks: Sequence[Sequence[int]], size: int, samples: int, chance: Chance) -> list[Order]:
    seats: list[list[int | None]] = [[None] * size for _ in blocks]  # block, place -> round
    rounds: list[list[int | None]] = []  # round of a sample, place -> block
    owner: list[int] = []  # round -> sample
    current: list[int | None] = [None] * samples
    met = [0] * samples
    for index, block in enumerate(blocks):
        for sample in chance.shuffled(block):
            if met[sample] % size == 0:
                current[sample] = len(rounds)
                rounds.append([None] * size)
                owner.append(sample)
            met[sample] += 1
            one = current[sample]
            assert one is not None
            _seat(seats, rounds, index, one, chance)
    return [tuple(owner[one] for one in row if one is not None) for row in seats]


def _seat(
    seats: list[list[int | None]], rounds: list[list[int | None]], block: int, one: int, chance: Chance
) -> None:
    """Give a round a place in a block, after moving others along an alternating path where needed."""
    free_here = [place for place, who in enumerate(seats[block]) if who is None]
    free_there = [place for place, where in enumerate(rounds[one]) if where is None]
    both = [place for place in free_here if place in free_there]
    if both:
        place = chance.choice(both)
    else:
        place, other = chance.choice(free_there), chance.choice(free_here)
        _flip(seats, rounds, block, place, other)
    seats[block][place] = one
    rounds[one][place] = block


def _flip(
    seats: list[list[int | None]], rounds: list[list[int | None]], block: int, place: int, other: int
) -> None:
    """Exchange two places along the path from `block`, so that `place` becomes free in it."""
    path: list[tuple[int, int, int]] = []
    here, a, b = block, place, other
    while (one := seats[here][a]) is not None:
        path.append((here, one, a))
        following = rounds[one][b]
        if following is None:
            break
        path.append((following, one, b))
        here = following
    for where, one, at in path:
        seats[where][at] = rounds[one][at] = None
    for where, one, at in path:
        to = other if at == place else place
        seats[where][to] = one
        rounds[one][to] = where
