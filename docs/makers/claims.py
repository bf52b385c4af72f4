"""Simulated claims: a few free constants fitted to insurers' figures, and checks against others.

Everything runs on common random numbers, so the fit is deterministic.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from makers import ROOT
from makers import insurers as P
from shutoffsim.engine.run import Setup, run_chunks
from shutoffsim.errors import ModelError
from shutoffsim.model import layout as L
from shutoffsim.model.streams import BLOCK
from shutoffsim.scenario import Scenario, load

Array = NDArray[np.float64]

US_FILE = ROOT / "scenarios" / "reference_us_house.toml"
GERMAN_FILE = ROOT / "scenarios" / "reference_german_flat.toml"
HISTORIES = 8192
SEED = 2022
GROUPS = 32  # of blocks of histories, for the standard errors
_QUANTILE_95 = 1.6448536269514722
_STEP = 0.02  # relative: wide enough to smooth the jumps of a claim count
_FITTED_US = ("claim frequency", "mean claim", "empty / occupied")


@dataclass(frozen=True)
class Constants:
    """Factors on the library's values; 1 leaves them as they are.

    Attributes
    ----------
    rate : float
        On all leak rates.
    cost : float
        On fixed loss, loss per area and contents together.
    film : float
        On the upper end of the film thickness (95 % quantile).
    """

    rate: float = 1.0
    cost: float = 1.0
    film: float = 1.0

    def apply(self, params: Any, costs: Sequence[str] = P.COSTS) -> Any:
        """Return a copy of the parameters of designs with these factors applied.

        Parameters
        ----------
        params : record array (k,)
            See :data:`shutoffsim.model.layout.PARAMETERS`.
        costs : sequence of str
            Fields that the cost factor multiplies.
        """
        changed = params.copy()
        changed["source_rate"] *= self.rate
        shape = np.where(params["source_life_shape"] > 0.0, params["source_life_shape"], 1.0)
        changed["source_life"] *= self.rate ** (-1.0 / shape)
        for field in costs:
            changed[field] *= self.cost
        # Log-normal between two quantiles: stretch it from the lower one.
        shift = math.log(self.film) / 2.0
        changed["dwelling_film"][:, 1] += shift
        changed["dwelling_film"][:, 2] += shift / _QUANTILE_95
        return changed


@dataclass(frozen=True)
class Claims:
    """Weighted sums over claims, by group of histories.

    Attributes
    ----------
    sums : dict of str to array (GROUPS,)
        Yearly sums per dwelling times the histories of the group.
    histories : array (GROUPS,)
        Histories in each group.
    """

    sums: dict[str, Array]
    histories: Array

    def estimate(self, figure: Callable[[dict[str, float]], float]) -> tuple[float, float]:
        """Return a figure of the yearly means and its standard error (delete-one jackknife)."""
        left_out = self.left_out(figure)
        spread = left_out - left_out.mean()
        error = math.sqrt((GROUPS - 1) / GROUPS * np.sum(spread**2))
        return figure(self._means(np.ones(GROUPS, dtype=bool))), error

    def left_out(self, figure: Callable[[dict[str, float]], float]) -> Array:
        """Return the figure without each group in turn, (GROUPS,)."""
        return np.array([figure(self._means(np.arange(GROUPS) != g)) for g in range(GROUPS)])

    def _means(self, used: NDArray[np.bool_]) -> dict[str, float]:
        n = float(self.histories[used].sum())
        return {name: float(values[used].sum()) / n for name, values in self.sums.items()}


def simulate(scenario: Scenario, params: Any, histories: int, seed: int) -> Claims:
    """Run the first design and sum up its claims (losses above the deductible).

    Parameters
    ----------
    scenario : Scenario
        Gives service life and names of the sources.
    params : record array (1,)
        The design, constants applied.
    histories, seed : int
        How many histories, and which.

    Raises
    ------
    ModelError
        With fewer blocks of histories than groups.
    """
    least = GROUPS * BLOCK
    if histories < least:
        raise ModelError(
            "too few histories", found=str(histories), expected=f"at least {least} histories"
        )
    years = scenario.service_life / L.YEAR
    names = ["leaks", "damaging", "claims", "paid", "claims empty", "paid empty"]
    names += [f"{what} {source}" for source in scenario.source_names for what in ("claims", "paid")]
    names += [f"claims empty {source}" for source in scenario.source_names]
    sums = {name: np.zeros(GROUPS) for name in names}
    counted = np.zeros(GROUPS)
    for chunk in run_chunks(Setup.of(params, seed), 0, histories):
        rows = chunk.rows[0]
        group = (chunk.first + np.arange(len(rows))) // BLOCK % GROUPS
        np.add.at(counted, group, 1.0)
        weight = rows["weight"] / years
        paid = weight * rows["insured"]
        claim = np.where(rows["insured"] > 0.0, weight, 0.0)
        empty = rows["presence"] >= L.OUT
        parts = {
            "leaks": weight,
            "damaging": np.where(rows["loss"] > 0.0, weight, 0.0),
            "claims": claim,
            "paid": paid,
            "claims empty": claim * empty,
            "paid empty": paid * empty,
        }
        for number, source in enumerate(scenario.source_names):
            here = rows["source"] == number
            parts[f"claims {source}"] = claim * here
            parts[f"paid {source}"] = paid * here
            parts[f"claims empty {source}"] = claim * here * empty
        for name, values in parts.items():
            np.add.at(sums[name], group, values.sum(axis=1))
    return Claims(sums, counted)


def frequency(m: dict[str, float]) -> float:
    """Return claims per dwelling and year."""
    return m["claims"]


def mean_claim(m: dict[str, float]) -> float:
    """Return what the policy pays per claim."""
    return m["paid"] / m["claims"]


def severity_ratio(m: dict[str, float]) -> float:
    """Return the mean claim of leaks that start with nobody at home over that of the others."""
    occupied = (m["paid"] - m["paid empty"]) / (m["claims"] - m["claims empty"])
    return m["paid empty"] / m["claims empty"] / occupied


FIGURES = {
    "claim frequency": frequency,
    "mean claim": mean_claim,
    "empty / occupied": severity_ratio,
}


@dataclass(frozen=True)
class Fit:
    """The constants that reproduce the figures they are fitted to.

    Attributes
    ----------
    constants : Constants
        Factors on the values in use.
    errors : Constants
        Their standard errors, from the simulation alone.
    claims : Claims
        The run at these constants.
    """

    constants: Constants
    errors: Constants
    claims: Claims


def fit(
    scenario: Scenario,
    targets: dict[str, float],
    free: Sequence[str],
    histories: int = HISTORIES,
    seed: int = SEED,
    costs: Sequence[str] = P.COSTS,
) -> Fit:
    """Fit free constants by least squares of the logarithms, as many constants as figures.

    Parameters
    ----------
    scenario : Scenario
        Its first design is the case without automation.
    targets : dict of str to float
        Figures by name, of :data:`FIGURES`.
    free : sequence of str
        Names of the constants to fit.
    histories, seed : int
        Same for every trial: common random numbers.
    costs : sequence of str
        Fields that the cost factor multiplies.
    """
    from scipy.optimize import least_squares

    params = scenario.parameters(scenario.designs[:1])
    wanted = np.log(list(targets.values()))
    figures = [FIGURES[name] for name in targets]

    def run(x: Array) -> Claims:
        constants = replace(Constants(), **dict(zip(free, np.exp(x), strict=True)))
        return simulate(scenario, constants.apply(params, costs), histories, seed)

    def residuals(x: Array) -> Array:
        claims = run(x)
        return np.log([claims.estimate(figure)[0] for figure in figures]) - wanted

    found = least_squares(residuals, np.zeros(len(free)), diff_step=_STEP, x_scale=0.1, xtol=1e-4)
    claims = run(found.x)
    logs = np.log([claims.left_out(figure) for figure in figures])
    spread = logs - logs.mean(axis=1, keepdims=True)
    covariance = (GROUPS - 1) / GROUPS * spread @ spread.T
    inverse = np.linalg.inv(found.jac)
    errors = np.sqrt(np.diag(inverse @ covariance @ inverse.T)) * np.exp(found.x)
    values = dict(zip(free, map(float, np.exp(found.x)), strict=True))
    return Fit(
        replace(Constants(), **values),
        replace(Constants(0.0, 0.0, 0.0), **dict(zip(free, map(float, errors), strict=True))),
        claims,
    )


@dataclass(frozen=True)
class Calibration:
    """Everything that the page shows."""

    histories: int
    seed: int
    us: tuple[P.Line, ...]
    sources: tuple[P.Line, ...]
    periods: tuple[P.Line, ...]
    german: tuple[P.Line, ...]
    us_fit: Fit
    german_fit: Fit
    extras: dict[str, float]


def calibrate(histories: int = HISTORIES, seed: int = SEED) -> Calibration:
    """Simulate both reference cases with the library as it is, and fit its constants anew.

    Parameters
    ----------
    histories, seed : int
        Size and seed of every run.
    """
    us = load(US_FILE)
    german = load(GERMAN_FILE)
    params = us.parameters(us.designs[:1])
    now = simulate(us, params, histories, seed)
    lines = [_line(now, name, P.US[name], FIGURES[name], "fitted") for name in _FITTED_US]
    lines.append(
        _line(now, "toilet claims in empty homes", P.TOILET_EMPTY, _share_empty("toilet supplies"))
    )
    sources = [_line(now, name, figure, _relative(parts)) for name, figure, parts in P.BY_SOURCE]
    periods = []
    for period in P.PERIODS:
        cheaper = Constants(cost=period.prices).apply(params)
        then = simulate(us, cheaper, histories, seed)
        name = f"{period.years}, general prices"
        periods.append(_line(then, f"{name}: claim frequency", period.frequency, frequency))
        periods.append(_line(then, f"{name}: mean claim", period.mean_claim, mean_claim))
        level = fit(us, {"mean claim": period.mean_claim.value}, ["cost"], histories, seed)
        name = f"{period.years}, costs x {level.constants.cost:.2f}"
        periods.append(_line(level.claims, f"{name}: claim frequency", period.frequency, frequency))
    abroad = german.parameters(german.designs[:1])
    there = simulate(german, abroad, histories, seed)
    de = [
        _line(there, "mean claim", P.GERMAN["mean claim"], mean_claim, "fitted"),
        _line(there, "claim frequency", P.GERMAN["claim frequency"], frequency),
    ]
    extras = {"german level": float(abroad["damage_area_loss"][0] / params["damage_area_loss"][0])}
    extras["leaks"] = now.estimate(lambda m: m["leaks"])[0]
    extras["damaging"] = now.estimate(lambda m: m["damaging"])[0]
    targets = {name: P.US[name].value for name in _FITTED_US}
    wanted = {"mean claim": P.GERMAN["mean claim"].value}
    return Calibration(
        histories,
        seed,
        tuple(lines),
        tuple(sources),
        tuple(periods),
        tuple(de),
        fit(us, targets, ["rate", "cost", "film"], histories, seed),
        fit(german, wanted, ["cost"], histories, seed, (*P.COSTS, "damage_unit_loss")),
        extras,
    )


def _line(
    claims: Claims,
    name: str,
    published: P.Published,
    figure: Callable[[dict[str, float]], float],
    role: str = "check",
) -> P.Line:
    return P.Line(name, published, *claims.estimate(figure), role)


def _share_empty(source: str) -> Callable[[dict[str, float]], float]:
    return lambda m: m[f"claims empty {source}"] / m[f"claims {source}"]


def _relative(parts: tuple[Sequence[str], Sequence[str]]) -> Callable[[dict[str, float]], float]:
    def mean(m: dict[str, float], names: Sequence[str]) -> float:
        return sum(m[f"paid {n}"] for n in names) / sum(m[f"claims {n}"] for n in names)

    return lambda m: mean(m, parts[0]) / mean(m, parts[1])
