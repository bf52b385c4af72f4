"""Draws of the unknowns: a Latin hypercube, each unknown from a stream of its own name."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray
from scipy import special
from scipy.stats import qmc

_Z95 = float(special.ndtri(0.95))


def steps(names: Sequence[str], worlds: int, seed: int) -> NDArray[np.float64]:
    """Draw the steps of unknowns.

    Parameters
    ----------
    names : sequence of str
        Of the unknowns, each another: what one draws does not hang on the others.
    worlds : int
        At least 1.
    seed : int
        Of the run.

    Returns
    -------
    float array (worlds, len(names))
        Normal, with 5 % below -1 and 5 % above 1; of each unknown one draw in each of so many
        equally likely parts.

    Examples
    --------
    >>> bool(abs(steps(["a"], 1000, 1)[:, 0] < 1.0).mean() == 0.95)
    True
    """
    found = np.empty((worlds, len(names)))
    for column, name in zip(found.T, names, strict=True):
        stream = int.from_bytes(hashlib.sha256(name.encode()).digest()[:16], "big")
        rng = np.random.default_rng([seed, stream])
        share = qmc.LatinHypercube(1, rng=rng).random(worlds)[:, 0]
        column[:] = special.ndtri(np.clip(share, 1e-12, 1.0 - 1e-12)) / _Z95
    return found
