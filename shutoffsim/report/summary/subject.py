"""What a summary is about: one design of an assessment, and what it is compared with."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from shutoffsim.estimate.estimate import Estimate
from shutoffsim.model.elements import ELEMENTS
from shutoffsim.report.summary.values import Values
from shutoffsim.report.wording import closes
from shutoffsim.study.assessment.result import Assessment, DesignAssessment
from shutoffsim.study.comparison import Comparison, DesignResult

LONGEST_NAME: Final = 80


@dataclass(frozen=True)
class Subject:
    """What a summary is about: one design, and what it is compared with.

    Parameters
    ----------
    assessment : Assessment
    design : str
    """

    assessment: Assessment
    design: str

    @property
    def told(self) -> DesignAssessment:
        """The design's part of the assessment."""
        return self.assessment.design(self.design)

    @property
    def result(self) -> DesignResult:
        """The design's part of the comparison."""
        return _result(self.assessment.comparison, self.design)

    @property
    def reference(self) -> DesignResult | None:
        """The reference's part of the comparison; None: the summary is of the reference itself."""
        name = self.assessment.reference
        return None if name == self.design else _result(self.assessment.comparison, name)

    @property
    def gap(self) -> Estimate | None:
        """Paired difference to the reference, design minus reference."""
        found = [d for d in self.assessment.comparison.differences if d.design == self.design]
        return found[0].expected_annual_damage if found else None

    @property
    def values(self) -> Values:
        """Values in use."""
        return Values(self.assessment.ledger(self.design, used=True))

    @property
    def leaks(self) -> bool:
        """Whether any leak was simulated."""
        return self.result.leaks_per_year.value > 0.0

    @property
    def words(self) -> tuple[str, str]:
        """What the reference and the design are called in tables."""
        reference = self.assessment.design(self.assessment.reference)
        if not ELEMENTS[reference.element].closes and closes(self.values):
            return "without it", "with it"
        return "reference", "this design"


def _result(comparison: Comparison, name: str) -> DesignResult:
    return next(design for design in comparison.designs if design.name == name)
