"""Where the probes of a history are placed: which source, which time, with which density."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from shutoffsim.model import leak
from shutoffsim.model.compiled import entry
from shutoffsim.model.quantiles import quantile

CELLS = 240
_LEAST_SHARE = 0.25  # of an even share: no source is starved of probes


@dataclass(frozen=True)
class Placement:
    """Distribution of probes over sources and time, the same for all designs of a study.

    Attributes
    ----------
    share_cum : array (sources + 1,)
        Cuts (0, 1) into one stretch per source.
    cell_cum : array (sources, cells + 1)
        Distribution of each source's probes over equal cells of the service life.
    cell : float
        Length of a cell, s.
    """

    share_cum: NDArray[np.float64]
    cell_cum: NDArray[np.float64]
    cell: float


@entry
def fill_rates(params, cell, rates):  # type: ignore[no-untyped-def]
    """Fill ``rates`` (designs, sources, cells) with the part rates in the middle of each cell."""
    for d in range(len(params)):
        p = params[d]
        for i in range(p.n_sources):
            for g in range(rates.shape[2]):
                rates[d, i, g] = leak.part_rate(p, i, (g + 0.5) * cell)


def _stretch(p: Any, i: int) -> float:
    """Return roughly how much weather and absence raise the leaks of source ``i``."""
    spell = min(p.weather_spell_rate * quantile(p.weather_spell_duration, 0.5), 1.0)
    if p.source_winter[i] > 0.0:
        spell = min(2.0 * spell, 1.0)
    away = 0.0
    if p.people_trips == 1:
        trip = quantile(p.people_trip, 0.5)
        away = trip / (trip + quantile(p.people_stay, 0.5))
    factor = 1.0 + spell * (p.source_spell_factor[i] - 1.0)
    return float(factor * (1.0 + away * (p.source_trip_factor[i] - 1.0)))


def place(params: Any) -> Placement:
    """Return the placement for the designs ``params`` (record array (k,)).

    Any positive density gives unbiased estimates, since each probe carries its weight; this one
    follows the largest rate of any design, so that no design's leaks go unprobed.
    """
    sources = int(params["n_sources"].max())
    cell = float(params["service_life"].max()) / CELLS
    rates = np.zeros((len(params), sources, CELLS))
    fill_rates(params, cell, rates)
    density = rates.max(axis=0)
    empty = density.sum(axis=1) <= 0.0
    density = np.maximum(density, 0.05 * density.mean(axis=1, keepdims=True))
    density[empty] = 1.0
    stretch = np.array([max(_stretch(p, i) for p in params) for i in range(sources)])
    share = np.where(empty, 0.0, density.sum(axis=1) * stretch)
    share = share / share.sum() if share.sum() > 0.0 else np.full(sources, 1.0 / sources)
    share = np.maximum(share, _LEAST_SHARE / sources)
    share /= share.sum()
    return Placement(_cumulate(share), np.stack([_cumulate(row) for row in density]), cell)


def _cumulate(mass: NDArray[np.float64]) -> NDArray[np.float64]:
    cum = np.concatenate([[0.0], np.cumsum(mass / mass.sum())])
    cum[-1] = 1.0
    return cum
