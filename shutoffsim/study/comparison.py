"""What a comparison of designs says: figures of each design, paired differences, the answer."""

from __future__ import annotations

import html
import math
from collections.abc import Callable
from dataclasses import dataclass, field
from importlib import import_module
from typing import TYPE_CHECKING, Annotated, Any

from pydantic import BeforeValidator, Field, InstanceOf

from shutoffsim.engine.run import Engine
from shutoffsim.estimate import tally as T
from shutoffsim.estimate.estimate import Estimate
from shutoffsim.estimate.plain import plain_fields
from shutoffsim.estimate.tally import Tally
from shutoffsim.model import layout as L
from shutoffsim.study import failures
from shutoffsim.study.digits import amount, interval_words, told
from shutoffsim.study.figures import Figure, figures_of, of_leaks, yearly
from shutoffsim.study.steps import Step
from shutoffsim.study.worlds.result import Worlds

if TYPE_CHECKING:
    import pandas as pd
    from matplotlib.axes import Axes


@dataclass(frozen=True)
class DesignResult:
    """What the runs say of one design; yearly figures are per dwelling.

    Tables, files and the page of results take figures from here: a further one is a further field.

    Attributes
    ----------
    name : str
    expected_annual_damage, insured_annual_damage : Estimate
        In the scenario's currency per year.
    leaks_per_year, damaging_leaks_per_year, nuisance_closings_per_year : Estimate
    failure_given_a_demand : Estimate
        Of the leaks that sensing did not miss, the share that was not stopped in time.
    probability_of_failure_on_demand : Estimate
        Share of leaks that automation did not stop in time; the failure modes add up to it.
    escaped_volume_l : dict of str to Estimate
        ``median`` and ``p95`` over leaks, litres.
    failure_modes : dict of str to Estimate
        Share of all leaks by first broken link, largest first; only those that occurred.
    failures_by_subsystem : dict of str to Estimate
        The same by where the link stands: sensing, logic and power, closing element, time.
    hours_without_water_by_cause : dict of str to Estimate
        The same by :data:`shutoffsim.model.layout.DRY`; causes that occurred.
    fitting_test : dict of str to Estimate
        Share of dwellings by how the fitting test ended, of :data:`shutoffsim.model.layout.FITTED`;
        empty where it is not done. Everything else is given what is fitted after it.
    repairs : dict of str to Estimate
        Number a year of each kind that occurred.
    repairs_in_service_life : dict of str to float
        ``mean``, and ``p95``, the number that 95 % of the histories do not pass.
    damage_by_counting : Estimate
        Expected annual damage from the natural leaks alone: a check, much less precise.
    warnings : tuple of str
        Why the intervals should be read with care, if so.
    """

    name: str
    expected_annual_damage: Annotated[
        Estimate, Figure(yearly(T.LOSS), "money/year", "mean loss a year")
    ]
    insured_annual_damage: Annotated[
        Estimate,
        Figure(
            yearly(T.INSURED),
            "money/year",
            "the part that a policy with the scenario's deductible and limit pays",
        ),
    ]
    leaks_per_year: Annotated[
        Estimate, Figure(yearly(T.LEAKS), "1/year", "leaks that begin, harmless ones included")
    ]
    damaging_leaks_per_year: Annotated[
        Estimate,
        Figure(
            yearly(T.DAMAGING), "1/year", "leaks with a loss above zero", "damaging leaks a year"
        ),
    ]
    probability_of_failure_on_demand: Annotated[
        Estimate,
        Figure(
            of_leaks(T.FAILED),
            "1",
            "share of leaks that automation did not stop in time; without automation 1",
            "probability of failure on demand",
        ),
    ]
    failure_given_a_demand: Annotated[
        Estimate,
        Figure(
            failures.given_a_demand,
            "1",
            "the same share of the leaks that sensing did not miss",
        ),
    ]
    nuisance_closings_per_year: Annotated[
        Estimate,
        Figure(
            yearly(T.NUISANCE),
            "1/year",
            "closings without a leak: false alarms, ordinary use, power loss",
            "nuisance closings a year",
        ),
    ]
    repairs_per_year: Annotated[
        Estimate,
        Figure(
            yearly(T.REPAIRS),
            "1/year",
            "what is replaced, tightened, adjusted, freed or renewed, each act counted",
            "repairs a year",
        ),
    ]
    cost_of_repairs_per_year: Annotated[
        Estimate,
        Figure(
            yearly(T.REPAIR_COST),
            "money/year",
            "parts, and call-outs of those who come for them",
            "cost of repairs a year",
        ),
    ]
    hours_without_water_per_year: Annotated[
        Estimate,
        Figure(
            yearly(T.DRY),
            "1/year",
            "hours that people who are not on a trip are without water for no leak",
            "hours without water a year",
        ),
    ]
    escaped_volume_l: dict[str, Estimate]
    failure_modes: dict[str, Estimate]
    failures_by_subsystem: dict[str, Estimate]
    hours_without_water_by_cause: dict[str, Estimate]
    fitting_test: dict[str, Estimate]
    repairs: dict[str, Estimate]
    repairs_in_service_life: dict[str, float]
    damage_by_counting: Annotated[
        Estimate,
        Figure(
            yearly(T.NATURAL_LOSS),
            "money/year",
            "the same expected damage by plain counting of the histories' own leaks (the "
            "analogue, or crude Monte Carlo, estimate): also unbiased but far less precise; a "
            "check",
        ),
    ]
    warnings: tuple[str, ...] = ()


