"""Compare designs: expected annual damage of each, and the paired difference to the reference."""

from __future__ import annotations

import math
import warnings
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, fields, replace
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import numpy as np
from scipy import special

from shutoffsim.engine.run import Chunk, Engine, Setup
from shutoffsim.errors import ModelError, PrecisionWarning
from shutoffsim.estimate import tally as T
from shutoffsim.estimate.estimate import Estimate
from shutoffsim.estimate.stopping import StoppingRule
from shutoffsim.estimate.tally import Tally, block_for
from shutoffsim.model import layout as L
from shutoffsim.study.figures import Figure, figures_of, of_leaks, yearly
from shutoffsim.study.options import Progress, RunOptions
from shutoffsim.study.runs import run_histories
from shutoffsim.version import __version__

if TYPE_CHECKING:
    import pandas as pd

    from shutoffsim.scenario import Scenario

LEAST_HISTORIES = 1024
MOST_HISTORIES = 1_000_000
LITRE = 1e-3
_FEW_INCIDENTS = 200.0
_LARGE_SHARE = 0.05
_MOST_DIGITS = 11  # behind the first: more are rounding
_MOST_DECIMALS, _LEAST_SIZE = 6, -4  # zeros behind the point that a person still counts
_BOUND = "its interval is a bound on what this many histories may miss"


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
    probability_of_failure_on_demand : Estimate
        Share of leaks that automation did not stop in time; the failure modes add up to it.
    escaped_volume_l : dict of str to Estimate
        ``median`` and ``p95`` over leaks, litres.
    failure_modes : dict of str to Estimate
        Share of all leaks by first broken link, largest first; only those that occurred.
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
    nuisance_closings_per_year: Annotated[
        Estimate,
        Figure(
            yearly(T.NUISANCE),
            "1/year",
            "closings without a leak: false alarms, ordinary use, power loss",
            "nuisance closings a year",
        ),
    ]
    escaped_volume_l: dict[str, Estimate]
    failure_modes: dict[str, Estimate]
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
        the simulation alone (normal approximation). One half for equal designs; nan where no
        history showed a difference.
    """

    design: str
    reference: str
    expected_annual_damage: Estimate
    probability_of_improvement: float


@dataclass(frozen=True)
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
    assumptions : tuple of dict
        Values in use that rest on no published source.
    best : str or None
        The design with the least expected annual damage, when clearly below the reference.
    as_good : tuple of str
        Designs whose paired difference from it is not distinguishable from zero.
    reached : bool
        Whether the asked-for precision was reached.
    """

    scenario: str
    scenario_hash: str
    version: str
    seed: int
    histories: int
    probes: int
    horizon_years: float
    currency: str
    engine: Engine
    designs: tuple[DesignResult, ...]
    differences: tuple[Difference, ...]
    assumptions: tuple[dict[str, Any], ...]
    best: str | None = None
    as_good: tuple[str, ...] = ()
    reached: bool = True
    tally: Tally | None = field(default=None, repr=False, compare=False)

    def as_dict(self) -> dict[str, Any]:
        """Return the result as plain data; the keys are documented in docs/results.md."""
        return {
            "scenario": self.scenario,
            "scenario_hash": self.scenario_hash,
            "version": self.version,
            "engine": self.engine,
            "seed": self.seed,
            "histories": self.histories,
            "probes": self.probes,
            "horizon_years": self.horizon_years,
            "currency": self.currency,
            "precision_reached": self.reached,
            "designs": [_design_dict(design) for design in self.designs],
            "differences": [
                {
                    "design": d.design,
                    "reference": d.reference,
                    "expected_annual_damage": d.expected_annual_damage.as_dict(),
                    "probability_of_improvement": (
                        None
                        if math.isnan(d.probability_of_improvement)
                        else d.probability_of_improvement
                    ),
                }
                for d in self.differences
            ],
            "best": self.best,
            "as_good": list(self.as_good),
            "assumptions": list(self.assumptions),
        }

    def table(self) -> pd.DataFrame:
        """Return one row per design: values and interval ends (money and shares per year)."""
        import pandas as pd

        rows = {}
        differences = {d.design: d for d in self.differences}
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
        return _answer(self)

    def _repr_html_(self) -> str:
        return str(self.table().to_html(float_format=lambda x: f"{x:,.3g}"))


