"""The tally of a few made-up histories, against sums written out anew."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest

from shutoffsim.engine.run import Chunk
from shutoffsim.estimate import tally as T
from shutoffsim.model import layout as L

YEARS, BLOCK = 5.0, 2
N, PROBES = 7, 3  # histories, the last block holds one
FIRST = 4  # number of the first history, after two blocks


def made_up() -> Chunk:
    """Return two designs' incidents; every number is another, so that no two can be confused."""
    chance = np.random.default_rng(12)
    shape = (2, N, PROBES)
    rows = np.zeros(shape, L.INCIDENT)
    rows["weight"] = chance.uniform(0.5, 2.0, shape)
    rows["modelled"] = np.where(chance.random(shape) < 0.6, chance.uniform(10.0, 900.0, shape), 0.0)
    rows["mean_loss"] = 1.1 * rows["modelled"]
    rows["mean_insured"] = 0.4 * rows["mean_loss"] * chance.random(shape)
    rows["loss"] = np.where(rows["modelled"] > 0.0, 7.0, 0.0)  # drawn: counts for nothing here
    rows["mode"] = chance.integers(0, len(L.MODES), shape)
    rows["mode"][:, :, 0] = L.MODE_NONE
    rows["volume"] = chance.lognormal(-3.0, 2.0, shape)
    summary = np.zeros((2, N), L.SUMMARY)
    summary["nuisance_closings"] = chance.integers(0, 4, (2, N))
    summary["dropped"] = [[0] * N, [1, 0, 0, 2, 0, 0, 0]]
    natural = np.zeros(9, L.INCIDENT)
    natural["design"] = [0, 0, 0, 1, 1, 1, 1, 1, 0]
    natural["history"] = FIRST + np.array([0, 0, 3, 1, 2, 6, 6, 6, 5])
    natural["loss"] = np.arange(1.0, 10.0) * 100
    return Chunk(FIRST, rows, natural, summary)


def by_history(chunk: Chunk) -> dict[int, np.ndarray]:
    """Return each figure (2 designs, N histories) a history and year."""
    rows, natural = chunk.rows, chunk.natural
    found = {
        T.LOSS: (rows["weight"] * rows["mean_loss"]).sum(axis=2),
        T.INSURED: (rows["weight"] * rows["mean_insured"]).sum(axis=2),
        T.LEAKS: rows["weight"].sum(axis=2),
        T.DAMAGING: np.where(rows["loss"] > 0, rows["weight"], 0.0).sum(axis=2),
        T.FAILED: np.where(rows["mode"] > 0, rows["weight"], 0.0).sum(axis=2),
        T.NUISANCE: np.array(chunk.summary["nuisance_closings"]),
        T.NATURAL_LOSS: np.zeros((2, N)),
        T.NATURAL_LEAKS: np.zeros((2, N)),
    }
    for row in natural:
        place = row["design"], row["history"] - FIRST
        found[T.NATURAL_LOSS][place] += row["loss"]
        found[T.NATURAL_LEAKS][place] += 1
    for mode in range(len(L.MODES)):
        own = np.where(rows["mode"] == mode, rows["weight"], 0.0)
        found[T.FIRST_MODE + mode] = own.sum(axis=2)
    return {figure: values / YEARS for figure, values in found.items()}


def tally(*chunks: Chunk) -> T.Tally:
    found = T.Tally(2, YEARS, BLOCK)
    for chunk in chunks:
        found.add(chunk)
    return found


def in_blocks(values: np.ndarray) -> np.ndarray:
    return np.array([values[at : at + BLOCK].sum() for at in range(0, len(values), BLOCK)])


def error_of_ratio(top: np.ndarray, bottom: np.ndarray) -> float:
    """Return the standard error of a ratio of sums, over blocks, by linearisation."""
    tops, bottoms = in_blocks(top), in_blocks(bottom)
    apart = tops - tops.sum() / bottoms.sum() * bottoms
    blocks = len(tops)
    return math.sqrt((apart**2).sum() * blocks / (blocks - 1)) / bottoms.sum()


CASES = [(design, figure) for design in (0, 1) for figure in by_history(made_up())]


