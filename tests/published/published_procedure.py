"""The adaptive procedure of JCGM 101, on the examples of that document."""

from __future__ import annotations

import math
from collections.abc import Callable
from functools import cache

import numpy as np
from support.agreement import Check, Found, LeftOut
from support.procedure import Interval, StableResult, run_until_stable

from shutoffsim.model.compiled import kernel
from shutoffsim.model.quantiles import quantile
from shutoffsim.model.streams import uniform

BLOCK = 10_000
ADDITIVE = "JCGM 101:2008, 9.2, tables 2 and 3, as asserted in a public test suite"
MASS = "JCGM 101:2008, 9.4"
LOGARITHM = "NPL report DEM-ES-011, table 9.2, as asserted in a public test suite"


@kernel
def fill(seed, block, inputs, values):
    """Fill ``values`` (n, k) with draws of ``inputs`` (k, 4) from the simulator's streams.

    Each input is a distribution as the simulator has it; a log-normal stands for its logarithm.
    """
    n, k = values.shape
    for i in range(n):
        for j in range(k):
            u = uniform(seed, np.uint64(block), j, i)
            value = quantile(inputs[j], u)
            values[i, j] = math.log(value) if inputs[j, 0] == 2.0 else value


def normal(mean: float, sd: float) -> tuple[float, float, float, float]:
    return (2.0, mean, sd, 0.0)


def even(low: float, high: float) -> tuple[float, float, float, float]:
    return (1.0, low, high, 0.0)


@cache
def stable(name: str) -> StableResult:
    inputs, formula, digits, interval = CASES[name]
    table = np.array(inputs)

    def block(number: int) -> np.ndarray:
        values = np.empty((BLOCK, len(table)))
        fill(np.uint64(1), number, table, values)
        return formula(values)

    result = run_until_stable(block, digits=digits, interval=interval, least_blocks=50)
    assert result.reached
    return result


Formula = Callable[[np.ndarray], np.ndarray]
ROOT3 = math.sqrt(3.0)
CASES: dict[str, tuple[list[tuple[float, float, float, float]], Formula, int, Interval]] = {
    "four normal inputs": ([normal(0, 1)] * 4, lambda x: x.sum(axis=1), 3, "symmetric"),
    "four even inputs": ([even(-ROOT3, ROOT3)] * 4, lambda x: x.sum(axis=1), 3, "symmetric"),
    **{
        f"squares, x1 = {at:g}": (
            [normal(at, 0.005), normal(0, 0.005)],
            lambda x: 1e6 * (x**2).sum(axis=1),
            2,
            "symmetric",
        )
        for at in (0.0, 0.010, 0.050)
    },
    "logarithm of an even input": (
        [even(0.1, 1.1)],
        lambda x: np.log(x[:, 0]),
        2,
        "shortest",
    ),
}


def figure(name: str, which: str) -> Callable[[], Found]:
    def find() -> Found:
        result = stable(name)
        return Found(getattr(result, which), result.std_errors[which])

    return find


def check(name: str, which: str, source: str, evidence: str, printed: str | None, **rest) -> Check:
    words = {"mean": "mean", "std": "standard uncertainty", "low": "lower end", "high": "upper end"}
    return Check(
        "Adaptive procedure",
        f"{name}: {words[which]}",
        figure(name, which),
        source,
        evidence,
        printed,
        runs="oracle",
        **rest,
    )


def row(
    name: str, source: str, evidence: str, note: str = "", **printed: str | tuple[str | None, str]
) -> list[Check]:
    """Return checks of the figures of one case: printed, or (printed, exact)."""
    checks = []
    for which, value in printed.items():
        shown, exact = value if isinstance(value, tuple) else (value, None)
        checks.append(
            check(
                name,
                which,
                source,
                evidence,
                shown,
                exact=exact,
                note=note,
                sharp=math.inf if shown == "0.00" else 0.02,
            )
        )
    return checks


BIAS = (
    "in 1E-6. Sampling finds the bias that a first-order propagation of uncertainty misses, which "
    "gives 0, 100 and 2500 for the mean."
)
CHECKS = [
    *row(
        "four normal inputs",
        ADDITIVE,
        "secondary",
        mean="0.00",
        std=("2.00", "2.000000"),
        low=("-3.92", "-3.919928"),
        high=("3.92", "3.919928"),
    ),
    *row(
        "four even inputs",
        ADDITIVE,
        "secondary",
        mean="0.00",
        std=("2.00", "2.000000"),
        low=("-3.88", "-3.879401"),
        high=("3.88", "3.879401"),
    ),
    *row(
        "logarithm of an even input",
        LOGARITHM,
        "secondary",
        mean=("-0.665", "-0.664900"),
        std=("0.606", "0.606229"),
        low=("-1.895", "-1.897120"),
        high=("0.095", "0.095310"),
    ),
    *row(
        "squares, x1 = 0",
        MASS,
        "from memory",
        note=BIAS,
        mean=("50", "50.00000"),
        std=("50", "50.00000"),
    ),
    *row(
        "squares, x1 = 0.01",
        MASS,
        "from memory",
        note=BIAS,
        mean=("150", "150.0000"),
        std=("112", "111.8034"),
    ),
    *row(
        "squares, x1 = 0.05",
        MASS,
        "from memory",
        note=BIAS,
        mean=("2551", "2550.000"),
        std=("502", "502.4938"),
    ),
]

LEFT_OUT = [
    LeftOut(
        "JCGM 101:2008, 9.5, gauge block",
        "only its results were recalled, not all of its nine inputs",
    ),
]
