"""Every estimate of an assessment as one tidy table: one number with its interval per row."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import TYPE_CHECKING, NamedTuple

from shutoffsim.estimate.estimate import Estimate
from shutoffsim.study.comparison import FIGURES

if TYPE_CHECKING:
    import pyarrow as pa

    from shutoffsim.study.assessment.result import Assessment, DesignAssessment
    from shutoffsim.study.comparison import DesignResult


class _Row(NamedTuple):
    quantity: str
    unit: str
    estimate: Estimate


def estimate_table(assessment: Assessment) -> pa.Table:
    """Return the estimates.

    Returns
    -------
    pyarrow.Table
        Columns design, quantity, unit, value, std_error, low, high; empty where a number cannot
        be told.
    """
    import pyarrow as pa

    money = assessment.currency
    rows: list[tuple[str, _Row]] = []
    for result, design in zip(assessment.comparison.designs, assessment.designs, strict=True):
        rows += [(design.name, row) for row in _compared(result, money)]
        rows += [(design.name, row) for row in _assessed(design, money)]
    for difference in assessment.comparison.differences:
        quantity = f"expected annual damage less that of {difference.reference}"
        row = _Row(quantity, f"{money}/year", difference.expected_annual_damage)
        rows.append((difference.design, row))
    numbers = {
        name: pa.array([_number(getattr(row.estimate, name)) for _, row in rows], pa.float64())
        for name in ("value", "std_error", "low", "high")
    }
    return pa.table(
        {
            "design": pa.array([design for design, _ in rows], pa.string()),
            "quantity": pa.array([row.quantity for _, row in rows], pa.string()),
            "unit": pa.array([row.unit for _, row in rows], pa.string()),
            **numbers,
        }
    )


def _number(value: float) -> float | None:
    return value if math.isfinite(value) else None


def _compared(result: DesignResult, money: str) -> Iterator[_Row]:
    for name, figure in FIGURES.items():
        quantity = name.removesuffix("_per_year").replace("_", " ")
        yield _Row(quantity, figure.unit.replace("money", money), getattr(result, name))
    for name, estimate in result.escaped_volume_l.items():
        yield _Row(f"escaped volume, {name}", "L", estimate)


def _assessed(design: DesignAssessment, money: str) -> Iterator[_Row]:
    yearly = f"{money}/year"
    for mode in design.modes:
        yield _Row(f"share of leaks: {mode.mode}", "1", mode.leaks)
        yield _Row(f"annual damage: {mode.mode}", yearly, mode.damage)
    for removal in design.removals:
        yield _Row(f"reduction without: {removal.mode}", yearly, removal.reduction)
    for period in design.yearly_loss.periods:
        years = f"once in {period.period_years:g} years"
        yield _Row(f"largest loss of a year, {years}", money, period.occurrence)
        yield _Row(f"loss of a year, {years}", money, period.aggregate)
        yield _Row(f"largest loss of a year, mean beyond {years}", money, period.occurrence_tail)
        yield _Row(f"loss of a year, mean beyond {years}", money, period.aggregate_tail)
    for point in design.yearly_loss.curve:
        yield _Row(f"largest loss of a year above {point.loss:g}", "1/year", point.occurrence)
        yield _Row(f"loss of a year above {point.loss:g}", "1/year", point.aggregate)
    for step in design.times:
        yield _Row(f"{step.step}, never", "1", step.never)
        for quantile in step.quantiles:
            if quantile.time_s is not None:
                yield _Row(f"{step.step}, quantile {quantile.share:g}", "s", quantile.time_s)
    if design.worth is not None:
        worth = design.worth
        yield _Row("saving", yearly, worth.saving_per_year)
        yield _Row("saving, insured part", yearly, worth.insured_saving_per_year)
        yield _Row("saving, owner's part", yearly, worth.own_saving_per_year)
        yield _Row("net present value", money, worth.net_present_value)
        yield _Row("net present value, owner's part", money, worth.own_net_present_value)