@pytest.mark.parametrize(("design", "figure"), CASES)
def test_means_and_their_errors(design, figure):
    values = by_history(made_up())[figure][design]
    found = tally(made_up()).mean(design, figure)
    assert found.value == pytest.approx(values.mean(), rel=1e-12)
    expected = error_of_ratio(values, np.ones(N))
    if expected > 0.0:
        assert found.std_error == pytest.approx(expected, rel=1e-9)


@pytest.mark.parametrize("figure", [T.LOSS, T.INSURED, T.FAILED, T.NUISANCE])
def test_differences_are_paired(figure):
    values = by_history(made_up())[figure]
    found = tally(made_up()).difference(1, figure, 0)
    assert found.value == pytest.approx((values[1] - values[0]).mean(), rel=1e-12)
    assert found.std_error == pytest.approx(error_of_ratio(values[1] - values[0], np.ones(N)))
    back = tally(made_up()).difference(0, figure, 1)
    assert back.value == pytest.approx(-found.value, rel=1e-12)


@pytest.mark.parametrize(("figure", "of"), [(T.FAILED, T.LEAKS), (T.INSURED, T.LOSS)])
def test_shares(figure, of):
    values = by_history(made_up())
    for design in (0, 1):
        found = tally(made_up()).share(design, figure, of)
        top, whole = values[figure][design], values[of][design]
        assert found.value == pytest.approx(top.sum() / whole.sum(), rel=1e-12)
        assert found.std_error == pytest.approx(error_of_ratio(top, whole), rel=1e-9)


def parts(chunk: Any, design: int) -> np.ndarray:
    return (chunk.rows["weight"] * chunk.rows["mean_loss"])[design].ravel()


def test_how_many_incidents_carry_a_loss():
    """(sum x)^2 / sum x^2, and the largest of the sum."""
    for design in (0, 1):
        x = parts(made_up(), design)
        found = tally(made_up())
        effective = x.sum() ** 2 / (x**2).sum()
        assert found.effective_incidents(design) == pytest.approx(effective, rel=1e-12)
        assert found.largest_share(design) == pytest.approx(x.max() / x.sum(), rel=1e-12)


def test_what_is_counted():
    found = tally(made_up())
    assert (found.n, found.blocks, found.rows, found.dropped) == (7, 4, 21, 3.0)
    assert found.volumes.sum(axis=(1, 2)) == pytest.approx(
        made_up().rows["weight"].sum(axis=(1, 2)), rel=1e-12
    )


def test_two_chunks_are_one():
    """Cut at the end of a block, the second numbered on."""
    whole = made_up()
    natural = whole.natural
    early = natural["history"] < FIRST + 4
    one = Chunk(FIRST, whole.rows[:, :4], natural[early], whole.summary[:, :4])
    two = Chunk(FIRST + 4, whole.rows[:, 4:], natural[~early], whole.summary[:, 4:])
    a, b = tally(whole), tally(one, two)
    for name in ("total", "products", "pairs", "volumes", "greatest", "squares"):
        assert getattr(a, name) == pytest.approx(getattr(b, name), rel=1e-12)
    assert (a.n, a.blocks, a.rows, a.dropped) == (b.n, b.blocks, b.rows, b.dropped)


@pytest.mark.parametrize(("histories", "block"), [(255, 1), (256, 32), (100000, 32), (1, 1)])
def test_histories_in_a_block(histories, block):
    """Eight blocks of 32 are wanted for a spread between them; else each history counts alone."""
    assert T.block_for(histories) == block


def test_volumes_that_differ_by_rounding_alone_are_one_volume():
    """2.5 m3 in every leak, give or take the seventh digit: no width of a bin is in the error."""
    chunk = made_up()
    chunk.rows["volume"] = 2.5 * (1.0 + 2e-7 * np.linspace(-1.0, 1.0, PROBES))
    tally = T.Tally(2, YEARS, 1)
    tally.add(chunk)
    found = tally.volume_quantile(0, 0.5)
    assert found.value == pytest.approx(2.5, rel=1e-6)
    assert found.high - found.low <= 1e-9
