"""The result of an assessment: plain values that can be stored, read again and put on a page.

Money is in the scenario's currency; names end in the unit where one is needed (``_s``, ``_l``,
``_n_m``, ``_a``). None stands for what does not exist or is unknown.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cache
from typing import TYPE_CHECKING, Any

from shutoffsim.errors import ModelError
from shutoffsim.estimate.estimate import Estimate
from shutoffsim.estimate.plain import plain_fields
from shutoffsim.model.elements import Kind
from shutoffsim.scenario.entries import columns
from shutoffsim.scenario.problems import dotted
from shutoffsim.study.assessment.loss_parts import (
    Claims,
    FailureEvidence,
    ModeShare,
    Removal,
    Times,
    Worth,
    YearlyLoss,
)
from shutoffsim.study.assessment.names import check_names
from shutoffsim.study.assessment.upkeep_parts import (
    IncidentStory,
    Maintenance,
    TorqueAt,
)
from shutoffsim.study.comparison import Comparison
from shutoffsim.study.surge import Surge

if TYPE_CHECKING:
    from pydantic import TypeAdapter

FORMAT = 2  # of the stored data; raised when a name is taken away or changes its meaning


@dataclass(frozen=True)
class DesignAssessment:
    """One design; the figures of the comparison stand in :attr:`Assessment.comparison`.

    Attributes
    ----------
    name, description : str
    element : str
        What closes the water: ``none``, ``alarm only``, ``clamped actuator`` ...
    yearly_loss : YearlyLoss
    modes : tuple of ModeShare
        Largest damage first; their damages add up to the expected annual damage.
    removals : tuple of Removal
        Largest reduction first.
    not_removable : dict of str to str
        Modes that occur and cannot be removed, with the reason.
    times : tuple of Times
    torque : tuple of TorqueAt
        At commissioning and at the end of the service life; empty where no motor turns the valve.
    demand : FailureEvidence
    maintenance : Maintenance
    worth : Worth or None
    no_worth : str
        Why there is no ``worth``; empty when there is.
    surge : Surge or None
        What its closing does to the pressure; None: it does not close by itself.
    claims : Claims or None
        How many claims a year a policy as stated would see, and their mean.
    """

    name: str
    description: str
    element: Kind
    yearly_loss: YearlyLoss
    modes: tuple[ModeShare, ...]
    removals: tuple[Removal, ...]
    not_removable: dict[str, str]
    times: tuple[Times, ...]
    torque: tuple[TorqueAt, ...]
    demand: FailureEvidence
    maintenance: Maintenance
    worth: Worth | None
    no_worth: str
    surge: Surge | None = None
    claims: Claims | None = None


@dataclass(frozen=True)
class Swing:
    """What one assumption does to the answer.

    Attributes
    ----------
    key : str
        Where the value stands; ``*`` for all entries that share this default.
    entries : tuple of str
        Names for which the ``*`` stands.
    value, low, high : str
        In use, and the ends of its range.
    rule : str
        Where the range comes from.
    evidence, source, drives : str
        Label, what the value rests on, what it affects.
    at_low, at_high : Estimate
        Paired difference (design minus reference) with the ends in use.
    change_at_low, change_at_high : Estimate
        Their change against ``Sensitivity.base``, paired history by history.
    span : float
        From the least to the greatest of the differences.
    """

    key: str
    entries: tuple[str, ...]
    value: str
    low: str
    high: str
    rule: str
    evidence: str
    source: str
    drives: str
    at_low: Estimate
    at_high: Estimate
    change_at_low: Estimate
    change_at_high: Estimate
    span: float


@dataclass(frozen=True)
class Sensitivity:
    """Which assumptions move the answer most, one at a time.

    Attributes
    ----------
    design, reference : str
    histories : int
        With which the differences here were computed.
    base : Estimate
        Paired difference of expected annual damage, design minus reference, all values as stated.
    swings : tuple of Swing
        Largest span first.
    tried : int
        How many assumptions were varied.
    not_varied : dict of str to str
        Assumptions in use that were not, with the reason.
    rules : tuple of str
        How the ranges were made.
    """

    design: str
    reference: str
    histories: int
    base: Estimate
    swings: tuple[Swing, ...]
    tried: int
    not_varied: dict[str, str]
    rules: tuple[str, ...]


Written = bool | int | float | str


@dataclass(frozen=True)
class UsedValue:
    """One value of a design with its source.

    Attributes
    ----------
    path : tuple of str
        Where it stands.
    written : object
        As it stands in a scenario file: a text with a unit, a number, a table or a choice.
    dimension : str
        Kind of quantity; empty for a choice.
    source, evidence, drives : str
        What it rests on, its label (``your scenario``, ``published``, ``secondary``, ``common
        practice``, ``from memory``, ``assumption``), what it affects.
    designs : tuple of str
        Designs that have it.
    used_in : tuple of str
        Of these, designs in which it has an effect.
    """

    path: tuple[str, ...]
    written: Written | dict[str, Written]
    dimension: str
    source: str
    evidence: str
    drives: str
    designs: tuple[str, ...]
    used_in: tuple[str, ...]

    @property
    def key(self) -> str:
        """Its path as it would be written in a scenario file."""
        return dotted(self.path)

    @property
    def text(self) -> str:
        """The value with its unit."""
        return " ".join(columns(self.written, self.dimension)).strip()


@dataclass(frozen=True)
class Assessment:
    """Everything that a risk summary shows.

    Attributes
    ----------
    scenario, description, scenario_hash, version, currency : str
    seed, histories, probes : int
    horizon_years : float
    reference : str
        The first design.
    chosen : str
        The design that the summary is about.
    question, answer : str
        In plain words.
    command : str
        What computes the same again.
    comparison : Comparison
        Designs side by side, with paired differences to the reference.
    designs : tuple of DesignAssessment
        In the order of the comparison.
    stories : tuple of IncidentStory
        A typical and a worst incident of each design in which anything leaks.
    sensitivity : Sensitivity or None
        Of the chosen design against the reference; None: there is nothing to compare.
    values : tuple of UsedValue
        All values of all designs, once each.
    warnings : tuple of str
    format : int
        Of the stored data.
    incidents : pyarrow.Table or None
        A bounded part of the incidents, with the columns of docs/results.md; not in ``as_dict``.
    """

    scenario: str
    description: str
    scenario_hash: str
    version: str
    currency: str
    seed: int
    histories: int
    probes: int
    horizon_years: float
    reference: str
    chosen: str
    question: str
    answer: str
    command: str
    comparison: Comparison
    designs: tuple[DesignAssessment, ...]
    stories: tuple[IncidentStory, ...]
    sensitivity: Sensitivity | None
    values: tuple[UsedValue, ...]
    warnings: tuple[str, ...]
    format: int = FORMAT
    incidents: Any = field(default=None, repr=False, compare=False)

    def design(self, name: str) -> DesignAssessment:
        """Return one design by name.

        Raises
        ------
        ModelError
            When there is none of that name.
        """
        for design in self.designs:
            if design.name == name:
                return design
        raise ModelError(
            "there is no such design in this result",
            found=f'"{name[:80]}"',
            expected="one of " + ", ".join(f'"{d.name}"' for d in self.designs),
        )

    def ledger(self, name: str, *, used: bool = False) -> tuple[UsedValue, ...]:
        """Return the values of one design; with ``used`` only those that have an effect in it."""
        self.design(name)
        return tuple(v for v in self.values if name in (v.used_in if used else v.designs))

    def assumptions(self, name: str) -> tuple[UsedValue, ...]:
        """Return the values that have an effect in a design and rest on no document."""
        weak = ("assumption", "from memory", "common practice")
        return tuple(v for v in self.ledger(name, used=True) if v.evidence in weak)

    def as_dict(self) -> dict[str, Any]:
        """Return everything but ``incidents`` as plain data for JSON."""
        return plain_fields(self)

    @classmethod
    def from_dict(cls, data: Any) -> Assessment:
        """Return the assessment that :meth:`as_dict` was made from, without ``incidents``.

        Raises
        ------
        ModelError
            When the data are of another format, damaged or incomplete.
        """
        found = data.get("format") if isinstance(data, dict) else None
        if found != FORMAT:
            raise ModelError(
                "not an assessment of this version of the program",
                found=f"format {found}" if found is not None else "no format number",
                expected=f"format {FORMAT}",
                hint="make it again from the scenario",
            )
        from pydantic import ValidationError

        try:
            assessment = _adapter().validate_python(data)
        except ValidationError as error:
            first = error.errors(include_url=False)[0]
            place = ".".join(str(part) for part in first["loc"])
            raise ModelError(
                "a stored assessment is damaged",
                where=place or None,
                found=str(first["input"])[:60],
                expected=str(first["msg"]),
                hint="make it again from the scenario",
            ) from None
        check_names(assessment)
        return assessment


@cache
def _adapter() -> TypeAdapter[Assessment]:
    from pydantic import TypeAdapter

    return TypeAdapter(Assessment)
