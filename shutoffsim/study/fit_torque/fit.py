"""From a file of readings to the posterior of the valve."""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
from scipy import special

from shutoffsim.errors import ModelError
from shutoffsim.estimate.estimate import Estimate
from shutoffsim.model.layout import YEAR
from shutoffsim.model.valve import WEEK
from shutoffsim.records import open_records
from shutoffsim.records.kinds import READINGS
from shutoffsim.study.cautions import MEASURING
from shutoffsim.study.fit_torque import law, valves
from shutoffsim.study.fit_torque.agreement import check_agreement
from shutoffsim.study.fit_torque.belief import Array, Belief, Prior, at_normal, draw_prior
from shutoffsim.study.fit_torque.law import Data, Parameters
from shutoffsim.study.fit_torque.likelihood import Likeliest, fit_likeliest
from shutoffsim.study.fit_torque.notes import write_notes
from shutoffsim.study.fit_torque.prediction import predict, summarise
from shutoffsim.study.fit_torque.result import Learnt, TorqueFit
from shutoffsim.study.fit_torque.rows import read_rows
from shutoffsim.study.fit_torque.sampler import DRAWS, Sample, sample
from shutoffsim.study.fit_torque.setting import read_setting
from shutoffsim.study.fit_torque.times import complete
from shutoffsim.study.options import check_seed

if TYPE_CHECKING:
    import pandas as pd

    from shutoffsim.scenario import Scenario


def fit_torque(
    source: str | Path | pd.DataFrame,
    scenario: Scenario | None = None,
    design: str | None = None,
    seed: int = 1,
    *,
    valve: str | None = None,
) -> TorqueFit:
    """Learn a valve's torque from readings.

    Parameters
    ----------
    source : str, Path or pandas.DataFrame
        A file of readings (CSV), or a table with the same columns.
    scenario : Scenario, optional
        Gives the prior; by default the library's values for its usual valve.
    design : str, optional
        Of the scenario; by default the last one with a clamped actuator.
    seed : int
        0 to 2**64 - 1. One seed and one file give one result.
    valve : str, optional
        Which valve to report on. By default the only one, or another valve like several.

    Returns
    -------
    TorqueFit

    Raises
    ------
    RecordError
        When the file cannot be used: each problem with its line and column.
    ModelError
        When there is no such valve, or the seed or design is of no use.
    """
    check_seed(seed)
    setting = read_setting(scenario, design)
    records = open_records(source, READINGS)
    rows = complete(read_rows(records, setting.data_sheet), records.where, setting.age)
    data = law.to_data(rows)
    chosen = _choose_valve(data, valve, records.where)

    prior = setting.prior
    found, at = draw(data, prior, seed)
    likeliest = fit_likeliest(data, prior)
    count = f"{len(rows)} reading{'' if len(rows) == 1 else 's'}"
    age = _age_now(data, chosen)
    belief = _sorted(_belief(found, at, prior, chosen, seed, f"{count} of {records.where}"), age)
    before = draw_prior(prior, DRAWS, seed, setting.source)
    checks, residuals = check_agreement(data, at, prior, seed)
    name = None if chosen is None else data.valves[chosen]
    return TorqueFit(
        source=records.where,
        prior_source=setting.source,
        scenario=setting.scenario,
        scenario_hash=setting.scenario_hash,
        design=setting.design,
        valve=name,
        age=age,
        rows=tuple(rows),
        parameters=_learnt(belief, before, data, at, found, prior, likeliest),
        predictions=predict(belief, age, seed),
        before=predict(before, age, seed),
        checks=checks,
        likeliest=likeliest,
        belief=belief,
        prior=before,
        effective=found.effective,
        notes=write_notes(
            records.header,
            rows,
            data,
            setting,
            valve=name,
            age=age,
            left=_log_sd(belief, age) / max(_log_sd(before, age), 1e-12),
            off=_off(belief, before),
            alone=likeliest is not None,
            checks=checks,
            effective=found.effective,
        ),
        cautions=MEASURING,
        seed=seed,
        rest=WEEK * math.expm1(float(np.median(np.log1p(data.idle / WEEK)))),
        data=data,
        expected=law.expected(data, at, prior),
        residuals=residuals,
    )