#: The figures of a design, by the names of their fields.
FIGURES = figures_of(DesignResult)


@dataclass(frozen=True)
class Difference:
    """A design against the reference, paired history by history.

    Attributes
    ----------
    design, reference : str
    expected_annual_damage : Estimate
        Design minus reference: negative is less damage.
    probability_of_improvement : float
        Chance that the design's expected annual damage is the lower one, from the uncertainty of
        the simulation alone (Student's t, as the interval). One half for equal designs; nan where
        no history showed a difference.
    """

    design: str
    reference: str
    expected_annual_damage: Estimate
    probability_of_improvement: Annotated[
        float, BeforeValidator(lambda value: math.nan if value is None else value)
    ]


@dataclass(frozen=True, kw_only=True, repr=False)
class Comparison:
    """The result of :func:`compare`.

    Attributes
    ----------
    scenario, scenario_hash, version, currency, engine : str
    seed, histories, probes : int
    horizon_years : float
    designs : tuple of DesignResult
        In the order asked for; the first is the reference.
    differences : tuple of Difference
    steps, totals : tuple of Step
        Savings and costs of each further design against the one that it is like, and against the
        reference.
    assumptions : tuple of dict
        Values in use that rest on no published source.
    best : str or None
        The design with the least expected annual damage, when clearly below the reference.
    as_good : tuple of str
        Designs whose paired difference from it is not distinguishable from zero.
    worlds : Worlds or None
        The same over worlds that differ in everything nobody knows; None when not asked for.
    reached : bool
        Whether the asked-for precision was reached.
    """

    scenario: str
    scenario_hash: str
    version: str
    engine: Engine
    seed: int
    histories: int
    probes: int
    horizon_years: float
    currency: str
    reached: Annotated[bool, Field(validation_alias="precision_reached")] = field(
        default=True, metadata={"key": "precision_reached"}
    )
    designs: tuple[DesignResult, ...]
    differences: tuple[Difference, ...]
    steps: tuple[Step, ...] = ()
    totals: tuple[Step, ...] = ()
    best: str | None = None
    as_good: tuple[str, ...] = ()
    worlds: Worlds | None = None
    assumptions: tuple[dict[str, Any], ...]
    tally: InstanceOf[Tally] | None = field(default=None, repr=False, compare=False)

    def as_dict(self) -> dict[str, Any]:
        """Return the result as plain data; the keys are documented in docs/results.md."""
        return plain_fields(self)

    def table(self) -> pd.DataFrame:
        """Return one row per design: values and interval ends (money and shares per year)."""
        import pandas as pd

        rows = {}
        differences = {d.design: d for d in self.differences}
        steps = {step.design: step for step in self.steps}
        for design in self.designs:
            damage = design.expected_annual_damage
            row: dict[str, Any] = {
                "expected_annual_damage": damage.value,
                "low": damage.low,
                "high": damage.high,
                **{name: getattr(design, name).value for name, f in FIGURES.items() if f.label},
                "median_volume_l": design.escaped_volume_l["median"].value,
                "p95_volume_l": design.escaped_volume_l["p95"].value,
            }
            if design.name in differences:
                found = differences[design.name]
                row["difference"] = found.expected_annual_damage.value
                row["difference_low"] = found.expected_annual_damage.low
                row["difference_high"] = found.expected_annual_damage.high
                row["probability_of_improvement"] = found.probability_of_improvement
            if design.name in steps:
                row |= steps[design.name].row()
            rows[design.name] = row
        return pd.DataFrame.from_dict(rows, orient="index").rename_axis("design")

    def failure_modes(self) -> pd.DataFrame:
        """Return shares of leaks by failure mode (rows) and design (columns)."""
        import pandas as pd

        shares = {
            design.name: {mode: e.value for mode, e in design.failure_modes.items()}
            for design in self.designs
        }
        order = [mode for mode in L.MODES[1:] if any(mode in column for column in shares.values())]
        return pd.DataFrame(shares).reindex(order).fillna(0.0).rename_axis("failure mode")

    def answer(self) -> str:
        """Return one plain sentence that answers: which design, by how much, how sure."""
        reference = self.designs[0]
        unit = f"{self.currency} a year"
        damage = reference.expected_annual_damage
        if not self.differences:
            return (
                f"“{reference.name}” is expected to cost {told(damage)} "
                f"{unit} in water damage ({interval_words(damage)})."
            )
        best = self.most_reducing()
        less = -best.expected_annual_damage
        if less.certain and less.value == 0.0:
            return _no_better(self, best.design, unit)
        if self.histories == 1:
            return "One history says nothing about the uncertainty of a difference: run more."
        if less.bounded and less.value == 0.0:
            return no_difference(best.design, reference.name, less, unit)
        if not less.low > 0.0:
            return (
                f"None of the designs is clearly better than “{reference.name}”: the largest "
                f"estimated reduction, “{best.design}”, is {told(less)} {unit} with a "
                f"{interval_words(less, 'of ')}."
            )
        sentence = (
            f"“{best.design}” reduces expected water damage the most: by "
            f"{told(less)} of {told(damage)} {unit} against “{reference.name}”, "
            f"{interval_words(less)}"
        )
        order = [design.name for design in self.designs]
        where = order.index(best.design)
        equal: list[str] = []
        close: list[str] = []
        for name in self.as_good:
            alike = self.tally is not None and self.tally.alike(order.index(name), where)
            (equal if alike else close).append(f"“{name}”")
        if equal:
            sentence += f"; equal to it in every value: {', '.join(equal)}"
        if close:
            sentence += f"; not distinguishable from it: {', '.join(close)}"
        return sentence + "."

    def most_reducing(self) -> Difference:
        """Return the design that the answer is about: the one with the largest reduction."""
        return min(
            self.differences,
            key=lambda d: (d.expected_annual_damage.value, d.expected_annual_damage.certain),
        )

    def plot(self, kind: str = "steps", axes: Axes | None = None) -> Axes:
        """Draw it on given or new axes; see :func:`shutoffsim.report.plots.plot` for kinds."""
        # looked up when it is called for: what draws stands above what is drawn
        draw: Callable[..., Axes] = import_module("shutoffsim.report.plots").plot
        return draw(self, kind, axes)

    def __repr__(self) -> str:
        best = "" if self.best is None else f", best “{self.best}”"
        return (
            f"<Comparison of {len(self.designs)} designs, “{self.scenario}”: "
            f"{self.histories} histories, seed {self.seed}{best}>"
        )

    def _repr_html_(self) -> str:
        columns = {
            "expected_annual_damage": f"damage a year, {self.currency}",
            "low": "95 % from",
            "high": "to",
            "step_against": "against",
            "step_saving": "saves",
            "step_cost_per_year": "costs",
            "step_net_per_year": "net",
        }
        table = self.table()
        shown = table[[name for name in columns if name in table]].rename(columns=columns)
        body = shown.to_html(float_format=lambda x: f"{x:,.3g}", na_rep="")
        return f"<p>{html.escape(self.answer())}</p>{body}"