def compare(
    scenario: Scenario,
    designs: Sequence[str] | None = None,
    *,
    precision: float | None = 0.02,
    histories: int | None = None,
    seed: int = 1,
    engine: Engine = "batch",
    workers: int = 1,
    progress: Progress | None = None,
    watch: Callable[[Chunk], None] | None = None,
    cluster: Any = None,
    store: Path | None = None,
) -> Comparison:
    """Estimate and compare the expected annual damage of designs.

    Parameters
    ----------
    scenario : Scenario
        From :func:`shutoffsim.load`.
    designs : sequence of str, optional
        Names of the designs to compare; the first is the reference. Default: all of the file.
    precision : float
        Wanted relative standard error of each design's expected annual damage.
    histories : int, optional
        Run exactly so many histories instead.
    seed : int
        0 to 2**64 - 1. One seed and one question give one result, however it is computed.
    engine : {"batch", "trace"}
        Compiled loop, or SimPy (slow, same numbers).
    workers : int
        Threads.
    progress : callable, optional
        Called as ``progress(histories done, histories planned)``.
    watch : callable, optional
        Called with each chunk of incidents, in order.
    cluster : distributed.Client or str, optional
        Compute there instead, with the same numbers; see docs/cluster.md.
    store : pathlib.Path, optional
        With a cluster: folder where finished pieces are kept, so that a run can be taken up again.

    Returns
    -------
    Comparison

    Raises
    ------
    ScenarioError
        Unknown design.
    ModelError
        A number is out of range.

    Examples
    --------
    >>> import shutoffsim
    >>> scenario = shutoffsim.load("scenarios/holiday_cottage.toml")
    >>> result = shutoffsim.compare(scenario, histories=64, seed=1)
    >>> result.histories
    64
    """
    names = tuple(designs) if designs else scenario.designs
    for name in names:
        scenario.design(name)
    if precision is None and histories is None:
        raise ModelError("how long to run is not stated", expected="a precision or histories")
    RunOptions(seed, workers, histories, precision)
    setup = Setup.of(scenario.parameters(names), seed, engine, names=names)
    rule = StoppingRule(precision, LEAST_HISTORIES, MOST_HISTORIES)
    if histories is not None:
        rule = StoppingRule(None, histories, histories)
    tally = Tally(len(names), scenario.service_life / L.YEAR, block_for(rule.least), setup.params)

    def take(chunk: Chunk) -> None:
        tally.add(chunk)
        if watch is not None:
            watch(chunk)

    run_histories(
        setup,
        lambda done: rule.next_target(done, largest_error(tally)),
        take,
        workers=workers,
        progress=progress,
        cluster=cluster,
        store=store,
    )
    return summarise(scenario, names, setup, tally, rule)


def largest_error(tally: Tally) -> float:
    """Return the largest relative standard error of the designs' expected annual damage.

    A design of which no damage was seen has none that is known, unless it can have no damage.
    """
    if tally.blocks < 2:
        return math.inf
    return max(_relative_error(tally.mean(d, T.LOSS, 0.0)) for d in range(len(tally.total)))


def _relative_error(e: Estimate) -> float:
    if e.bounded and e.value > 0.0 and not math.isfinite(e.high):
        return (e.value - e.low) / 2.0 / e.value  # no cap: what was not seen has no bound
    return e.relative_error


def summarise(
    scenario: Scenario,
    names: tuple[str, ...],
    setup: Setup,
    tally: Tally,
    rule: StoppingRule,
) -> Comparison:
    """Return the comparison that a tally amounts to."""
    results = [_design_result(name, d, tally) for d, name in enumerate(names)]
    differences = []
    for d, name in enumerate(names[1:], start=1):
        found = tally.difference(d, T.LOSS)
        differences.append(Difference(name, names[0], found, _chance_below_zero(found)))
        if found.bounded and found.value == 0.0 and tally.blocks > 1:
            note = f"no difference to “{names[0]}” was seen; {_BOUND}"
            results[d] = replace(results[d], warnings=(*results[d].warnings, note))
    reached = rule.reached(largest_error(tally))
    if not reached:
        warnings.warn(
            f"precision not reached after {tally.n:,} histories", PrecisionWarning, stacklevel=3
        )
    best, as_good = _best(names, tally)
    return Comparison(
        scenario=scenario.name,
        scenario_hash=scenario.hash,
        version=__version__,
        seed=setup.seed,
        histories=tally.n,
        probes=setup.probes,
        horizon_years=tally.years,
        currency=scenario.currency,
        engine=setup.engine,
        designs=tuple(results),
        differences=tuple(differences),
        assumptions=_assumptions(scenario, names),
        best=best,
        as_good=as_good,
        reached=reached,
        tally=tally,
    )


