"""The own generator: the same everywhere, unbiased, independent by purpose."""

from collections import Counter

import pytest
from scipy.stats import chisquare

from panel.randomiser.chance import Chance

SEED = 20240229


def test_the_stream_is_sha_256_of_a_key_and_a_counter_and_never_changes() -> None:
    # Worked out with the sha256sum command: key = SHA-256("0:x"), block = SHA-256(key + eight zero bytes);
    # bits are taken from the low end of the block.
    import hashlib

    key = hashlib.sha256(b"0:x").digest()
    block = int.from_bytes(hashlib.sha256(key + bytes(8)).digest(), "big")
    chance = Chance(0, "x")
    assert [chance.bits(8) for _ in range(4)] == [(block >> (8 * i)) & 255 for i in range(4)]
    assert Chance(SEED, "orders").shuffled(range(10)) == PINNED


PINNED = [8, 2, 7, 5, 4, 0, 1, 3, 9, 6]


def test_every_shuffle_of_four_is_equally_likely() -> None:
    # Chi-squared with 23 degrees of freedom; the seed is fixed, so the outcome is too.
    chance = Chance(SEED, "test")
    counts = Counter(tuple(chance.shuffled(range(4))) for _ in range(4800))
    assert len(counts) == 24
    assert chisquare(list(counts.values())).pvalue > 0.001


def test_numbers_below_a_bound_that_is_no_power_of_two_are_equally_likely() -> None:
    chance = Chance(SEED, "test")
    counts = Counter(chance.below(7) for _ in range(7000))
    assert sorted(counts) == list(range(7))
    assert chisquare(list(counts.values())).pvalue > 0.001


def test_streams_of_different_purposes_and_seeds_differ() -> None:
    first = [Chance(seed, purpose).bits(64) for seed in (0, 1, 2**128 - 1) for purpose in ("codes", "orders")]
    assert len(set(first)) == 6


@pytest.mark.parametrize("seed", [-1, 2**128, 1.0, True, "1"], ids=str)
def test_a_seed_that_is_no_number_of_128_bits_is_refused(seed: object) -> None:
    with pytest.raises(ValueError, match="seed must be a whole number"):
        Chance(seed, "x")  # type: ignore[arg-type]
