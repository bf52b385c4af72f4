"""The spread of worlds without that of their few histories."""

from __future__ import annotations

import numpy as np
import pytest

from shutoffsim.study.worlds.spread import best_shares, chance_below_zero, contract


def test_covariance_is_that_of_the_worlds_alone():
    rng = np.random.default_rng(1)
    true = rng.standard_normal((4000, 3)) * [5.0, 3.0, 1.0] + [10.0, 8.0, 2.0]
    noise = np.array([[4.0, 3.0, 0.0], [3.0, 4.0, 0.0], [0.0, 0.0, 0.25]])
    seen = true + rng.multivariate_normal(np.zeros(3), noise, len(true))
    found = contract(seen, noise)
    assert found.mean(axis=0) == pytest.approx(seen.mean(axis=0))
    assert np.cov(found.T) == pytest.approx(np.cov(seen.T) - noise, abs=1e-8)


def test_where_all_is_noise_no_spread_is_left():
    rng = np.random.default_rng(2)
    level = 10.0 * rng.standard_normal((500, 1))
    seen = 100.0 + level + rng.standard_normal((500, 2))  # two designs that are alike on average
    found = contract(seen, 1.2 * np.eye(2))
    gap, gap_seen = (values[:, 1] - values[:, 0] for values in (found, seen))
    assert gap.std() < 0.2 * gap_seen.std()
    assert found[:, 0].std() == pytest.approx(10.0, rel=0.1)


def test_equal_designs_share_the_worlds():
    rng = np.random.default_rng(3)
    one = rng.random((50, 1))
    found = contract(np.concatenate([one, one], axis=1), np.full((2, 2), 1e-3))
    assert best_shares(found) == pytest.approx([0.5, 0.5])
    assert chance_below_zero(found[:, 1] - found[:, 0], 0.0, 1.0) == 0.5


def test_what_is_left_of_the_noise_moves_all_worlds_together():
    assert chance_below_zero(np.full(10, -0.1), 0.0, 1.0) == 1.0
    assert chance_below_zero(np.full(10, -0.1), 0.1, 1.0) == pytest.approx(0.8413, abs=1e-4)
