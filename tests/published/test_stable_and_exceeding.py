"""The adaptive procedure and the exceedance curves beyond their published examples."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import stats
from support.exceedance import (
    aggregate_probability,
    average_annual_loss,
    occurrence_curve,
    occurrence_probability,
    return_period_loss,
    yearly_sums,
)
from support.procedure import (
    block_size,
    coverage_interval,
    numerical_tolerance,
    run_until_stable,
    tolerance_ratio,
)

from shutoffsim.errors import ModelError


def normal_block(number: int) -> np.ndarray:
    return np.random.default_rng([7, number]).normal(50.0, 3.0, 10_000)


# --- the procedure --------------------------------------------------------------------------------


@pytest.mark.parametrize("digits", [1, 2])
def test_it_stops_as_soon_as_all_four_figures_are_stable(digits):
    result = run_until_stable(normal_block, digits=digits)
    assert result.reached
    assert result.tolerance == pytest.approx(0.5 * 10.0 ** (1 - digits))
    assert all(2.0 * s <= result.tolerance for s in result.std_errors.values())
    assert result.values == 10_000 * result.blocks
    values = np.concatenate([normal_block(number) for number in range(result.blocks)])
    assert result.mean == pytest.approx(values.mean())
    assert result.std == pytest.approx(values.std(ddof=1))
    if result.blocks > 2:  # one block less was not enough
        fewer = run_until_stable(normal_block, digits=digits, most_blocks=result.blocks - 1)
        assert not fewer.reached


def test_more_digits_take_more_blocks():
    assert run_until_stable(normal_block, digits=3, most_blocks=1000).blocks > 100


def test_it_waits_for_the_stated_number_of_blocks():
    assert run_until_stable(normal_block, digits=1, least_blocks=7).blocks == 7


def test_a_result_that_never_settles_says_so():
    result = run_until_stable(lambda b: normal_block(b) * (1 + b), digits=2, most_blocks=12)
    assert not result.reached
    assert result.blocks == 12


def test_a_constant_is_stable_at_once():
    result = run_until_stable(lambda b: np.full(10_000, 4.0))
    assert (result.mean, result.std, result.low, result.high, result.blocks) == (4, 0, 4, 4, 2)
    assert result.reached


@pytest.mark.parametrize(
    ("value", "digits", "half"),
    [(0.00035, 2, 5e-6), (10.47, 2, 0.5), (9.96, 2, 0.5), (2.0, 3, 0.005), (0.0, 2, 0.0)],
)
def test_half_a_unit_in_the_last_stated_digit(value, digits, half):
    assert numerical_tolerance(value, digits) == pytest.approx(half)


def test_blocks_are_long_enough_for_the_interval():
    assert block_size(0.95) == 10_000
    assert block_size(0.999) == 100_000


def test_intervals_hold_their_share():
    values = np.arange(1.0, 10_001.0)
    low, high = coverage_interval(values, 0.95)
    assert ((values >= low) & (values <= high)).mean() == pytest.approx(0.95, abs=2e-4)
    assert low + high == pytest.approx(10_001, abs=1)
    skewed = -np.log1p(-(values - 0.5) / 10_000)
    shortest = coverage_interval(skewed, 0.95, "shortest")
    assert shortest[0] == skewed[0]
    assert shortest[1] == pytest.approx(-math.log(0.05), rel=1e-3)
    assert np.ptp(shortest) < np.ptp(coverage_interval(skewed, 0.95))


def test_the_ratio_of_spread_to_tolerance():
    blocks = [[1.0], [3.0]]  # standard error of the mean: 1
    assert tolerance_ratio(blocks, 10.0, 1) == pytest.approx(2.0 / 5.0)
    assert tolerance_ratio(blocks[:1], 10.0, 1) == math.inf
    assert tolerance_ratio([[1.0], [1.0]], 0.0, 2) == 0.0
    assert tolerance_ratio(blocks, 0.0, 2) == math.inf


@pytest.mark.parametrize(
    ("arguments", "match"),
    [
        ({"digits": 0}, "digits is out of range"),
        ({"share": 1.0}, "share is out of range"),
        ({"interval": "widest"}, "interval is out of range"),
        ({"least_blocks": 1}, "least_blocks is out of range"),
        ({"most_blocks": 1}, "most_blocks is out of range"),
    ],
)
def test_an_argument_out_of_range_is_told(arguments, match):
    with pytest.raises(ModelError, match=match):
        run_until_stable(normal_block, **arguments)


@pytest.mark.parametrize(
    ("block", "match"),
    [
        (lambda b: np.zeros(9_999), "block 0: a block of the wrong size"),
        (lambda b: np.zeros((10_000, 2)), "block 0: a block of the wrong size"),
        (lambda b: np.zeros(10_000 + b), "block 1: a block of the wrong size"),
        (lambda b: np.full(10_000, math.nan), "block 0: values that are no numbers"),
    ],
)
def test_a_bad_block_is_told(block, match):
    with pytest.raises(ModelError, match=match):
        run_until_stable(block)


# --- exceedance -----------------------------------------------------------------------------------

LOSSES = np.array([100.0, 100.0, 350.0, 900.0, 0.0, 40.0])
RATES = np.array([0.3, 0.2, 0.15, 0.02, 0.5, 1.1])
LEVELS = np.array([0.0, 30.0, 99.0, 100.0, 250.0, 600.0, 900.0])


def test_a_sum_exceeds_wherever_a_single_loss_does():
    single = occurrence_probability(LOSSES, RATES, LEVELS)
    total = aggregate_probability(LOSSES, RATES, LEVELS, years=50_000)
    for one, both in zip(single, total, strict=True):
        assert both.value + 4 * both.std_error >= one
    assert total[3].value > single[3] + 0.05  # losses add up
    assert np.all(np.diff(single) <= 0)


def test_where_sums_hardly_matter_both_curves_agree():
    rare = RATES / 1000
    single = occurrence_probability(LOSSES, rare, [90.0])[0]
    (total,) = aggregate_probability(LOSSES, rare, [90.0], years=2_000_000)
    assert abs(total.value - single) < 4 * total.std_error


def test_sums_of_two_sizes_follow_the_poisson_law():
    """P(100 N + 250 M > 300) by summing over both Poisson numbers."""
    a, b = 0.8, 0.3
    exact = 1.0 - sum(
        stats.poisson.pmf(n, a) * stats.poisson.pmf(m, b)
        for n in range(4)
        for m in range(2)
        if 100 * n + 250 * m <= 300
    )
    (found,) = aggregate_probability([100.0, 250.0], [a, b], [300.0])
    assert abs(found.value - exact) < 3.5 * found.std_error
    (wrong,) = aggregate_probability([100.0, 250.0], [a, 2 * b], [300.0])
    assert abs(wrong.value - exact) > 10 * wrong.std_error


def test_years_are_the_same_for_a_seed_and_a_longer_run_begins_with_the_shorter():
    first = yearly_sums(LOSSES, RATES, years=30_000, seed=5)
    assert np.array_equal(first, yearly_sums(LOSSES, RATES, years=45_000, seed=5)[:30_000])
    assert not np.array_equal(first, yearly_sums(LOSSES, RATES, years=30_000, seed=6))
    assert np.array_equal(first, yearly_sums(LOSSES, RATES, years=30_000, seed=5))


def test_nothing_happens_without_losses():
    assert not yearly_sums([], [], years=10).any()
    assert occurrence_probability([], [], [0.0]).tolist() == [0.0]
    (point,) = aggregate_probability([10.0], [0.0], [0.0], years=300)
    assert (point.value, point.low, point.high) == (0.0, 0.0, 0.01)
    assert average_annual_loss([], []) == 0.0
    assert return_period_loss([], [], [10.0]).tolist() == [0.0]


def test_the_return_period_inverts_the_curve():
    for period in (1.5, 3.0, 10.0, 60.0, 1e6):
        (loss,) = return_period_loss(LOSSES, RATES, period)
        (at,) = occurrence_probability(LOSSES, RATES, loss)
        (below,) = occurrence_probability(LOSSES, RATES, loss - 1e-6)
        assert at <= 1 / period * (1 + 1e-9)
        assert loss == 0.0 or below > 1 / period


def test_intervals_of_the_curve_come_from_the_spread_between_histories():
    """400 histories of one year with Poisson losses: the interval holds the truth."""
    generator = np.random.default_rng(3)
    held = 0
    for _ in range(200):
        number = generator.poisson(0.4, size=400)
        histories = np.repeat(np.arange(400), number)
        losses = generator.exponential(100.0, len(histories))
        (point,) = occurrence_curve(losses, np.full(len(losses), 1 / 400), histories, 400, [50.0])
        truth = -math.expm1(-0.4 * math.exp(-0.5))
        held += point.low <= truth <= point.high
        assert point.value == pytest.approx(
            occurrence_probability(losses, np.full(len(losses), 1 / 400), [50.0])[0]
        )
    assert 180 <= held <= 199


@pytest.mark.parametrize(
    ("call", "match"),
    [
        (lambda: occurrence_probability([1.0], [1.0, 2.0], [0.0]), "do not pair"),
        (lambda: occurrence_probability([-1.0], [1.0], [0.0]), "losses, row 1"),
        (lambda: occurrence_probability([1.0, 2.0], [1.0, math.nan], [0.0]), "rates, row 2"),
        (lambda: occurrence_probability([1.0], [1.0], [math.nan]), "thresholds"),
        (lambda: aggregate_probability([1.0], [1.0], [0.0], years=0), "years or seed"),
        (lambda: yearly_sums([1.0], [1.0], seed=-1), "years or seed"),
        (lambda: return_period_loss([1.0], [1.0], [1.0]), "too short"),
        (lambda: occurrence_curve([1.0], [1.0], [5], 5, [0.0]), "do not fit"),
        (lambda: occurrence_curve([1.0], [1.0], [0], 1, [0.0]), "do not fit"),
        (lambda: occurrence_curve([1.0], [1.0], [0, 1], 5, [0.0]), "do not fit"),
    ],
)
def test_a_table_that_is_none_is_told(call, match):
    with pytest.raises(ModelError, match=match):
        call()