def draw(data: Data, prior: Prior, seed: int) -> tuple[Sample, Parameters]:
    """Draw from the posterior: coordinates of the prior, and the parameters that they stand for."""

    def log_likelihood(z: Array) -> Array:
        return valves.log_likelihood(z, data, prior)

    found = sample(log_likelihood, valves.dimensions(data), seed)
    return found, law.from_normal(found.z, valves.draw_levels(found.z, data, prior, seed), prior)


def _choose_valve(data: Data, valve: str | None, where: str) -> int | None:
    if valve is None:
        return 0 if len(data.valves) == 1 else None
    if valve not in data.valves:
        raise ModelError(
            "there are no readings of this valve",
            where=where,
            found=f'"{valve[:80]}"',
            expected="one of " + ", ".join(f'"{name}"' for name in data.valves),
        )
    return data.valves.index(valve)


def _age_now(data: Data, chosen: int | None) -> float:
    """Return the age [s] at the last reading, for another valve the median of all."""
    last = [float(np.max(data.age[data.valve == v])) for v in range(len(data.valves))]
    return float(np.median(last)) if chosen is None else last[chosen]


def _belief(
    found: Sample,
    at: Parameters,
    prior: Prior,
    chosen: int | None,
    seed: int,
    source: str,
) -> Belief:
    if chosen is None:
        # Another valve of the same kind has a deviation of its own.
        level = at_normal(prior.level, valves.draw_another(found.z, seed))
    else:
        level = at.level[:, chosen]
    return Belief(
        level=level,
        age_factor=at.age_factor,
        idle_growth=at.idle_growth,
        closing_share=at.closing_share,
        scatter=at.scatter,
        age_reference=prior.age_reference,
        idle_cap=prior.idle_cap,
        source=source,
    )


def _sorted(belief: Belief, age: float) -> Belief:
    """Return the draws from the easiest valve to the stiffest, so that quantiles keep places."""
    order = np.argsort(belief.torque(age, YEAR / 12.0), kind="stable")
    names = ("level", "age_factor", "idle_growth", "closing_share", "scatter")
    return replace(belief, **{name: getattr(belief, name)[order] for name in names})


def _log_sd(belief: Belief, age: float) -> float:
    return float(np.std(np.log(belief.torque(age, 0.0, closing=True))))


def _off(belief: Belief, before: Belief) -> float:
    """Return how far the level is from the prior's middle, in its standard deviations."""
    wide = float(np.std(np.log(before.level)))
    apart = float(np.median(np.log(belief.level)) - np.median(np.log(before.level)))
    return apart / wide if wide > 0.0 else 0.0


def _learnt(
    belief: Belief,
    before: Belief,
    data: Data,
    at: Parameters,
    found: Sample,
    prior: Prior,
    likeliest: Likeliest | None,
) -> tuple[Learnt, ...]:
    alone: dict[str, Estimate] = {} if likeliest is None else likeliest.parameters
    several = len(data.valves) > 1
    level = summarise(before.level)
    rows = [
        Learnt(
            "breakaway",
            "torque to open when new" + (", another valve" if several else ""),
            "N*m",
            level,
            summarise(belief.level),
            alone.get("level"),
        )
    ]
    years = f"{prior.age_reference / YEAR:.3g} years"
    rows += [
        Learnt(key, name, "", summarise(first), summarise(then), alone.get(key))
        for key, name, first, then in (
            ("age_factor", f"age factor at {years}", before.age_factor, belief.age_factor),
            ("idle_growth", "growth with rest", before.idle_growth, belief.idle_growth),
            (
                "closing_share",
                "closing share",
                before.closing_share,
                belief.closing_share,
            ),
            ("scatter", "scatter of readings", before.scatter, belief.scatter),
        )
    ]
    if np.any(data.gauge):
        normal = special.ndtri((np.arange(DRAWS) + 0.5) / DRAWS)
        rows.append(
            Learnt(
                "unit_spread",
                "actuator relative to its data sheet",
                "",
                summarise(at_normal(prior.gauge, normal)),
                summarise(at.gauge),
                alone.get("gauge"),
            )
        )
    if several:
        rows += [
            Learnt(
                f"breakaway of {name}",
                f"torque to open when new, {name}",
                "N*m",
                level,
                summarise(at.level[:, number]),
                None,
            )
            for number, name in enumerate(data.valves)
        ]
        even = (np.arange(DRAWS) + 0.5) / DRAWS
        rows.append(
            Learnt(
                "between_valves",
                "share of that between valves",
                "",
                summarise(even),
                summarise(valves.between(found.z)),
                None,
            )
        )
    return tuple(rows)
