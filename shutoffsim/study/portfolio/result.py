"""What a portfolio amounts to."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from shutoffsim.estimate.estimate import Estimate, with_interval
from shutoffsim.estimate.plain import plain_fields
from shutoffsim.study.digits import amount, interval_words, told
from shutoffsim.study.portfolio import block as B
from shutoffsim.study.portfolio.block import Failure
from shutoffsim.study.portfolio.years import Curve

if TYPE_CHECKING:
    import pandas as pd
    import pyarrow as pa

Array = NDArray[np.float64]
EXIT_SOME_FAILED = 3


@dataclass(frozen=True)
class PortfolioResult:
    """The result of :func:`portfolio`; money is in the scenario's currency, per year.

    Attributes
    ----------
    scenario, scenario_hash, version, currency : str
    seed, histories, probes : int
        Histories are per dwelling, probes per history.
    horizon_years : float
    dwellings : int
        That were run.
    failed : int
        Rows that were not.
    failures : tuple of Failure
        Why; the first thousand.
    region : bool
        Whether dwellings of a region share weather and mains.
    regions : tuple of str
        Their names, when they do.
    expected_annual_damage, insured_annual_damage, leaks_per_year, damaging_leaks_per_year : Estimate
        Sums over the dwellings.
    probability_of_failure_on_demand : Estimate
        Share of all their leaks.
    damage_by_counting : Estimate
        Expected annual damage from natural leaks alone: a check, much less precise.
    curves : dict of str to Curve
        ``"occurrence"`` and ``"aggregate"``; empty where a history is shorter than a year.
    years_simulated, years_combined : int
        Of each dwelling, and of the portfolio by combining the histories of independent dwellings.
    notes : tuple of str
        What the figures rest on, and where they end.
    rows : pyarrow.Table or None
        One row a dwelling; None when they were given to ``out``.
    """  # noqa: E501

    scenario: str
    scenario_hash: str
    version: str
    currency: str
    seed: int
    histories: int
    probes: int
    horizon_years: float
    dwellings: int
    failed: int
    region: bool
    years_simulated: int
    years_combined: int
    regions: tuple[str, ...]
    expected_annual_damage: Estimate
    insured_annual_damage: Estimate
    leaks_per_year: Estimate
    damaging_leaks_per_year: Estimate
    probability_of_failure_on_demand: Estimate
    damage_by_counting: Estimate
    curves: dict[str, Curve]
    failures: tuple[Failure, ...]
    notes: tuple[str, ...]
    rows: pa.Table | None = field(default=None, repr=False, compare=False)

    @property
    def exit_code(self) -> int:
        """0, or 3 when some rows failed."""
        return EXIT_SOME_FAILED if self.failed else 0

    def table(self) -> pd.DataFrame:
        """Return one row a dwelling, as kept in :attr:`rows`.

        Raises
        ------
        ValueError
            When the rows were given to ``out`` instead.
        """
        if self.rows is None:
            raise ValueError("the rows were written, not kept: read the file")
        frame: pd.DataFrame = self.rows.to_pandas()
        return frame.set_index("row")

    def as_dict(self) -> dict[str, Any]:
        """Return the portfolio's figures as plain data, without the rows of the dwellings."""
        return plain_fields(self)

    def answer(self) -> str:
        """Return the result in one sentence."""
        e = self.expected_annual_damage
        text = (
            f"{self.dwellings:,} dwelling{'s are' if self.dwellings != 1 else ' is'} expected to "
            f"cost {told(e)} {self.currency} a year in water damage"
        )
        text += f" ({interval_words(e)})"
        periods = self.curves["aggregate"].at_periods if self.curves else {}
        rare = [years for years in periods if years >= 10]
        if rare:
            loss = periods[rare[-1]]
            value = amount(loss.value, rough_error(loss))
            text += f"; once in {rare[-1]:g} years a year costs more than {value}"
        return text + "."


def rough_error(e: Estimate) -> float:
    """Return a quarter of the interval, by which to round, also where it has no upper end."""
    return (min(e.high, 2.0 * e.value) - e.low) / 4.0


