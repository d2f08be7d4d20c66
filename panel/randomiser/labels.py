"""Blind labels for the analyst and pour letters for the kitchen, drawn apart from each other."""

from __future__ import annotations

from itertools import combinations
from string import ascii_uppercase

from panel.randomiser.chance import Chance, check_count

MOST_LABELS = 90
POUR_ALPHABET = "QRSTUVWXYZ"


def blind_labels(count: int, seed: int = 0) -> tuple[str, ...]:
    """A blind label for each sample, in the order in which the samples were entered.

    count : samples, 1 to 90. Labels are A, B, ... Z, AA, AB, ..., dealt at random, so that a label tells
    nothing of the entry order; independent of `pour_letters` of the same seed.
    """
    check_count("count", count, 1, MOST_LABELS, "samples")
    return tuple(Chance(seed, "blind labels").shuffled(_letters(count)))


def pour_letters(count: int, seed: int = 0) -> tuple[str, ...]:
    """A pour letter for each sample, in the order in which the samples were entered.

    count : samples, 1 to 90. Single letters from the end of the alphabet (Q to Z) for up to ten samples,
    pairs of them (QR, QS, ...) for more, so that no pour letter is also a blind label of the same study.
    Dealt at random and independent of `blind_labels` of the same seed.
    """
    check_count("count", count, 1, MOST_LABELS, "samples")
    chance = Chance(seed, "pour letters")
    if count <= len(POUR_ALPHABET):
        return tuple(chance.chosen(POUR_ALPHABET, count))
    pairs = [a + b for a, b in combinations(POUR_ALPHABET, 2)]
    # A pair and its mirror image are easily confused, so mirror images serve only when pairs run out.
    if count > len(pairs):
        pairs += [pair[::-1] for pair in pairs]
    return tuple(chance.chosen(pairs, count))


def _letters(count: int) -> list[str]:
    doubles = [a + b for a in ascii_uppercase for b in ascii_uppercase]
    return [*ascii_uppercase, *doubles][:count]
