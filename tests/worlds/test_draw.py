"""Draws fall evenly, and hang on the seed and their own name alone."""

from __future__ import annotations

import numpy as np
from scipy.stats import norm

from shutoffsim.study.worlds.draw import steps


def test_each_unknown_has_one_draw_in_each_part():
    worlds = 128
    shares = norm.cdf(steps(["a", "b", "c"], worlds, 7) * norm.ppf(0.95))
    for column in shares.T:
        assert sorted(np.floor(column * worlds).astype(int)) == list(range(worlds))


def test_a_further_unknown_shifts_no_other():
    both, one = steps(["a", "b"], 32, 7), steps(["b"], 32, 7)
    assert np.array_equal(both[:, 1:], one)
    assert not np.array_equal(both[:, 0], both[:, 1])


def test_another_seed_draws_others():
    assert not np.array_equal(steps(["a"], 32, 7), steps(["a"], 32, 8))
    assert np.array_equal(steps(["a"], 32, 2**64 - 1), steps(["a"], 32, 2**64 - 1))
