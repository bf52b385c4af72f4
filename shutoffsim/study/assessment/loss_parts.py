"""Parts of the result: losses, their causes, times, and what a design is worth."""

from __future__ import annotations

from dataclasses import dataclass

from shutoffsim.estimate.estimate import Estimate


@dataclass(frozen=True)
class CurvePoint:
    """Yearly probability that a loss is exceeded.

    Attributes
    ----------
    loss : float
    occurrence, aggregate : Estimate
        That the largest loss of a year, and the sum over a year, is above ``loss``.
    """

    loss: float
    occurrence: Estimate
    aggregate: Estimate


@dataclass(frozen=True)
class PeriodLoss:
    """What a year brings that comes once in so many years.

    Attributes
    ----------
    period_years : float
    occurrence, aggregate : Estimate
        Loss that the largest, and the sum, of a year exceeds with probability 1 / period.
    occurrence_tail, aggregate_tail : Estimate
        Mean of the largest loss, and of the sum, over the worst 1 / period of the years.
    resolved : bool
        False: too few simulated leaks lie beyond it; the interval is too narrow.
    """

    period_years: float
    occurrence: Estimate
    aggregate: Estimate
    occurrence_tail: Estimate
    aggregate_tail: Estimate
    resolved: bool


@dataclass(frozen=True)
class YearlyLoss:
    """Exceedance curves of one design.

    Attributes
    ----------
    curve : tuple of CurvePoint
        By rising loss; the same losses for all designs.
    periods : tuple of PeriodLoss
        By rising period.
    """

    curve: tuple[CurvePoint, ...]
    periods: tuple[PeriodLoss, ...]


@dataclass(frozen=True)
class Claims:
    """What a policy with the stated deductible and limit sees of one dwelling.

    Attributes
    ----------
    per_year : Estimate
        Losses above the deductible.
    mean : Estimate
        What the policy pays for one of them; unknown where none was seen.
    """

    per_year: Estimate
    mean: Estimate


@dataclass(frozen=True)
class ModeShare:
    """What a failure mode lets through.

    Attributes
    ----------
    mode : str
        First broken link; ``none``: automation stopped the leak in time.
    leaks : Estimate
        Share of all leaks.
    damage : Estimate
        Expected annual damage of these leaks.
    damage_share : Estimate
        Share of the design's expected annual damage.
    """

    mode: str
    leaks: Estimate
    damage: Estimate
    damage_share: Estimate


@dataclass(frozen=True)
class Removal:
    """What it would be worth if one failure mode could not happen.

    Attributes
    ----------
    mode : str
    how : str
        What was changed to remove it.
    reduction : Estimate
        Of expected annual damage; paired, history by history. Negative: damage would rise.
    leaks_before, leaks_after : Estimate
        Share of leaks in this mode with it and without it.
    remains : str
        Why some leaks are still in this mode without it; empty where none are.
    """

    mode: str
    how: str
    reduction: Estimate
    leaks_before: Estimate
    leaks_after: Estimate
    remains: str = ""


@dataclass(frozen=True)
class TimePoint:
    """Share of leaks for which it has happened by a time."""

    time_s: float
    share: Estimate


@dataclass(frozen=True)
class TimeQuantile:
    """Time by which it has happened for a share of all leaks; None: for fewer it ever happens."""

    share: float
    time_s: Estimate | None


@dataclass(frozen=True)
class Times:
    """How long a step takes, over all leaks.

    Attributes
    ----------
    step : str
        ``onset to sensed``, ``sensed to stopped`` (of the leaks that were sensed) or ``onset to
        stopped``.
    never : Estimate
        Share for which it does not happen within the service life.
    quantiles : tuple of TimeQuantile
    curve : tuple of TimePoint
    """

    step: str
    never: Estimate
    quantiles: tuple[TimeQuantile, ...]
    curve: tuple[TimePoint, ...]


@dataclass(frozen=True)
class Payback:
    """Years until the saving has paid the price; None: not within 1000 years, or never.

    ``low`` and ``high`` follow from the interval of the saving.
    """

    years: float | None
    low: float | None
    high: float | None


@dataclass(frozen=True)
class Worth:
    """Cost and benefit of a design against the reference.

    Attributes
    ----------
    purchase, fitting, upkeep_per_year, exercise_per_year, repairs_per_year : float
        Costs of the design; what is not stated counts as zero.
    not_stated : tuple of str
        Costs that the scenario does not state.
    extra_first, extra_per_year : float
        More than the reference costs, at once and yearly.
    discount_rate, years : float
        Per year; service life.
    saving_per_year : Estimate
        Reduction of expected annual damage.
    insured_saving_per_year, own_saving_per_year : Estimate
        The insurer's part of it, and the part that the owner bears (deductible, beyond the limit).
    net_present_value, own_net_present_value : Estimate
        Of the whole saving, and of the owner's part, less all extra costs.
    worth_up_to : Estimate
        Greatest extra price at once at which the whole saving still pays.
    payback, discounted_payback : Payback
    """

    purchase: float
    fitting: float
    upkeep_per_year: float
    exercise_per_year: float
    repairs_per_year: float
    not_stated: tuple[str, ...]
    extra_first: float
    extra_per_year: float
    discount_rate: float
    years: float
    saving_per_year: Estimate
    insured_saving_per_year: Estimate
    own_saving_per_year: Estimate
    net_present_value: Estimate
    own_net_present_value: Estimate
    worth_up_to: Estimate
    payback: Payback
    discounted_payback: Payback


@dataclass(frozen=True)
class FailureEvidence:
    """Probability of failure on demand, and what it rests on.

    Attributes
    ----------
    probability : Estimate
    leaks_per_year, failures_per_year : Estimate
    evidence_class : str
        In a few words.
    evidence : str
        The same in a sentence.
    values_by_label : dict of str to int
        How many values in use have which label (``your scenario``, ``published``, ...).
    assumed_share : float
        Share of the values in use that rest on an assumption or on memory.
    """

    probability: Estimate
    leaks_per_year: Estimate
    failures_per_year: Estimate
    evidence_class: str
    evidence: str
    values_by_label: dict[str, int]
    assumed_share: float
