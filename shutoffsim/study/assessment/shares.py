"""What let the water through, and how long the steps took."""

from __future__ import annotations

import math

import numpy as np

from shutoffsim.estimate.estimate import Estimate
from shutoffsim.estimate.jackknife import jackknife
from shutoffsim.model import layout as L
from shutoffsim.model.elements import NUMBERED
from shutoffsim.study.assessment.loss_parts import ModeShare, TimePoint, TimeQuantile, Times
from shutoffsim.study.assessment.losses import STEPS, Array, LossTally, time_edges

QUANTILES = (0.1, 0.25, 0.5, 0.75, 0.9, 0.95)
#: Times [s] at which the distribution is reported: 1-2-5 steps from a second to a year.
TIMES = (
    1.0, 2.0, 5.0, 10.0, 20.0, 30.0, 60.0, 120.0, 300.0, 600.0, 1200.0, 1800.0, 3600.0, 7200.0,
    4 * 3600.0, 8 * 3600.0, 86400.0, 2 * 86400.0, 7 * 86400.0, 30 * 86400.0, 90 * 86400.0,
    365.25 * 86400.0,
)  # fmt: skip


def mode_shares(tally: LossTally, d: int) -> tuple[ModeShare, ...]:
    """Return the failure modes of a design that occur, largest damage first."""
    there = np.flatnonzero(tally.mode_leaks[d].sum(axis=0) > 0.0)
    sums = np.stack([tally.mode_leaks[d][:, there], tally.mode_damage[d][:, there]], axis=1)
    m = len(there)

    def figure(total: Array, count: float) -> Array:
        leaks, damage = total
        yearly = damage / (count * tally.years)
        return np.concatenate([_parts(leaks), yearly, _parts(damage)])

    found = jackknife(sums, tally.n, figure, least=0.0)
    shares = []
    for i, number in enumerate(there):
        leaks, damage, part = found[i], found[m + i], found[2 * m + i]
        if damage.value == 0.0 and damage.certain:
            damage = Estimate(0.0, math.nan, 0.0, _bound_of_damage(tally, d, int(number)))
        known = number == L.MODE_NO_AUTOMATION and _nothing_closes(tally, d)
        leaks, part = (
            Estimate(1.0, math.nan, 1.0 - tally.unseen, 1.0)
            if share.value == 1.0 and share.std_error == 0.0 and not known
            else _bounded(share)
            for share in (leaks, part)
        )
        shares.append(ModeShare(L.MODES[number], leaks, damage, part))
    return tuple(sorted(shares, key=lambda s: (-s.damage.value, -s.leaks.value)))


def _nothing_closes(tally: LossTally, d: int) -> bool:
    return tally.params is not None and not NUMBERED[tally.params[d]["element_kind"]].closes


def _bound_of_damage(tally: LossTally, d: int, mode: int) -> float:
    """Return what the leaks of a mode of which none did damage may cost a year."""
    cap = tally.cap(d)
    own = float(tally.mode_leaks[d, :, mode].sum()) / (float(tally.n.sum()) * tally.years)
    return tally.unseen * own * cap


def _parts(values: Array) -> Array:
    whole = values.sum()
    return values / whole if whole > 0.0 else np.zeros_like(values)


def _bounded(share: Estimate) -> Estimate:
    return Estimate(share.value, share.std_error, share.low, min(share.high, 1.0))


def step_times(tally: LossTally, d: int) -> tuple[Times, ...]:
    """Return how long detection and closing take, over the leaks of a design."""
    return tuple(_times(tally, d, step) for step in range(len(STEPS)))


def _times(tally: LossTally, d: int, step: int) -> Times:
    edges = time_edges()
    at = np.searchsorted(edges, np.array(TIMES) * (1.0 + 1e-9), side="right") - 1

    def figure(total: Array, _count: float) -> Array:
        whole = float(total.sum())
        if whole <= 0.0:
            return np.full(1 + len(TIMES) + len(QUANTILES), np.nan)
        reached = np.cumsum(total[:-1]) / whole
        never = np.array([total[-1] / whole])
        return np.concatenate([never, reached[at], _quantiles(reached, edges)])

    found = jackknife(tally.times[d][:, step], tally.n, figure, least=0.0)
    never, rest = _bounded(found[0]), found[1:]
    curve = tuple(TimePoint(t, _bounded(rest[i])) for i, t in enumerate(TIMES))
    quantiles = tuple(
        TimeQuantile(share, told if np.isfinite(told.value) else None)
        for share, told in zip(QUANTILES, rest[len(TIMES) :], strict=True)
    )
    return Times(STEPS[step], never, quantiles, curve)


def _quantiles(reached: Array, edges: Array) -> Array:
    """Return the times at which the shares are reached, between bins in proportion; nan: never."""
    found = []
    for share in QUANTILES:
        i = int(np.searchsorted(reached, share))
        if i >= len(reached):
            found.append(np.nan)
            continue
        before = float(reached[i - 1]) if i else 0.0
        low = float(edges[i - 1]) if i else 0.0
        part = (share - before) / (float(reached[i]) - before)
        found.append(low + part * (float(edges[i]) - low))
    return np.array(found)
