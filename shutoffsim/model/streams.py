"""Random numbers as a pure function of (seed, history, stream, count).

Philox 4x32-10, J. K. Salmon, M. A. Moraes, R. O. Dror, D. E. Shaw, "Parallel random numbers: as
easy as 1, 2, 3", Proc. SC11 (2011), doi:10.1145/2063384.2063405. The published known-answer
vectors are in the tests. There is no state: nothing that one design draws can shift what another
draws, and any split of the histories over workers gives the same numbers.
"""

from __future__ import annotations

import numpy as np

from shutoffsim.model.compiled import kernel
from shutoffsim.model.layout import STREAMS

# One stream per purpose.
(
    SITE,
    WEATHER_DRAWS,
    OUTAGE_DRAWS,
    TRIP_DRAWS,
    PRESENCE_DRAWS,
    STROKE_DRAWS,
    NUISANCE_DRAWS,
    ACTUATOR_DRAWS,
    CONTROLLER_DRAWS,
    SUPPLY_DRAWS,
    BATTERY_DRAWS,
    GATEWAY_DRAWS,
    SHOCK_DRAWS,
    VALVE_DRAWS,
    REPAIR_DRAWS,
    PROBE_DRAWS,
    LEAK_DRAWS,
    PATH_DRAWS,
    LINK_DRAWS,
    PEOPLE_DRAWS,
    EXTRA_DRAWS,
    AIM_DRAWS,
    LOOK_DRAWS,
    HABIT_DRAWS,
    OWNER_DRAWS,
    FITTING_DRAWS,
    REOPENING_DRAWS,
    PICKUP_DRAWS,
    HOLD_DRAWS,
    SWITCH_DRAWS,
) = np.arange(STREAMS)
BLOCK_BITS = 5
BLOCK = 1 << BLOCK_BITS  # histories whose sites are drawn to fall evenly
SENSOR_DRAWS = 64  # + number of the sensor
SOURCES_DRAWS = 96  # + number of the source

# What a draw is for cuts the counts of a stream into parts. Leaks have keys: the natural ones,
# (source << NATURAL_KEYS) + candidate, then the probes.
NATURAL_KEYS = 14
PROBE_KEYS = 1 << 18  # + number of the probe
PER_LEAK = 64  # LEAK_DRAWS, PEOPLE_DRAWS: draws of one leak
PER_PATH = 32  # PATH_DRAWS: two for each sensor, the last for the leak as a whole
LINKS_PER_LEAK, PER_LINK = 16, 32  # LINK_DRAWS: sensors of a leak, tries of a sensor
OTHER_STROKES = 1 << 20  # STROKE_DRAWS: a leak's key, or from here on the number of another stroke
PER_STROKE, PER_ATTEMPT = 64, 8  # draws of a stroke, of one attempt
PER_REPAIR = 8  # REPAIR_DRAWS
PER_CANDIDATE = 2  # SOURCES_DRAWS
LOOKS_OF_ONE = 4096  # GATEWAY_DRAWS: looks of a history, and of each probe for itself

_M0 = np.uint64(0xD2511F53)
_M1 = np.uint64(0xCD9E8D57)
_W0 = np.uint64(0x9E3779B9)
_W1 = np.uint64(0xBB67AE85)
_LOW = np.uint64(0xFFFFFFFF)
_HALF = np.uint64(32)
_SPARE = np.uint64(12)
_ONE = np.uint64(1)
_FRACTION = np.uint64(2**52 - 1)
_KOROBOV = np.uint64(5)
_SCALE = 2.0**-52


@kernel
def philox(c0, c1, c2, c3, k0, k1):
    """Return the four 32-bit words of Philox 4x32-10 (arguments and words as uint64).

    Parameters
    ----------
    c0, c1, c2, c3 : uint64
        The counter's words, each below 2**32.
    k0, k1 : uint64
        The key's words, each below 2**32.
    """
    for _ in range(10):
        a = _M0 * c0
        b = _M1 * c2
        c0, c1, c2, c3 = (
            (b >> _HALF) ^ c1 ^ k0,
            b & _LOW,
            (a >> _HALF) ^ c3 ^ k1,
            a & _LOW,
        )
        k0 = (k0 + _W0) & _LOW
        k1 = (k1 + _W1) & _LOW
    return c0, c1, c2, c3


@kernel
def of_region(p, s):
    """Return the history number by which weather and mains are drawn.

    In a region the low word is the number of the region's history and the high word that of the
    dwelling; dropping the high word, all dwellings live through the same weather and outages.
    """
    return s.history & _LOW if p.region == 1 else s.history


@kernel
def bits(seed, history, stream, count):
    """Return 52 random bits (uint64) for a purpose."""
    a, b, _c, _d = philox(
        np.uint64(count) & _LOW,
        np.uint64(stream),
        history & _LOW,
        history >> _HALF,
        seed & _LOW,
        seed >> _HALF,
    )
    return ((a << _HALF) | b) >> _SPARE


@kernel
def uniform(seed, history, stream, count):
    """Return a number strictly between 0 and 1, 52 bits, never the ends.

    Parameters
    ----------
    seed, history : uint64
        Key and number of the history.
    stream, count : int
        Purpose of the draw, and how many draws of that purpose came before.
    """
    return (np.float64(bits(seed, history, stream, count)) + 0.5) * _SCALE


@kernel
def next_draw(s, stream):
    """Return the next uniform of a stream whose draws are taken one after the other."""
    u = uniform(s.seed, s.history, stream, s.taken[stream])
    s.taken[stream] += 1
    return u


@kernel
def next_regional_draw(p, s, stream):
    """Return the next uniform of weather or mains, which dwellings of a region share."""
    u = uniform(s.seed, of_region(p, s), stream, s.taken[stream])
    s.taken[stream] += 1
    return u


@kernel
def even_uniform(seed, history, stream, count):
    """Return a uniform that falls evenly over the histories of a block.

    A rank-1 lattice, shifted at random for each block and count: each number alone is as uniform
    and as independent of the other counts as :func:`uniform`, so means stay unbiased, while the
    BLOCK numbers of one count lie one in each BLOCK-th of (0, 1). The points come in bit-reversed
    order, so that half a block is even too. R. Cranley, T. N. L. Patterson, "Randomization of
    number theoretic methods for multiple integration", SIAM J. Numer. Anal. 13 (1976) 904 (from
    memory).
    """
    j = history & np.uint64(BLOCK - 1)
    place = np.uint64(0)
    for _ in range(BLOCK_BITS):
        place = (place << _ONE) | (j & _ONE)
        j >>= _ONE
    step = np.uint64(1)
    for _ in range(count):
        step *= _KOROBOV
    place = (place * step) & np.uint64(BLOCK - 1)
    block = history >> np.uint64(BLOCK_BITS)
    n = bits(seed, block, stream, count) + (place << np.uint64(52 - BLOCK_BITS))
    return (np.float64(n & _FRACTION) + 0.5) * _SCALE
