"""From leaks with yearly rates to annual loss and exceedance curves; and who is first."""

from __future__ import annotations

import math
from collections.abc import Callable
from functools import cache

import numpy as np
from checks import perfect
from runs import numbers, over_probes, words
from scipy import stats
from support.agreement import Check, Found, LeftOut

import shutoffsim
from shutoffsim.engine.run import Chunk
from shutoffsim.model import layout as L
from shutoffsim.study.assessment.losses import LossTally
from shutoffsim.study.assessment.sums import SumOfYear
from shutoffsim.study.assessment.yearly import Largest, yearly_losses

CATASTROPHE = "Catastrophe Modeling: A New Approach to Managing Risk (2005), table 2.1"
POISSON = "compound Poisson distribution"

CHANCES = numbers(".002 .005 .010 .020 .030 .040 .050 .050 .050 .070 .090 .100 .100 .100")
MILLIONS = numbers("25 15 10 5 3 2 1 .8 .7 .5 .5 .3 .2 .1")
EXCEEDED = words(
    "0.0020 0.0070 0.0169 0.0366 0.0655 0.1029 0.1477 0.1903 0.2308 0.2846 0.3490 0.4141 0.4727 "
    "0.5255"
)


@cache
def event_table(poisson: bool) -> tuple[shutoffsim.Comparison, tuple[Chunk, ...]]:
    """Run the table as fourteen kinds of leak, each with its rate and its fixed loss.

    A leak runs for one minute, so its flow makes the wetted area, and that the loss: a million per
    square metre. The rate is the yearly probability, or for a Poisson stream the one that gives
    it, -ln(1 - p).
    """
    lines = [
        'element.kind = "none"',
        "leaks.hose.fitted = false",
        'dwelling.full_bore_flow = "1e7 m3/h"',
        'damage = {harmless = "0 L", fixed_loss = "0 EUR", area_loss = "1e6 EUR/m2", '
        'contents_loss = "0 EUR/m2", wet_extra = 0, loss_cap = "no limit"}',
    ]
    for number, (chance, area) in enumerate(zip(CHANCES, MILLIONS, strict=True)):
        rate = -math.log1p(-chance) if poisson else chance
        flow = 2.0 * area  # L/min: a film of 2 mm
        lines.append(
            f'leaks.l{number} = {{rate = "{rate!r} per year", seep_share = 0, '
            f'open_end_flow = "{flow!r} L/min", open_end_pressure = "3 bar"}}'
        )
    chunks: list[Chunk] = []
    scenario = perfect("\n".join(lines), life="10 years")
    result = shutoffsim.compare(scenario, histories=2048, seed=1, watch=chunks.append)
    return result, tuple(chunks)


@cache
def curve() -> dict[float, Found]:
    """Return the chance of a yearly loss of so many millions or more, as a report tells it."""
    result, chunks = event_table(True)
    tally = LossTally(1, result.horizon_years)
    for chunk in chunks:
        tally.add(chunk)
    # the printed curve is of reaching a loss, not of exceeding it
    millions = sorted(set(MILLIONS))
    (found,) = yearly_losses(tally, losses=[m * 1e6 * 0.999 for m in millions])
    return {
        m: Found(point.occurrence.value, point.occurrence.std_error)
        for m, point in zip(millions, found.curve, strict=True)
    }


def annual_loss() -> Found:
    damage = event_table(False)[0].designs[0].expected_annual_damage
    return Found(damage.value, damage.std_error)


def exceeded(millions: float) -> Callable[[], Found]:
    return lambda: curve()[millions]


TIE = (
    "the table has two events of 0.5 million; the printed curve goes through them one by one, the "
    "lower probability is that of the first alone."
)


def exceedance_checks() -> list[Check]:
    checks = []
    kept = 1.0
    for number, (chance, loss, printed) in enumerate(zip(CHANCES, MILLIONS, EXCEEDED, strict=True)):
        kept *= 1.0 - chance
        if number == 9:
            continue  # the first of two equal losses: no point of a curve over losses
        checks.append(
            Check(
                "Event table",
                f"chance of a yearly loss of {loss:g} million or more",
                exceeded(loss),
                CATASTROPHE,
                "from memory",
                printed,
                exact=f"{1.0 - kept:.7f}",
                note=TIE if number == 10 else "",
            )
        )
    return checks


EVENTS = [
    Check(
        "Event table",
        "average annual loss",
        annual_loss,
        CATASTROPHE,
        "from memory",
        "760000",
        exact="760000.0",
        note="a rate equal to the yearly probability, as the sum of p L is.",
    ),
    *exceedance_checks(),
]

