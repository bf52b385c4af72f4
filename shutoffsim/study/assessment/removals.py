"""What would change if one failure mode could not happen: the mode is taken out, and run again.

Each removal changes the numbers of a design so that the link cannot break. The runs use the same
leaks, outages and people as the run with it, so small reductions show. Reductions do not add up:
where two links are broken at once, mending one alone may gain nothing.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, Final

import numpy as np

from shutoffsim.engine.placement import Placement
from shutoffsim.engine.run import PROBES, Setup
from shutoffsim.estimate import tally as T
from shutoffsim.estimate.tally import Tally, block_for
from shutoffsim.model import layout as L
from shutoffsim.model.modes import FAILURE_MODES, Change
from shutoffsim.study.assessment.loss_parts import Removal
from shutoffsim.study.options import Progress
from shutoffsim.study.runs import run_histories

CHANGES: Final = {
    mode: traits.without
    for mode, traits in FAILURE_MODES.items()
    if isinstance(traits.without, Change)
}
NOT_REMOVABLE: Final = {
    mode: traits.without
    for mode, traits in FAILURE_MODES.items()
    if isinstance(traits.without, str)
}
_RECORDS = 12  # run together: the memory of their incidents is bounded


def run_removals(
    params: Any,
    modes: Sequence[Sequence[str]],
    placement: Placement,
    seed: int,
    histories: int,
    workers: int = 1,
    progress: Progress | None = None,
) -> list[tuple[Removal, ...]]:
    """Return what removing each of its failure modes would be worth, for each design.

    Parameters
    ----------
    params : record array (k,)
        Designs.
    modes : sequence (k,) of sequences of str
        Which modes to remove from each; those without a change are left out.
    placement : Placement
        That of the run with the modes.
    seed, histories, workers : int
    progress : callable, optional
        Called as ``progress(histories done, histories planned)``.
    """
    wanted = [[mode for mode in each if mode in CHANGES] for each in modes]
    planned = sum(len(each) + 1 for each in wanted if each) * histories
    done = 0
    found: list[tuple[Removal, ...]] = []
    for d, each in enumerate(wanted):
        removals: list[Removal] = []
        for first in range(0, len(each), _RECORDS):
            part = each[first : first + _RECORDS]
            records = np.repeat(params[d : d + 1], len(part) + 1)
            for record, mode in zip(records[1:], part, strict=True):
                CHANGES[mode].apply(record)
            years = float(params["service_life"][d]) / L.YEAR
            tally = Tally(len(records), years, block_for(histories), records)
            setup = Setup(records, seed, "batch", PROBES, placement)

            def show(now: int, _end: int, size: int = len(records), before: int = done) -> None:
                if progress is not None:
                    progress(min(before + now * size, planned), planned)

            run_histories(setup, histories, tally.add, workers=workers, progress=show)
            done += histories * len(records)
            removals += [_removal(mode, tally, at) for at, mode in enumerate(part, start=1)]
        found.append(tuple(sorted(removals, key=lambda r: -r.reduction.value)))
    return found


def _removal(mode: str, tally: Tally, at: int) -> Removal:
    figure = T.FIRST_MODE + L.MODES.index(mode)
    gain = tally.difference(0, T.LOSS, at)
    before, after = tally.share(0, figure), tally.share(at, figure)
    change = CHANGES[mode]
    remains = change.remains if after.value > 0.0 else ""
    return Removal(mode, change.how, gain, before, after, remains)
