"""The factor for all that is not modelled, spread over modelled losses by its own law.

What a leak costs is its modelled loss times a factor, up to a cap. The simulation knows the first,
and the law of the second is stated: so the law of losses is their product, without drawing.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from shutoffsim.estimate.quantiles import PIECES
from shutoffsim.model.damage import chances_of_losses
from shutoffsim.model.quantiles import FIXED
from shutoffsim.study.assessment.losses import Array, LossKinds, LossTally

_STEP = 1.02  # from one edge between losses to the next
_UNLIKELY = 1e-9  # share of the losses that are not told apart at each end
_LEAST_EDGES, _MOST_EDGES = 64, 4000


def losses_of(tally: LossTally, d: int) -> LossKinds:
    """Return the losses of a design that occur, each with how often it does."""
    modelled = tally.kinds(d)
    return modelled if tally.params is None else with_factor(modelled, tally.params[d])


def share_beyond(params: Any, modelled: Array, loss: float) -> Array:
    """Return the chance that leaks of ``modelled`` losses (m,) cost more than ``loss``, or it.

    Of the cap that they reach it.
    """
    at = np.array([min(loss, float(params["damage_loss_cap"]))])
    return 1.0 - chances_of_losses(np.asarray(params["damage_severity"]), modelled, at)[:, 0]


def with_factor(modelled: LossKinds, params: Any) -> LossKinds:
    """Return the losses that follow from modelled ones.

    Parameters
    ----------
    modelled : LossKinds
    params : record
        Of a design: the law of the factor, and the cap.

    Returns
    -------
    LossKinds
        A factor that is fixed leaves sizes exact; else losses lie evenly between edges 2 % apart.
        The cap is always exact.
    """
    law, cap = np.asarray(params["damage_severity"]), float(params["damage_loss_cap"])
    if len(modelled.sizes) == 0:
        return modelled
    if int(law[0]) == FIXED:
        factor = float(law[1])
        sizes, first, which = np.unique(
            np.minimum(modelled.sizes * factor, cap), return_index=True, return_inverse=True
        )
        blur = np.where(sizes < cap, modelled.blur[first] * factor, 0.0)
        weights = np.zeros((len(sizes), len(modelled.weights)))
        np.add.at(weights, which, modelled.weights.T)
        return LossKinds(sizes, blur, weights.T)
    edges = _edges(modelled, law, cap)
    below = chances_of_losses(law, modelled.sizes, edges)  # (m, edges)
    within = np.diff(below, axis=1, prepend=0.0)
    weights = modelled.weights @ within
    beyond = modelled.weights @ (1.0 - below[:, -1])
    starts, ends = np.concatenate([[edges[0] * edges[0] / edges[1]], edges[:-1]]), edges
    part = (np.arange(PIECES) + 0.5) / PIECES
    sizes = (starts[:, None] + (ends - starts)[:, None] * part).ravel()
    blur = np.repeat((ends - starts) / np.sqrt(12.0), PIECES)
    weights = np.repeat(weights / PIECES, PIECES, axis=1)
    return LossKinds(
        np.append(sizes, edges[-1]),
        np.append(blur, 0.0),
        np.concatenate([weights, beyond[:, None]], axis=1),
    )


def _edges(modelled: LossKinds, law: Array, cap: float) -> Array:
    """Return edges [money] between losses, rising, to the cap or to where none are to speak of."""
    rates = modelled.weights.sum(axis=0)
    span = np.geomspace(1e-9, 1e9, 3001)
    ends = np.array([modelled.sizes.min(), modelled.sizes.max()])
    reached = rates @ chances_of_losses(law, modelled.sizes, ends[0] * span) / rates.sum()
    low = ends[0] * span[max(int(np.searchsorted(reached, _UNLIKELY)) - 1, 0)]
    passed = rates @ chances_of_losses(law, modelled.sizes, ends[1] * span) / rates.sum()
    high = ends[1] * span[min(int(np.searchsorted(passed, 1.0 - _UNLIKELY)) + 1, len(span) - 1)]
    high = min(high, cap)
    low = min(low, high / _STEP)
    number = min(max(int(np.log(high / low) / np.log(_STEP)), _LEAST_EDGES), _MOST_EDGES)
    return np.geomspace(low, high, number + 1)
