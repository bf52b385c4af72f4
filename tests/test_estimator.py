"""The estimator: probes against counting, honest intervals, pairs, and when to stop."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from checks import TOLERANCE, Finding, assert_agrees, leaking, mean_and_error, perfect
from scipy import stats
from test_exact import (
    CASES,
    detected_failures,
    dormant_average,
    exercised_yearly,
    outages_with_battery,
    undersized,
)

import shutoffsim
from shutoffsim.engine.run import Chunk, Setup, run_chunk, run_chunks
from shutoffsim.errors import ModelError
from shutoffsim.estimate import tally as T
from shutoffsim.estimate.estimate import t_factor, with_interval
from shutoffsim.estimate.tally import Tally
from shutoffsim.model import layout as L
from shutoffsim.model.streams import BLOCK
from shutoffsim.study.compare import LEAST_HISTORIES
from shutoffsim.study.pfd import failure_on_demand


def sums(chunks: list[Chunk], values: Any, years: float) -> np.ndarray:
    """Return the weighted yearly sum over probes of a column, (designs, histories)."""
    parts = [(c.rows["weight"] * values(c.rows)).sum(axis=2) for c in chunks]
    return np.concatenate(parts, axis=1) / years


def counted(chunks: list[Chunk], values: Any, years: float) -> np.ndarray:
    """Return the yearly sum over natural leaks, (designs, histories)."""
    parts = []
    for chunk in chunks:
        out = np.zeros(chunk.summary.shape)
        at = (chunk.natural["design"], chunk.natural["history"] - chunk.first)
        np.add.at(out, at, values(chunk.natural))
        parts.append(out)
    return np.concatenate(parts, axis=1) / years


def loss(rows: Any) -> Any:
    return rows["loss"]


def mean_loss(rows: Any) -> Any:
    return rows["mean_loss"]


def one(rows: Any) -> Any:
    return np.ones(rows.shape)


def damaging(rows: Any) -> Any:
    return (rows["loss"] > 0.0).astype(float)


def blocks(values: np.ndarray) -> np.ndarray:
    """Return means over blocks of histories, which are what is independent; last axis."""
    return values.reshape(*values.shape[:-1], -1, BLOCK).mean(axis=-1)


def paired(a: np.ndarray, b: np.ndarray) -> Finding:
    """Return the mean of a, expected to be that of b, judged by the spread of their difference."""
    _, error = mean_and_error(a - b)
    return Finding(float(a.mean()), error, float(b.mean()))


# --- probes against counting ---------------------------------------------------------------------


@pytest.fixture(scope="module")
def crowded(scenario) -> tuple[list[Chunk], float]:
    """Return histories of the scenario with a leak a year, to have many to count."""
    params = leaking(scenario.parameters(), 1.0)
    setup = Setup.of(params, 41, probes=16)
    return list(run_chunks(setup, 0, 1200)), float(params["service_life"][0]) / L.YEAR


@pytest.mark.parametrize(("what", "relative"), [(one, 0.03), (damaging, 0.05), (loss, 0.15)])
def test_probes_agree_with_counting(crowded, what, relative):
    """Both estimate the same sum over the leaks of a history (Campbell-Mecke formula)."""
    chunks, years = crowded
    probed, natural = sums(chunks, what, years), counted(chunks, what, years)
    for by_probes, by_count in zip(probed, natural, strict=True):
        assert_agrees(paired(by_count, by_probes), relative)


def test_results_agree_with_counting(cottage):
    result = shutoffsim.compare(cottage, histories=2048, seed=2)
    tally = result.tally
    for d, design in enumerate(result.designs):
        by_probes, by_count = design.expected_annual_damage, design.damage_by_counting
        sums_of_blocks = tally.products[d] / tally.blocks
        gap = by_count.value - by_probes.value
        square = (
            sums_of_blocks[T.LOSS, T.LOSS]
            + sums_of_blocks[T.NATURAL_LOSS, T.NATURAL_LOSS]
            - 2 * sums_of_blocks[T.LOSS, T.NATURAL_LOSS]
        )
        error = math.sqrt((square / BLOCK**2 - gap * gap) / (tally.blocks - 1))
        assert abs(gap) <= TOLERANCE * error
        assert by_probes.std_error < by_count.std_error


# --- looking harder where it matters -------------------------------------------------------------


@pytest.mark.parametrize("case", CASES, ids=str)
def test_looking_harder_leaves_the_answer_alone(case):
    """Extra probes, and stiff valves and failures drawn more often: no bias."""
    assert_agrees(case.find(extra=64, tilt=True), max(2 * case.relative, 0.04))


def test_looking_harder_sharpens_rare_failures():
    """Failures detected at once, 1e-5 per h, repaired in 8 h on average: 7.999e-5 unavailable."""
    case = detected_failures(1e-5, 8.0, histories=10000)
    assert case.expected == pytest.approx(7.99936e-5, rel=2e-4)
    plain, harder = case.find(), case.find(extra=64)
    assert_agrees(harder, 0.03)
    assert harder.std_error < 0.2 * plain.std_error


def test_tilting_sharpens_a_rare_stiffness():
    """Torque enough for all but one valve in three thousand."""
    case = replace(undersized(), probes=1, histories=20000)
    stiff = case.changes.replace("9 N*m", "2.2 N*m")
    exact = float(stats.norm.sf(math.log(0.9 * 10 / (2.2 * 0.8)) / math.hypot(0.5, 0.1)))
    assert 1e-4 < exact < 1e-3
    case = replace(case, changes=stiff, expected=exact)
    plain, tilted = case.find(), case.find(tilt=True)
    assert_agrees(tilted, 0.15)
    assert tilted.std_error < 0.5 * plain.std_error


# --- running sums against the rows themselves ----------------------------------------------------


@pytest.fixture(scope="module")
def watched(cottage) -> tuple[shutoffsim.Comparison, list[Chunk]]:
    chunks: list[Chunk] = []
    return shutoffsim.compare(cottage, histories=640, seed=5, watch=chunks.append), chunks


def test_means_and_errors_are_those_of_the_histories(watched):
    result, chunks = watched
    years = result.horizon_years
    by_name = {
        "expected_annual_damage": sums(chunks, mean_loss, years),
        "insured_annual_damage": sums(chunks, lambda rows: rows["mean_insured"], years),
        "leaks_per_year": sums(chunks, one, years),
        "damaging_leaks_per_year": sums(chunks, damaging, years),
        "damage_by_counting": counted(chunks, loss, years),
    }
    for name, values in by_name.items():
        for design, series in zip(result.designs, values, strict=True):
            found = getattr(design, name)
            value, error = mean_and_error(blocks(series))
            assert found.value == pytest.approx(value, rel=1e-9)
            assert found.std_error == pytest.approx(error, rel=1e-6)
            half = t_factor(640 // BLOCK) * error
            assert found.high == pytest.approx(value + half, rel=1e-6)
            assert found.low == pytest.approx(max(value - half, 0.0), rel=1e-6)


def test_shares_are_ratios_with_their_linearised_error(watched):
    result, chunks = watched
    leaks = sums(chunks, one, 1.0)
    failed = sums(chunks, lambda rows: rows["mode"] > L.MODE_NONE, 1.0)
    for d, design in enumerate(result.designs):
        found = design.probability_of_failure_on_demand
        value = failed[d].sum() / leaks[d].sum()
        assert found.value == pytest.approx(value, rel=1e-9)
        if value < 1.0:
            _, error = mean_and_error(blocks(failed[d] - value * leaks[d]))
            assert found.std_error == pytest.approx(error / leaks[d].mean(), rel=1e-6)


def test_failure_modes_add_up(watched):
    result, _ = watched
    for design in result.designs:
        total = sum(share.value for share in design.failure_modes.values())
        assert total == pytest.approx(design.probability_of_failure_on_demand.value, rel=1e-9)


def test_volume_quantiles_are_those_of_the_weighted_leaks(watched):
    """Within half a bin of the histogram, 1.7 % wide: inside a bin leaks are taken as even."""
    result, chunks = watched
    for d, design in enumerate(result.designs):
        volume = np.concatenate([c.rows["volume"][d].ravel() for c in chunks])
        weight = np.concatenate([c.rows["weight"][d].ravel() for c in chunks])
        order = np.argsort(volume)
        shares = np.cumsum(weight[order]) / weight.sum()
        for label, share in (("median", 0.5), ("p95", 0.95)):
            exact = volume[order][np.searchsorted(shares, share)] * 1000
            assert design.escaped_volume_l[label].value == pytest.approx(exact, rel=0.0087)


def test_sums_do_not_depend_on_the_pieces(cottage):
    setup = Setup.of(cottage.parameters(), 5)
    whole, pieces = (Tally(len(cottage.designs), 10.0) for _ in range(2))
    whole.add(run_chunk(setup, 0, 300))
    for first, n in ((0, 96), (96, 32), (128, 172)):
        pieces.add(run_chunk(setup, first, n))
    for name in ("total", "products", "pairs", "volumes", "greatest", "squares"):
        assert getattr(whole, name) == pytest.approx(getattr(pieces, name), rel=1e-9), name
    assert whole.n == pieces.n == 300


# --- pairs -------------------------------------------------------------------------------------


def test_a_difference_is_paired_and_sharper_for_it(watched):
    result, chunks = watched
    damage = sums(chunks, mean_loss, result.horizon_years)
    sharper = 0
    for d, found in enumerate(result.differences, start=1):
        gap = found.expected_annual_damage
        value, error = mean_and_error(blocks(damage[d] - damage[0]))
        one, other = result.designs[d], result.designs[0]
        means = one.expected_annual_damage.value - other.expected_annual_damage.value
        assert gap.value == pytest.approx(means, rel=1e-9)
        assert gap.value == pytest.approx(value, rel=1e-9)
        assert gap.std_error == pytest.approx(error, rel=1e-6)
        unpaired = math.hypot(
            one.expected_annual_damage.std_error, other.expected_annual_damage.std_error
        )
        assert gap.std_error < unpaired
        sharper += gap.std_error < 0.9 * unpaired
    assert sharper >= 3


@pytest.mark.parametrize(
    ("wrong", "told"),
    [
        ({"engine": "simpy"}, "there is no such engine"),
        ({"designs": "0"}, "designs are not a list"),
    ],
)
def test_what_python_callers_get_wrong_is_told(wrong, told):
    with pytest.raises(ModelError, match=told):
        shutoffsim.compare(perfect("", ""), **{"histories": 4, **wrong})


def test_designs_that_are_alike_differ_by_exactly_nothing():
    scenario = perfect(exercised_yearly(), exercised_yearly())
    found = shutoffsim.compare(scenario, histories=100).differences[0]
    assert found.expected_annual_damage.value == 0.0
    assert found.expected_annual_damage.std_error == 0.0
    assert found.probability_of_improvement == 0.5


def test_like_designs_are_compared_far_below_the_noise(cottage):
    """Designs that differ in the mount only see the same leaks, outages and people."""
    result = shutoffsim.compare(
        cottage, ["plus battery", "plus quick release"], histories=1024, seed=1
    )
    gap = result.differences[0].expected_annual_damage
    noise = result.designs[0].expected_annual_damage.std_error
    assert gap.std_error < 0.35 * noise


# --- honest intervals -----------------------------------------------------------------------------


FLAT_LOSS = """
damage = {harmless = "1 L", fixed_loss = "1000 EUR", area_loss = "0 EUR/m2", \
contents_loss = "0 EUR/m2"}
"""


def coverage(seeds: int, histories: int, params: Any, exact: dict[str, float]) -> dict[str, float]:
    """Return how often the 95 % intervals hold the exact values."""
    years = float(params["service_life"][0]) / L.YEAR
    hits = dict.fromkeys(exact, 0)
    setup = Setup.of(params, 0, probes=4)
    for seed in range(seeds):
        tally = Tally(len(params), years)
        chunk = run_chunk(Setup(params, seed, "batch", 4, setup.placement), 0, histories)
        tally.add(chunk)
        intervals = {
            "damage": tally.mean(0, T.LOSS, 0.0),
            "failed": tally.share(0, T.FAILED),
            "difference": tally.difference(1, T.LOSS),
        }
        for name, interval in intervals.items():
            hits[name] += interval.low <= exact[name] <= interval.high
    return {name: count / seeds for name, count in hits.items()}


def spoilt_pair() -> tuple[Any, dict[str, float]]:
    """Return two designs with different test intervals, and what they exactly come to."""
    often = exercised_yearly().replace("8760 h", "4380 h")
    params = perfect(exercised_yearly() + FLAT_LOSS, often + FLAT_LOSS).parameters()
    rare, frequent = (dormant_average(1, 1, 2.5e-5, interval) for interval in (8760.0, 4380.0))
    per_year = 1e-6 * 1000.0
    exact = {
        "damage": per_year * rare,
        "failed": rare,
        "difference": per_year * (frequent - rare),
    }
    return params, exact


def test_intervals_hold_the_truth_as_often_as_they_say():
    """1,000 seeds: 95 % +- 0.7 % hold the exact value, so 93 to 97 % is three errors wide."""
    params, exact = spoilt_pair()
    for name, share in coverage(1000, 200, params, exact).items():
        assert 0.93 <= share <= 0.97, (name, share)


def test_intervals_of_rare_failures_are_honest():
    """Outages that outlast a battery of 100 h: few histories show one, and some show many.

    Of 40 intervals of 95 %, fewer than 34 hold the truth once in a thousand times.
    """
    case = outages_with_battery(100.0)
    scenario = perfect(case.changes)
    held = 0
    for seed in range(40):
        found = failure_on_demand(scenario, "0", relative_error=0.5, seed=seed, most=1024)
        held += found.probability.low <= case.expected <= found.probability.high
        assert found.probability.relative_error < 0.1
    assert held >= 34


def test_coverage_can_fail():
    """A reference that is one tenth off is held too seldom."""
    params, exact = spoilt_pair()
    wrong = {name: 1.1 * value for name, value in exact.items()}
    shares = coverage(200, 200, params, wrong)
    assert max(shares.values()) < 0.93


def test_an_interval_needs_two_values():
    found = with_interval(3.0, 1.0, 1)
    assert math.isnan(found.std_error)
    assert (found.low, found.high) == (-math.inf, math.inf)
    assert t_factor(2) == pytest.approx(12.7062, rel=1e-5)  # Student's table
    assert t_factor(11) == pytest.approx(2.2281, rel=1e-4)


def test_what_was_never_seen_is_not_called_impossible():
    """Rule of three: 0 of n histories with leaks gives an upper end near 3 / n."""
    design = shutoffsim.compare(perfect(""), histories=300).designs[0]
    failed = design.probability_of_failure_on_demand
    assert failed.value == 0.0
    assert failed.high == pytest.approx(0.01)


def test_a_heavy_tail_is_announced(cottage):
    result = shutoffsim.compare(cottage, histories=2, seed=1)
    assert any(design.warnings for design in result.designs)


# --- stopping, and seeds --------------------------------------------------------------------------


def test_runs_stop_at_the_asked_precision(cottage):
    names = cottage.designs[:2]
    coarse, fine = (shutoffsim.compare(cottage, names, precision=p) for p in (0.05, 0.004))
    for result, precision in ((coarse, 0.05), (fine, 0.004)):
        assert result.reached
        assert result.histories >= LEAST_HISTORIES
        for design in result.designs:
            assert design.expected_annual_damage.relative_error <= precision
    assert fine.histories > coarse.histories


def test_a_given_number_of_histories_is_run_exactly(cottage):
    assert shutoffsim.compare(cottage, cottage.designs[:1], histories=37).histories == 37


def test_seed_zero_is_a_seed_like_any_other(cottage):
    names = cottage.designs[:1]
    seeds = (0, 1, 2**64 - 1)
    values = [
        shutoffsim.compare(cottage, names, histories=64, seed=seed)
        .designs[0]
        .expected_annual_damage.value
        for seed in (*seeds, *seeds)
    ]
    assert values[:3] == values[3:]
    assert len(set(values)) == 3


@pytest.mark.parametrize("seed", [-1, 2**64])
def test_a_seed_out_of_range_is_refused(cottage, seed):
    with pytest.raises(ModelError, match="seed is out of range"):
        shutoffsim.compare(cottage, histories=2, seed=seed)