def _design_result(name: str, d: int, tally: Tally) -> DesignResult:
    modes = {
        mode: tally.share(d, T.FIRST_MODE + number)
        for number, mode in enumerate(L.MODES)
        if number != L.MODE_NONE and tally.total[d, T.FIRST_MODE + number] > 0.0
    }
    volumes = {
        label: tally.volume_quantile(d, share).linear(1.0 / LITRE)
        for label, share in (("median", 0.5), ("p95", 0.95))
    }
    return DesignResult(
        name=name,
        escaped_volume_l=volumes,
        failure_modes=dict(sorted(modes.items(), key=lambda item: -item[1].value)),
        warnings=_cautions(d, tally),
        **{key: known.of(tally, d) for key, known in FIGURES.items()},
    )


def _best(names: tuple[str, ...], tally: Tally) -> tuple[str | None, tuple[str, ...]]:
    """Return the best design, if clearly better than the reference, and those as good as it."""
    if len(names) < 2:
        return None, ()
    damage = tally.total[:, T.LOSS]
    least = int(np.argmin(damage[1:])) + 1
    if not tally.difference(least, T.LOSS).high < 0.0:
        return None, ()
    others = [d for d in range(1, len(names)) if d != least]
    close = [d for d in others if not tally.difference(d, T.LOSS, least).low > 0.0]
    return names[least], tuple(names[d] for d in close)


def _cautions(d: int, tally: Tally) -> tuple[str, ...]:
    notes = []
    incidents = tally.effective_incidents(d)
    damage = tally.mean(d, T.LOSS, 0.0)
    if damage.bounded and tally.blocks > 1:
        seen = "all histories gave the same damage" if damage.value > 0.0 else "no damage"
        notes.append(f"{seen}{'' if damage.value > 0.0 else ' was seen'}; {_BOUND}")
    if 0.0 < incidents < _FEW_INCIDENTS:
        notes.append(
            f"the damage rests on the information of about {incidents:.0f} incidents; "
            "its interval may be too narrow"
        )
    if tally.largest_share(d) > _LARGE_SHARE:
        notes.append(
            f"one incident carries {tally.largest_share(d):.0%} of the expected damage: heavy tail"
        )
    if tally.dropped > 0.0:
        notes.append(f"{tally.dropped:.0f} leaks left out: {L.SLOTS} others were open already")
    return tuple(notes)


def _chance_below_zero(e: Estimate) -> float:
    if e.certain:
        return 0.5 if e.value == 0.0 else float(e.value < 0.0)
    if e.bounded:  # nothing tells how likely what was not seen is
        return 1.0 if e.high < 0.0 else 0.0 if e.low > 0.0 else math.nan
    return float(special.ndtr(-e.value / e.std_error))


def _assumptions(scenario: Scenario, names: tuple[str, ...]) -> tuple[dict[str, Any], ...]:
    seen: dict[tuple[str, str], dict[str, Any]] = {}
    for name in names:
        for item in scenario.assumptions(name):
            entry = item._asdict()
            seen.setdefault((str(entry["key"]), str(entry["value"])), entry)
    return tuple(seen.values())


def _design_dict(design: DesignResult) -> dict[str, Any]:
    return {known.name: _plain(getattr(design, known.name)) for known in fields(design)}


def _plain(value: Any) -> Any:
    """Return a field of a design's result as plain data."""
    if isinstance(value, Estimate):
        return value.as_dict()
    if isinstance(value, dict):
        return {key: estimate.as_dict() for key, estimate in value.items()}
    return list(value) if isinstance(value, tuple) else value


