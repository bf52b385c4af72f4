"""Values of information against closed forms, and their bounds."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.stats import norm

from shutoffsim.study.worlds import information
from shutoffsim.study.worlds.draw import steps

# p1 ~ N(1, 1) and p2 ~ N(0, 2): the two normals of the vignette of the R package voi, whose first
# option has no benefit and whose second has p1 - p2. It prints these figures.
MEANS, SPREADS = np.array([1.0, 0.0]), np.array([1.0, 2.0])
PERFECT, PARTIAL = 0.4798107, (0.0833155, 0.3955931)
WORLDS = 8192


def expected_gain(mean: float, spread: float) -> float:
    """Return E max(0, X) - max(0, E X) of a normal X."""
    at = mean / spread
    return mean * norm.cdf(at) + spread * norm.pdf(at) - max(mean, 0.0)


@pytest.fixture(scope="module")
def normals() -> tuple[np.ndarray, np.ndarray]:
    drawn = steps(["p1", "p2"], WORLDS, 5)
    values = MEANS + SPREADS * drawn * norm.ppf(0.95)
    benefit = np.stack([np.zeros(WORLDS), values[:, 0] - values[:, 1]], axis=1)
    return drawn, benefit


def test_published_figures_are_those_of_the_closed_form():
    assert expected_gain(1.0, math.sqrt(5.0)) == pytest.approx(PERFECT, abs=1e-6)
    for spread, published in zip(SPREADS, PARTIAL, strict=True):
        assert expected_gain(1.0, float(spread)) == pytest.approx(published, abs=1e-6)


def test_perfect_information_of_two_normals(normals):
    _drawn, benefit = normals
    low, high = information.perfect(benefit, (benefit, benefit))
    error = np.maximum(benefit, 0.0).max(axis=1).std() / math.sqrt(WORLDS)
    assert low == pytest.approx(high)
    assert high == pytest.approx(PERFECT, abs=3.0 * error)


def test_partial_perfect_information_of_two_normals(normals):
    found = information.single(*normals)
    assert found == pytest.approx(PARTIAL, abs=0.015)


def test_noise_of_few_histories_is_between_the_bounds():
    rng = np.random.default_rng(2)
    truth = np.stack([np.zeros(WORLDS), 1.0 + math.sqrt(5.0) * rng.standard_normal(WORLDS)], axis=1)
    first, second = (truth + 3.0 * rng.standard_normal(truth.shape) for _ in range(2))
    low, high = information.perfect((first + second) / 2.0, (first, second))
    assert low < PERFECT - 0.1
    assert high > PERFECT + 0.1


def test_unknowns_without_effect_are_worth_nothing(normals):
    _drawn, benefit = normals
    names = [f"no effect {i}" for i in range(40)]
    found = information.single(steps(names, 128, 3), benefit[:128])
    assert np.count_nonzero(found) <= 1  # 0.2 are expected


def test_a_choice_that_no_world_changes_is_worth_nothing():
    drawn = steps(["a"], 64, 1)
    benefit = np.concatenate([drawn, drawn + 1.0], axis=1)
    assert information.perfect(benefit, (benefit, benefit)) == (0.0, 0.0)
    assert information.single(drawn, benefit).tolist() == [0.0]


def test_few_worlds_tell_nothing_of_single_unknowns():
    assert information.single(np.zeros((1, 3)), np.zeros((1, 2))).tolist() == [0.0, 0.0, 0.0]