# --- the curves themselves ------------------------------------------------------------------------

KINDS = np.array([1000.0, 250.0, 40.0]), np.array([0.2, 0.7, 1.6])  # loss, rate: any would do
SORTED = KINDS[0][::-1], KINDS[1][::-1]


def exact(name: str, find: Callable[[], Found], value: float, digits: int = 6, **rest) -> Check:
    text = f"{value:.{digits}E}"
    return Check("Exceedance curves", name, find, POISSON, "computed", exact=text, **rest)


def moment(power: int) -> Found:
    """Return the mean or the variance of a year's sum."""
    law = SumOfYear(SORTED[0], np.zeros(3), SORTED[1])
    levels, chances = law.levels.at, law.chances(SORTED[1])
    mean = float(levels @ chances)
    return Found(mean if power == 1 else float((levels - mean) ** 2 @ chances))


def above(law: Largest | SumOfYear, rates: np.ndarray, threshold: float) -> Found:
    return Found(float(law.chances(rates)[law.levels.at > threshold].sum()))


def sum_above(loss: float, rate: float, threshold: float) -> Found:
    rates = np.array([rate])
    return above(SumOfYear(np.array([loss]), np.zeros(1), rates), rates, threshold)


def ten_years() -> Found:
    law = Largest(SORTED[0], np.zeros(3))
    at = law.levels.quantile(law.levels.beyond(law.chances(SORTED[1])), 0.1)
    return Found(float(law.levels.at[at]))


CURVES = [
    exact(
        "mean of a year, sum of rate x loss",
        lambda: moment(1),
        float(KINDS[0] @ KINDS[1]),
    ),
    exact(
        "variance of a year, sum of rate x loss^2",
        lambda: moment(2),
        float(KINDS[0] ** 2 @ KINDS[1]),
    ),
    exact(
        "largest loss above 100, 1 - exp(-0.9)",
        lambda: above(Largest(SORTED[0], np.zeros(3)), SORTED[1], 100.0),
        -math.expm1(-0.9),
    ),
    exact(
        "like losses of 100 at 1.5 a year, sum above 250: three or more",
        lambda: sum_above(100.0, 1.5, 250.0),
        float(stats.poisson.sf(2, 1.5)),
    ),
    exact("loss of the 10-year return period", ten_years, 1000.0),
]

# --- who is first ---------------------------------------------------------------------------------

RULE = """
sensors.a.fitted = false
flow_rule = {fitted = true, pulse_volume = "1e-6 L", starting_flow = "0 L/h", flow = "0 L/h", \
time = "15 min", volume = "1e9 L", time_away = "15 min", volume_away = "1e9 L"}
"""


def by_hand(rows) -> np.ndarray:
    return rows["stopped_by"] == L.BY_HAND


def race(name: str, changes: str, values, value: str) -> Check:
    return Check(
        "Who is first",
        name,
        over_probes(changes, values, histories=4000, probes=16),
        "order of two independent random times",
        "computed",
        exact=value,
    )


RACES = [
    race(
        "log-normal person (10 min, s 0.8) before log-normal way to a sensor (15 min, s 0.5)",
        f"""
        people = {{notice_burst = "10 min", notice_spread = {math.exp(0.8)}}}
        sensors.a.reach_area = {{median = "45 m2", spread = {math.exp(0.5)}}}
        """,
        by_hand,
        "0.666327",
    ),
    race(
        "exponential person (10 min) before exponential way to a sensor (15 min)",
        """
        people.notice_burst = "1e-6 s"
        override.find_known = {mean = "10 min"}
        sensors.a.reach_area = {mean = "45 m2"}
        """,
        by_hand,
        "0.600000",
    ),
    race(
        "litres at 1 L/min until a log-normal person (10 min, s 0.8) or a rule at 15 min",
        f"""
        {RULE}
        people = {{notice_burst = "10 min", notice_spread = {math.exp(0.8)}}}
        """,
        lambda rows: rows["volume"] * 1000.0 / 6.0,
        "9.889813",
    ),
]

CHECKS = [*EVENTS, *CURVES, *RACES]

LEFT_OUT = [
    LeftOut(
        "Event table, last row (0.6597), and 0.2846 for the first of two equal losses",
        "the last row counts the years without a loss, and a curve over losses has one point for "
        "equal losses; the printed 0.2846 should moreover be 0.2847",
    ),
    LeftOut(
        "Human response: HCR curves, nominal diagnosis curve (NUREG/CR-1278)",
        "a person's time to notice is log-normal around a stated median, nothing else",
    ),
]
