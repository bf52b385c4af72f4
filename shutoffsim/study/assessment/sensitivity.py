"""Which assumptions move the answer most: one at a time, on the same leaks, outages and people.

A varied value is put into the scenario as a design's change would be, so that every rule applies.
All are tried with a few histories; those that move the answer most are computed again with
more.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, Final

import numpy as np
from numpy.typing import NDArray

from shutoffsim.engine.placement import Placement, place
from shutoffsim.engine.run import PROBES, Chunk, Setup
from shutoffsim.errors import ScenarioError
from shutoffsim.estimate.estimate import Estimate
from shutoffsim.estimate.jackknife import jackknife
from shutoffsim.estimate.tally import block_for
from shutoffsim.model import layout as L
from shutoffsim.scenario.entries import Entry, given, words
from shutoffsim.scenario.quantities import as_written
from shutoffsim.scenario.resolve import Design
from shutoffsim.scenario.structure import Path
from shutoffsim.study.assessment.assumed import Assumed, assumed
from shutoffsim.study.assessment.ranges import RULES, range_of
from shutoffsim.study.assessment.result import Sensitivity, Swing
from shutoffsim.study.options import Progress
from shutoffsim.study.runs import run_histories

if TYPE_CHECKING:
    from shutoffsim.scenario import Scenario

Array = NDArray[np.float64]
SHOWN: Final = 12
_REFINED = 18  # computed again with all histories; some more than are shown
_TRIED_WITH = 64  # histories
_TOGETHER = 8  # pairs of designs run at once


@dataclass
class _Assumption(Assumed):
    """One with the ends of its range."""

    low: Any = None
    high: Any = None
    rule: str = ""
    records: list[Any] = field(default_factory=list)  # at the low and at the high end


def vary_assumptions(
    scenario: Scenario,
    design: str,
    reference: str,
    seed: int,
    histories: int,
    *,
    placement: Placement | None = None,
    workers: int = 1,
    progress: Progress | None = None,
) -> Sensitivity:
    """Vary each assumption in use and rank them by what they do to the paired difference.

    Parameters
    ----------
    scenario : Scenario
    design, reference : str
        The difference is that of their expected annual damage.
    seed, histories, workers : int
    placement : Placement, optional
        Of the probes; by default that of a comparison of all designs.
    progress : callable, optional
        Called as ``progress(done, planned)``.
    """
    names = (reference, design)
    pair = [scenario.design(name) for name in names]
    base = scenario.parameters(names)
    where = placement if placement is not None else place(scenario.parameters())
    found, not_varied = _assumptions(scenario, pair)
    few = min(_TRIED_WITH, histories)
    planned = len(found) * few + min(_REFINED, len(found)) * histories
    run = _Runs(base, where, seed, workers, progress, planned)
    spans = [_span(*ends, np.zeros(few)) for ends in run.differences(found, few)]
    order = sorted(range(len(found)), key=lambda i: (-spans[i], found[i].key))
    chosen = [found[i] for i in order[:_REFINED]]
    middle = run.base_difference(histories)
    swings = [
        _swing(assumption, low, high, middle)
        for assumption, (low, high) in zip(chosen, run.differences(chosen, histories), strict=True)
    ]
    shown = sorted(swings, key=lambda s: (-s.span, s.key))[:SHOWN]
    return Sensitivity(
        design=design,
        reference=reference,
        histories=histories,
        base=_mean(middle),
        swings=tuple(swing for swing in shown if swing.span > 0.0),
        tried=len(found),
        not_varied=not_varied,
        rules=RULES,
    )


def _assumptions(
    scenario: Scenario, pair: Sequence[Design]
) -> tuple[list[_Assumption], dict[str, str]]:
    """Return the assumptions that can be varied, with their ends, and why others cannot."""
    groups = [_Assumption(**vars(each)) for each in assumed(pair)]
    found, not_varied = [], {}
    for group in groups:
        reason = _set_ends(scenario, pair, group)
        if reason:
            not_varied[group.key] = reason
        else:
            found.append(group)
    varied = {group.key for group in found}  # by another of its values
    return found, {key: reason for key, reason in not_varied.items() if key not in varied}


def _set_ends(scenario: Scenario, pair: Sequence[Design], group: _Assumption) -> str:
    """Set ends and records of an assumption; return why it cannot be varied, or nothing."""
    made = range_of(group.entry, group.shape)
    if isinstance(made, str):
        return made
    ends, records = [], []
    refused = ""
    for end in (made.low, made.high):
        try:
            records.append(_records(scenario, pair, group.places, end))
            ends.append(end)
        except ScenarioError as error:
            refused = error.message
            records.append(None)
            ends.append(group.entry.value)
    if all(record is None for record in records):
        return f"no other value fits the rest of the scenario: {refused}"
    group.low, group.high = ends
    group.rule = made.rule
    if refused:
        group.rule += f"; one side only, as the other does not fit the scenario: {refused}"
    group.records = records
    return ""


def _records(
    scenario: Scenario, pair: Sequence[Design], places: Sequence[tuple[int, Path]], value: Any
) -> Any:
    """Return the parameters of the two designs with another value at some places."""
    if places[0][1] == ("service_life",):
        scenario = scenario.with_values(None, {"service_life": value})
    else:
        for d, design in enumerate(pair):
            changes = {path: value for at, path in places if at == d}
            scenario = scenario.with_values(design.name, changes)
    return scenario.parameters([design.name for design in pair])


class _Runs:
    """Yearly losses per history of varied pairs; what equals the base is not run again."""

    def __init__(
        self,
        base: Any,
        placement: Placement,
        seed: int,
        workers: int,
        progress: Progress | None,
        planned: int,
    ) -> None:
        self.base = base
        self.placement = placement
        self.seed = seed
        self.workers = workers
        self.progress = progress
        self.planned = planned
        self.done = 0
        self.years = float(base["service_life"][0]) / L.YEAR
        self.known: dict[int, Array] = {}

    def base_difference(self, histories: int) -> Array:
        """Return design minus reference [money/year] of each history, all values as stated."""
        losses = self._base(histories)
        return np.asarray(losses[1] - losses[0])

    def _base(self, histories: int) -> Array:
        if histories not in self.known:
            self.known[histories] = self._losses(self.base, histories)
        return self.known[histories]

    def differences(
        self, assumptions: Sequence[_Assumption], histories: int
    ) -> Iterator[tuple[Array, Array]]:
        """Yield, for each assumption, the change of the difference at its low and high end."""
        base = self._base(histories)
        for first in range(0, len(assumptions), _TOGETHER):
            part = assumptions[first : first + _TOGETHER]
            records: list[Any] = []
            at: dict[tuple[int, int, int], int] = {}
            for i, assumption in enumerate(part):
                for end, pair in enumerate(assumption.records):
                    for d in range(2):
                        if pair is not None and pair[d].tobytes() != self.base[d].tobytes():
                            at[i, end, d] = len(records)
                            records.append(pair[d : d + 1])
            losses = self._losses(np.concatenate(records), histories) if records else base
            for i in range(len(part)):
                ends = []
                for end in range(2):
                    of = [losses[at[i, end, d]] if (i, end, d) in at else base[d] for d in range(2)]
                    ends.append(of[1] - of[0] - (base[1] - base[0]))
                yield ends[0], ends[1]
            self.done += len(part) * histories
            if self.progress is not None:
                self.progress(self.done, self.planned)

    def _losses(self, records: Any, histories: int) -> Array:
        setup = Setup(records.view(np.recarray), self.seed, "batch", PROBES, self.placement)
        pieces: list[Array] = []

        def take(chunk: Chunk) -> None:
            pieces.append((chunk.rows["weight"] * chunk.rows["mean_loss"]).sum(axis=2) / self.years)

        run_histories(setup, histories, take, workers=self.workers)
        return np.concatenate(pieces, axis=1)


def _span(low: Array, high: Array, base: Array) -> float:
    """Return how far apart the differences at both ends and at the value in use are."""
    means = (float(base.mean()), float((base + low).mean()), float((base + high).mean()))
    return max(means) - min(means)


def _mean(values: Array) -> Estimate:
    """Return the mean over histories, its interval from the spread between blocks of them."""
    starts = np.arange(0, len(values), block_for(len(values)))
    sums = np.add.reduceat(values, starts)
    sizes = np.diff(np.append(starts, len(values))).astype(float)
    return jackknife(sums[:, None], sizes, lambda total, count: total / count)[0]


def _swing(assumption: _Assumption, low: Array, high: Array, base: Array) -> Swing:
    return Swing(
        key=assumption.key,
        entries=assumption.entries,
        value=words(assumption.entry.written),
        low=_shown(assumption.entry, assumption.low),
        high=_shown(assumption.entry, assumption.high),
        rule=assumption.rule,
        evidence=assumption.origin.evidence,
        source=assumption.origin.source,
        drives=assumption.origin.drives,
        at_low=_mean(base + low),
        at_high=_mean(base + high),
        change_at_low=_mean(low),
        change_at_high=_mean(high),
        span=_span(low, high, base),
    )


def _shown(entry: Entry, value: Any) -> str:
    """Return another value of an entry as it would be written in its units."""
    return words(as_written(given(entry.path, value, entry.written)))