class Sums:
    """Sums over dwellings, with what their standard errors need.

    Dwellings that share nothing add their variances. In a region they do not: there the spread is
    that of whole histories of the portfolio, through which all dwellings live together.

    Parameters
    ----------
    histories : int
    shared : bool
    """

    def __init__(self, histories: int, shared: bool) -> None:
        self.histories, self.shared = histories, shared
        self.count = 0
        self._cap = 0.0
        self._closes = False  # whether anything fitted anywhere can close
        self._by_history = np.zeros((histories, B.SUMS))
        self._covariance = np.zeros((B.SUMS, B.SUMS))  # of the sum of means
        self._squares = np.zeros(B.SUMS)  # of the variances, for their degrees of freedom

    def add(self, sums: Array, caps: Array, closes: NDArray[np.bool_]) -> None:
        """Add dwellings in order.

        Parameters
        ----------
        sums : array (dwellings, histories, SUMS)
        caps : array (dwellings,)
            Their loss caps.
        closes : bool array (dwellings,)
            Whether anything fitted there can close.
        """
        n = self.histories
        centred = sums - sums.mean(axis=1, keepdims=True)
        spread = np.matmul(centred.transpose(0, 2, 1), centred) / (n * max(n - 1, 1))
        for own, covariance in zip(sums, spread, strict=True):
            self._by_history += own
            self._covariance += covariance
            self._squares += np.diag(covariance) ** 2
        self.count += len(sums)
        self._cap = max(self._cap, float(caps.max(initial=0.0)))
        self._closes = self._closes or bool(closes.any())

    def _spread(self) -> tuple[Array, Array]:
        """Return the covariance of the sums and how many values each variance is worth."""
        n = self.histories
        if self.shared:
            centred = self._by_history - self._by_history.mean(axis=0)
            return centred.T @ centred / (n * max(n - 1, 1)), np.full(B.SUMS, n)
        variance = np.diag(self._covariance)
        with np.errstate(invalid="ignore", divide="ignore"):
            freedom = (n - 1) * variance**2 / self._squares  # Welch and Satterthwaite
        return self._covariance, np.nan_to_num(freedom, nan=n - 1, posinf=n - 1) + 1.0

    def total(self, figure: int) -> Estimate:
        """Return the sum of a figure over all dwellings, per year."""
        value = float(self._by_history[:, figure].mean())
        if self.histories < 2:
            return with_interval(value, math.nan, 1, 0.0)
        covariance, worth = self._spread()
        error = math.sqrt(max(float(covariance[figure, figure]), 0.0))
        if error <= 1e-12 * value and self._by_history[:, B.LEAKS].any():
            return self._without_spread(figure, value)
        return with_interval(value, error, int(worth[figure]), 0.0)

    def _without_spread(self, figure: int, value: float) -> Estimate:
        """Return a sum that all histories came to: a bound, as for one dwelling."""
        if figure == B.LEAKS:
            return Estimate.exact(value)
        unseen = min(3.0 / (self.histories if self.shared else self.histories * self.count), 1.0)
        most = {B.DAMAGING: 1.0, B.COUNTED: math.inf}.get(figure, self._cap)
        leaks = float(self._by_history[:, B.LEAKS].mean())
        low = (1.0 - unseen) * value
        return Estimate(value, math.nan, low, low + unseen * leaks * most)

    def share(self, figure: int, of: int) -> Estimate:
        """Return the ratio of two sums, its standard error by linearisation."""
        part, whole = (float(self._by_history[:, f].mean()) for f in (figure, of))
        if whole <= 0.0:
            return Estimate(math.nan, math.nan, 0.0, 1.0)
        value = part / whole
        if figure == B.FAILED and not self._closes:
            return Estimate.exact(1.0)
        if self.histories < 2:
            return Estimate(value, math.nan, 0.0, 1.0)
        c, worth = self._spread()
        square = c[figure, figure] - 2.0 * value * c[figure, of] + value * value * c[of, of]
        bound = min(3.0 / self.histories, 1.0)
        if value <= 0.0:
            return Estimate(0.0, math.nan, 0.0, bound)
        if value >= 1.0 - 1e-12:
            return Estimate(1.0, math.nan, 1.0 - bound, 1.0)
        error = math.sqrt(max(float(square), 0.0)) / whole
        return with_interval(value, error, int(worth[of]), 0.0, 1.0)
