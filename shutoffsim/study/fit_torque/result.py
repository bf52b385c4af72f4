"""A valve's torque estimated from readings."""

from __future__ import annotations

import html
from dataclasses import dataclass, field
from typing import Any

from shutoffsim import __version__
from shutoffsim.estimate.estimate import Estimate
from shutoffsim.estimate.plain import plain
from shutoffsim.model.layout import YEAR
from shutoffsim.study.fit_torque.agreement import Check, Residuals
from shutoffsim.study.fit_torque.belief import Array, Belief
from shutoffsim.study.fit_torque.fragment import write_fragment
from shutoffsim.study.fit_torque.law import Data
from shutoffsim.study.fit_torque.likelihood import Likeliest
from shutoffsim.study.fit_torque.prediction import Prediction
from shutoffsim.study.fit_torque.rows import DAY
from shutoffsim.study.fit_torque.times import Complete


@dataclass(frozen=True)
class Learnt:
    """One parameter before and after the readings.

    Attributes
    ----------
    key, name, unit : str
        Of the scenario (or our own), in words, and its unit.
    before, after : Estimate
        Median, standard deviation and 95 % interval.
    alone : Estimate or None
        By maximum likelihood from the readings alone, where they determine it.
    """

    key: str
    name: str
    unit: str
    before: Estimate
    after: Estimate
    alone: Estimate | None


@dataclass(frozen=True, eq=False)
class TorqueFit:
    """The result of :func:`shutoffsim.study.fit_torque.fit_torque`.

    Attributes
    ----------
    source : str
        The file.
    prior_source : str
        Where the prior is from, in words.
    scenario, scenario_hash, design : str or None
        Of the prior; None: the library's defaults.
    valve : str or None
        Whose torque is reported; None: another valve like those that were read.
    age : float
        Its age at the last reading, s.
    rows : tuple of Complete
        The readings.
    parameters : tuple of Learnt
    predictions : tuple of Prediction
    before : tuple of Prediction
        The same before the readings.
    checks : tuple of Check
        Whether the law fits; empty for fewer than four readings.
    likeliest : Likeliest or None
        Maximum likelihood, where the readings alone determine a fit.
    belief, prior : Belief
        Draws after and before the readings.
    expected : float array (draws, n)
        Logarithm of the torque [N*m] that each reading should show.
    residuals : Residuals
    effective : float
        Effective sample size.
    notes, cautions : tuple of str
    seed : int
    rest : float
        Typical of the readings, s.
    data : Data
        The readings as arrays.
    """

    source: str
    prior_source: str
    scenario: str | None
    scenario_hash: str | None
    design: str | None
    valve: str | None
    age: float
    rows: tuple[Complete, ...]
    parameters: tuple[Learnt, ...]
    predictions: tuple[Prediction, ...]
    before: tuple[Prediction, ...]
    checks: tuple[Check, ...]
    likeliest: Likeliest | None
    belief: Belief
    prior: Belief
    effective: float
    notes: tuple[str, ...]
    cautions: tuple[str, ...]
    seed: int
    rest: float
    data: Data = field(repr=False)
    expected: Array = field(repr=False)
    residuals: Residuals = field(repr=False)

    @property
    def days(self) -> tuple[str, str]:
        """First and last date of the readings."""
        days = sorted(row.reading.day for row in self.rows)
        return days[0].isoformat(), days[-1].isoformat()

    @property
    def whose(self) -> str:
        """Words for the valve whose torque is reported."""
        return "another valve like these" if self.valve is None else self.valve

    def fragment(self) -> str:
        """Return the table ``valve`` of a scenario, as TOML."""
        first, last = self.days
        span = f"on {last}" if first == last else f"from {first} to {last}"
        count = f"{len(self.rows)} reading{'' if len(self.rows) == 1 else 's'}"
        return write_fragment(
            self.belief,
            age=self.age,
            rest=self.rest,
            closing_read=bool(self.data.closing.any()),
            origin=(
                f"From {count} {span} in {self.source}, for {self.whose}; prior: "
                f"{self.prior_source}; seed {self.seed}, shutoffsim {__version__}."
            ),
            day=last,
        )

    def as_dict(self) -> dict[str, Any]:
        """Return the result as plain data; draws are left out."""
        data = {
            "version": __version__,
            "seed": self.seed,
            "source": self.source,
            "prior": self.prior_source,
            "scenario": self.scenario,
            "scenario_hash": self.scenario_hash,
            "design": self.design,
            "valve": self.valve,
            "age_years": self.age / YEAR,
            "readings": [_reading(row) for row in self.rows],
            "parameters": self.parameters,
            "predictions": self.predictions,
            "before": self.before,
            "checks": self.checks,
            "likeliest": self.likeliest,
            "draws": self.belief.n,
            "effective_draws": self.effective,
            "notes": self.notes,
            "cautions": self.cautions,
            "fragment": self.fragment(),
        }
        return {key: plain(value) for key, value in data.items()}

    def _repr_html_(self) -> str:
        rows = "".join(
            f"<tr><td>{html.escape(row.when)}</td><td>{row.closing.value:.3g} "
            f"({row.closing.low:.3g} to {row.closing.high:.3g})</td></tr>"
            for row in self.predictions
        )
        notes = "".join(f"<li>{html.escape(note)}</li>" for note in self.notes)
        return (
            f"<p><b>{html.escape(self.source)}</b>: {len(self.rows)} readings, "
            f"{html.escape(self.whose)}</p><table><tr><th></th><th>torque to close, N*m "
            f"(95 %)</th></tr>{rows}</table><ul>{notes}</ul>"
        )


def _reading(row: Complete) -> dict[str, Any]:
    reading = row.reading
    return {
        "line": reading.line,
        "date": reading.day.isoformat(),
        "valve": reading.valve,
        "direction": "closing" if reading.closing else "opening",
        "outcome": reading.outcome,
        "low_torque": reading.low,
        "high_torque": reading.high,
        "from_current": reading.gauge,
        "idle_days": row.idle / DAY,
        "age_years": row.age / YEAR,
    }
