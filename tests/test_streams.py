"""Random numbers: the published vectors, the open interval, independence, any seed."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from shutoffsim.model import streams
from shutoffsim.model.streams import BLOCK, philox, uniform

N = 20000

VECTORS = [
    ("00000000 00000000 00000000 00000000", "00000000 00000000"),
    ("ffffffff ffffffff ffffffff ffffffff", "ffffffff ffffffff"),
    ("243f6a88 85a308d3 13198a2e 03707344", "a4093822 299f31d0"),
]
ANSWERS = [
    "6627e8d5 e169c58d bc57ac4c 9b00dbd8",
    "408f276d 41c83b0e a20bc7c6 6d5451fd",
    "d16cfe09 94fdcceb 5001e420 24126ea1",
]


def words(text: str) -> list[np.uint64]:
    return [np.uint64(int(word, 16)) for word in text.split()]


@pytest.mark.parametrize(("vector", "answer"), list(zip(VECTORS, ANSWERS, strict=True)))
def test_philox_gives_the_published_words(vector, answer):
    """Known-answer vectors of Philox 4x32-10, distributed with the authors' library.

    J. K. Salmon and others, "Parallel random numbers: as easy as 1, 2, 3", SC11 (2011),
    doi:10.1145/2063384.2063405; file kat_vectors of https://github.com/DEShawResearch/random123.
    """
    counter, key = vector
    assert [int(w) for w in philox(*words(counter), *words(key))] == [int(w) for w in words(answer)]


def test_the_vectors_tell_right_from_wrong():
    """Swapped counter words give other numbers."""
    counter, key = VECTORS[2]
    swapped = philox(*words(counter)[::-1], *words(key))
    assert [int(w) for w in swapped] != [int(w) for w in words(ANSWERS[2])]


def draws(seed: int, history: int, stream: int, n: int, start: int = 0) -> np.ndarray:
    return np.array(
        [
            uniform(np.uint64(seed), np.uint64(history), stream, count)
            for count in range(start, start + n)
        ]
    )


@pytest.mark.parametrize(
    ("seed", "history", "stream", "count"),
    [(0, 0, 0, 0), (1, 2, 3, 4), (2**64 - 1, 2**40 + 5, 98, 2**31 + 7), (7, 0, 16, 12345)],
)
def test_a_number_is_52_bits_of_the_first_two_words(seed, history, stream, count):
    low, high = 2**32 - 1, 32
    counter = (count & low, stream, history & low, history >> high)
    key = (seed & low, seed >> high)
    a, b, _, _ = (int(word) for word in philox(*map(np.uint64, counter + key)))
    bits = (a << 32 | b) >> 12
    got = uniform(np.uint64(seed), np.uint64(history), stream, count)
    assert got == (bits + 0.5) / 2**52


def test_the_ends_are_never_reached():
    """By the least and greatest 52 bits there are: the half keeps them inside, exactly."""
    least, most = (0 + 0.5) / 2**52, (2**52 - 1 + 0.5) / 2**52
    assert 0.0 < least == 2.0**-53
    assert 1.0 > most == 1.0 - 2.0**-53
    u = draws(5, 5, 3, 20000)
    assert 0.0 < u.min() < 1e-3
    assert 1.0 - 1e-3 < u.max() < 1.0


def test_numbers_are_uniform():
    u = draws(1, 0, streams.LEAK_DRAWS, N)
    assert stats.kstest(u, "uniform").pvalue > 1e-3
    assert stats.kstest(u**1.1, "uniform").pvalue < 1e-3


def joint_pvalue(a: np.ndarray, b: np.ndarray, cells: int = 12) -> float:
    """Return the chi-square p-value of independence and uniformity on a grid of cells."""
    counts, _, _ = np.histogram2d(a, b, bins=cells, range=((0, 1), (0, 1)))
    return float(stats.chisquare(counts.ravel()).pvalue)


@pytest.mark.parametrize(
    ("one", "other"),
    [
        ((1, 0, 3, 0), (1, 0, 4, 0)),  # neighbouring streams
        ((1, 0, 3, 0), (1, 1, 3, 0)),  # neighbouring histories
        ((1, 0, 3, 0), (2, 0, 3, 0)),  # neighbouring seeds
        ((1, 0, 3, 0), (1, 0, 3, 1)),  # a stream and itself, one draw later
        ((0, 0, 0, 0), (0, 1, 0, 0)),  # seed zero
        ((2**64 - 1, 7, 16, 0), (2**64 - 1, 7, 17, 0)),  # the largest seed
    ],
)
def test_streams_are_independent(one, other):
    (a, b), (c, d) = (one[:3], one[3]), (other[:3], other[3])
    assert joint_pvalue(draws(*a, N, b), draws(*c, N, d)) > 1e-3


def test_the_test_of_independence_can_fail():
    u = draws(1, 0, 3, N)
    assert joint_pvalue(u, u) < 1e-6
    mixed = np.where(draws(1, 0, 5, N) < 0.1, u, draws(1, 0, 4, N))
    assert joint_pvalue(u, mixed) < 1e-6


def test_every_seed_has_its_own_numbers():
    """Zero is a seed like any other; the upper half of seed and history counts as well."""
    seeds = [0, 1, 2, 2**32, 2**32 + 1, 2**63, 2**64 - 1]
    first = {uniform(np.uint64(seed), np.uint64(0), 0, 0) for seed in seeds}
    later = {uniform(np.uint64(0), np.uint64(history), 0, 0) for history in seeds}
    assert len(first) == len(seeds)
    assert len(later) == len(seeds)


def test_purposes_do_not_share_a_stream():
    names = [name for name in dir(streams) if name == "SITE" or name.endswith("_DRAWS")]
    numbers = [int(getattr(streams, name)) for name in names]
    assert len(set(numbers)) == len(names) >= 20
    # Sensors and sources each take as many streams as there can be of them.
    from shutoffsim.model.layout import MAX_SENSORS, MAX_SOURCES

    assert max(n for n in numbers if n < streams.SENSOR_DRAWS) < streams.SENSOR_DRAWS
    assert streams.SENSOR_DRAWS + MAX_SENSORS <= streams.SOURCES_DRAWS
    assert MAX_SOURCES < 2**16


# --- draws that fall evenly over a block of histories --------------------------------------------


def even(seed: int, count: int, first: int, n: int) -> np.ndarray:
    return np.array(
        [
            streams.even_uniform(np.uint64(seed), np.uint64(first + h), streams.SITE, count)
            for h in range(n)
        ]
    )


@pytest.mark.parametrize("count", range(9))
@pytest.mark.parametrize("first", [0, 5 * BLOCK, 3 << 32])
def test_a_block_falls_evenly(count, first):
    u = even(7, count, first, BLOCK)
    assert sorted((u * BLOCK).astype(int)) == list(range(BLOCK))
    half = even(7, count, first, BLOCK // 2)
    assert sorted((half * BLOCK / 2).astype(int)) == list(range(BLOCK // 2))


@pytest.mark.parametrize("history", [0, 1, 19, 5 * BLOCK + 30, (7 << 32) + 11])
@pytest.mark.parametrize("count", [0, 1, 3])
def test_an_even_number_is_a_shifted_lattice_to_the_last_bit(history, count):
    """Places in bit-reversed order times 5 to the count, plus 52 bits of the block, modulo one."""
    block, j = divmod(history, BLOCK)
    place = int(f"{j:05b}"[::-1], 2) * 5**count % BLOCK
    shift = uniform(np.uint64(3), np.uint64(block), streams.SITE, count) * 2**52 - 0.5
    n = (int(shift) + place * 2**47) % 2**52
    got = streams.even_uniform(np.uint64(3), np.uint64(history), streams.SITE, count)
    assert got == (n + 0.5) / 2**52


@pytest.mark.parametrize("place", [0, 1, BLOCK - 1])
def test_each_place_of_a_block_is_uniform_and_free_of_the_others(place):
    """What makes means unbiased: over blocks, one history's draws are as good as any."""
    blocks = range(place, place + BLOCK * 4000, BLOCK)
    u, v = (np.concatenate([even(1, c, h, 1) for h in blocks]) for c in (1, 2))
    assert stats.kstest(u, "uniform").pvalue > 1e-3
    assert joint_pvalue(u, v) > 1e-3
    assert 0.0 < u.min() < u.max() < 1.0


def test_even_draws_sharpen_the_share_of_a_tail():
    """A tail of 7 % lies in two or three of 32 places: the spread between blocks nearly goes."""
    tails = (even(3, 1, 0, 400 * BLOCK) > 0.93).reshape(-1, BLOCK).mean(axis=1)
    independent = np.sqrt(0.07 * 0.93 / BLOCK)
    assert tails.mean() == pytest.approx(0.07, abs=4 * tails.std() / 20)
    assert tails.std() < 0.4 * independent
