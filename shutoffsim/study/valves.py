"""Draws of a valve that nobody knows, with an actuator on it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray
from scipy.stats import qmc

from shutoffsim.model.compiled import entry
from shutoffsim.model.quantiles import LOGNORMAL, quantile

if TYPE_CHECKING:
    from shutoffsim.study.fit_torque.belief import Belief

Array = NDArray[np.float64]

FROM_SCENARIO = "the scenario's distributions, without measurements"


@dataclass(frozen=True)
class Valves:
    """Draws of one valve with one actuator on it, equally likely.

    Attributes
    ----------
    table : float array (n, 9)
        New breakaway torque [N*m], age factor, idle growth, unit factor, exponent of creep, and
        the four numbers of the distribution of the closing share, drawn per demand.
    source : str
        Where what concerns the valve comes from.
    """

    table: Array
    source: str

    @property
    def n(self) -> int:
        """Number of draws."""
        return len(self.table)

    def changed(self, column: int, values: Any) -> Valves:
        """Return the same draws with one column replaced."""
        table = self.table.copy()
        table[:, column] = values
        return Valves(table, self.source)


LEVEL, AGE_FACTOR, IDLE_GROWTH, UNIT, CREEP = range(5)
SHARE = slice(5, 9)


def draw_valves(p: Any, n: int, seed: int, belief: Belief | None = None) -> Valves:
    """Draw valves and actuators from a scrambled Sobol' sequence.

    Parameters
    ----------
    p : record
        Parameters of the design.
    n : int
        How many, a power of two.
    seed : int
        Of the scrambling.
    belief : Belief, optional
        Draws to take in place of the scenario's distributions of the valve.
    """
    u = qmc.Sobol(4, rng=np.random.default_rng([seed, 1])).random(n)
    u = np.clip(u, 1e-9, 1.0 - 1e-9)
    unit, creep = (
        quantiles_of(p.actuator_unit_spread, u[:, 2]),
        quantiles_of(p.mount_creep, u[:, 3]),
    )
    if belief is None:
        level = quantiles_of(p.valve_breakaway, u[:, 0])
        age_factor = quantiles_of(p.valve_age_factor, u[:, 1])
        growth, source = np.full(n, float(p.valve_idle_growth)), FROM_SCENARIO
        share = np.tile(np.asarray(p.valve_closing_share, float), (n, 1))
    else:
        draws = len(belief.level)
        pick = np.minimum((u[:, 0] * draws).astype(np.int64), draws - 1)
        level = np.asarray(belief.level, float)[pick]
        age_factor = np.asarray(belief.age_factor, float)[pick]
        growth, source = np.asarray(belief.idle_growth, float)[pick], belief.source
        share = np.zeros((n, 4))
        share[:, 0] = LOGNORMAL
        share[:, 1] = np.log(np.asarray(belief.closing_share, float)[pick])
        share[:, 2] = np.asarray(belief.scatter, float)[pick]
    return Valves(np.column_stack([level, age_factor, growth, unit, creep, share]), source)


def quantiles_of(distributions: Any, u: Array) -> Array:
    """Return the quantiles at ``u`` (n, ...) of a distribution as the model draws it.

    Parameters
    ----------
    distributions : float array (4,) or (n, 4)
        One for all, or one for each row of ``u``.
    u : float array (n, ...)
    """
    rows = np.broadcast_to(np.asarray(distributions, float), (len(u), 4))
    values = np.empty(u.shape)
    fill_quantiles(np.ascontiguousarray(rows), u.reshape(len(u), -1), values.reshape(len(u), -1))
    return values


@entry
def fill_quantiles(distributions, u, values):  # type: ignore[no-untyped-def]
    """Fill ``values`` (n, m) with the quantiles at ``u`` (n, m) of ``distributions`` (n, 4)."""
    for i in range(u.shape[0]):
        for j in range(u.shape[1]):
            values[i, j] = quantile(distributions[i], u[i, j])