def _answer(result: Comparison) -> str:
    """Return the answering sentence; see :meth:`Comparison.answer`."""
    reference = result.designs[0]
    unit = f"{result.currency} a year"
    damage = reference.expected_annual_damage
    if not result.differences:
        return (
            f"“{reference.name}” is expected to cost {told(damage)} "
            f"{unit} in water damage ({interval_words(damage)})."
        )
    best = min(
        result.differences,
        key=lambda d: (d.expected_annual_damage.value, d.expected_annual_damage.certain),
    )
    less = -best.expected_annual_damage
    if less.certain and less.value == 0.0:
        which = f"“{best.design}”" if len(result.differences) == 1 else "Every other design"
        return (
            f"{which} is equal to “{reference.name}” in every value, so expected water damage is "
            f"the same, {told(damage)} {unit}."
        )
    if result.histories == 1:
        return "One history says nothing about the uncertainty of a difference: run more."
    if less.bounded and less.value == 0.0:
        return no_difference(best.design, reference.name, less, unit)
    if not less.low > 0.0:
        return (
            f"None of the designs is clearly better than “{reference.name}”: the largest estimated "
            f"reduction, “{best.design}”, is {told(less)} {unit} with a "
            f"{interval_words(less, 'of ')}."
        )
    share = less.value / damage.value
    sentence = (
        f"“{best.design}” reduces expected water damage the most: by "
        f"{told(less)} {unit} ({share:.0%}) against “{reference.name}”, "
        f"{interval_words(less)}"
    )
    if result.as_good:
        others = ", ".join(f"“{name}”" for name in result.as_good)
        return f"{sentence}; not distinguishable from it: {others}."
    return sentence + "."


def no_difference(design: str, reference: str, less: Estimate, unit: str) -> str:
    """Return the sentence that no history showed a difference, with the bound of one.

    ``unit`` stands behind the amount.
    """
    seen = f"No history showed a difference in damage between “{design}” and “{reference}”"
    if not math.isfinite(less.high):
        return f"{seen}; how large one may be is unknown."
    return f"{seen}; it is at most {amount(less.high, less.error)} {unit} (95 % bound)."


def interval_words(e: Estimate, of: str = "") -> str:
    """Return the interval of an estimate in words.

    >>> interval_words(Estimate(120.0, 5.0, 110.0, 130.0)), interval_words(Estimate.exact(3.0))
    ('95 % interval 110 to 130', 'certain')
    """
    if e.certain:
        return "certain"
    if not (math.isfinite(e.low) and math.isfinite(e.high)):
        return "interval unknown"
    return f"95 % interval {of}{ends(e)}"


def ends(e: Estimate, factor: float = 1.0) -> str:
    """Return "low to high" in honest digits.

    >>> ends(Estimate(120.0, 5.0, 110.0, 130.0)), ends(Estimate(0.0, math.nan, 0.0, 0.0525))
    ('110 to 130', '0 to 0.05')
    """
    low, high = sorted((factor * e.low, factor * e.high))
    error = abs(factor) * e.error
    least = amount(low, 0.0 if e.bounded and low == 0.0 else error)
    return f"{least} to {amount(high, error)}"


def told(e: Estimate, factor: float = 1.0) -> str:
    """Return the value of an estimate with no more digits than its error supports.

    >>> told(Estimate(0.091, 0.001, 0.089, 0.093), 100.0), told(Estimate(0.0, math.nan, 0.0, 0.05))
    ('9.1', '0')
    """
    certain = e.bounded and e.value == 0.0  # nothing seen is shown as nothing
    return amount(factor * e.value, 0.0 if certain else abs(factor) * e.error)


def amount(value: float, std_error: float) -> str:
    """Return a number with no more digits than its standard error supports.

    >>> amount(1234.567, 8.0)
    '1,235'
    >>> amount(1234.567, 300.0)
    '1,230'
    >>> amount(-0.0, 0.0), amount(6.6e-12, 3e-13)
    ('0', '6.6e-12')
    """
    if not math.isfinite(value):
        return "unknown"
    size = math.floor(math.log10(abs(value))) if value else 0
    if not math.isfinite(std_error) or std_error <= 0.0:
        return f"{value + 0.0:,.4g}" if abs(value) < 1000 else f"{value:,.0f}"
    digits = -math.floor(math.log10(std_error))
    if digits < 0:
        digits += 1  # one digit of the error stays readable
    if value:
        digits = min(digits, _MOST_DIGITS - size)
    if value and digits > _MOST_DECIMALS and size < _LEAST_SIZE:
        return f"{value:.{max(digits + size, 0)}e}"
    rounded = round(value, digits)
    return f"{rounded + 0.0:,.{max(digits, 0)}f}"
