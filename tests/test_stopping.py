"""The stopping rule: how many histories an adaptive run takes, and when it ends."""

from __future__ import annotations

import math

import numpy as np
import pytest

from shutoffsim.estimate.stopping import StoppingRule
from shutoffsim.model.streams import BLOCK

RULE = StoppingRule(0.02, least=1024, most=100_000)


def test_it_starts_with_the_least_whatever_has_been_found():
    assert RULE.next_target(0, math.inf) == 1024
    assert RULE.next_target(0, 0.0) == 1024
    assert RULE.next_target(512, 0.0001) == 1024


def test_it_stops_at_the_wanted_error_and_not_before():
    assert RULE.next_target(1024, 0.02) == 1024
    assert RULE.next_target(1024, 0.0201) > 1024


def test_the_target_follows_the_square_of_the_error():
    target = RULE.next_target(2048, 0.03)
    assert 2.25 * 2048 <= target < 2.25 * 2048 + BLOCK
    assert target % BLOCK == 0


def test_steps_are_neither_tiny_nor_wild():
    assert RULE.next_target(4096, 0.0201) == 5120
    assert RULE.next_target(1024, math.inf) == 4096
    assert RULE.next_target(1024, 10.0) == 4096


def test_it_gives_up_at_the_most_and_says_so():
    assert RULE.next_target(90_000, 0.5) == 100_000
    assert RULE.next_target(100_000, 0.5) == 100_000
    assert not RULE.reached(0.5)
    assert RULE.reached(0.02)


def test_a_stated_number_of_histories_is_run_exactly():
    rule = StoppingRule(None, least=50, most=50)
    assert rule.next_target(0, math.inf) == 50
    assert rule.next_target(50, math.inf) == 50
    assert rule.reached(math.inf)


@pytest.mark.parametrize("spread", [0.5, 2.0, 8.0])
def test_runs_of_a_known_spread_end_near_the_ideal_length(spread):
    """Means of blocks with relative spread c per history: n = (c / 0.02)^2 would do."""
    rng = np.random.default_rng(12)
    lengths = []
    for _ in range(200):
        blocks: list[float] = []
        error = math.inf
        while (target := RULE.next_target(len(blocks) * BLOCK, error)) > len(blocks) * BLOCK:
            more = target // BLOCK - len(blocks)
            blocks += list(1.0 + spread / math.sqrt(BLOCK) * rng.standard_normal(more))
            error = float(np.std(blocks, ddof=1) / math.sqrt(len(blocks)) / abs(np.mean(blocks)))
        lengths.append(len(blocks) * BLOCK)
        assert RULE.reached(error) or lengths[-1] == target
    ideal = max((spread / 0.02) ** 2, RULE.least)
    assert 0.9 * min(ideal, RULE.most) <= np.mean(lengths) <= 1.3 * ideal