def _no_better(result: Comparison, best: str, unit: str) -> str:
    """Return the answer where the least damage certainly is that of the reference."""
    reference, *others = result.designs
    damage = told(reference.expected_annual_damage)
    gaps = [d.expected_annual_damage for d in result.differences]
    if not all(gap.certain and gap.value == 0.0 for gap in gaps):
        return (
            f"None of the designs is clearly better than “{reference.name}”: expected water damage "
            f"of “{best}” is the same, {damage} {unit}, and none is estimated lower."
        )
    tally = result.tally
    if tally is None or not all(tally.alike(d, 0) for d in range(1, len(result.designs))):
        return f"No design changes expected water damage: it is {damage} {unit} with each."
    which = f"“{best}”" if len(others) == 1 else "Every other design"
    return (
        f"{which} is equal to “{reference.name}” in every value, so expected water damage is "
        f"the same, {damage} {unit}."
    )


def no_difference(design: str, reference: str, less: Estimate, unit: str) -> str:
    """Return the sentence that no history showed a difference, with the bound of one.

    ``unit`` stands behind the amount.
    """
    seen = f"No history showed a difference in damage between “{design}” and “{reference}”"
    if not math.isfinite(less.high):
        return f"{seen}; how large one may be is unknown."
    return f"{seen}; it is at most {amount(less.high, less.error)} {unit} (95 % bound)."
