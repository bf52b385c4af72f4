"""How a number that the product finds stands to one that is printed elsewhere, or exact."""

from __future__ import annotations

import math
import re
from collections.abc import Callable
from dataclasses import dataclass
from typing import NamedTuple

from shutoffsim.errors import ModelError

#: How a printed number is known, strongest first.
EVIDENCE = {
    "published": "read in the source itself, or in an excerpt of it",
    "secondary": "read in a text that quotes the source",
    "from memory": "the printed text was not opened",
    "computed": "an exact result of the stated formula; under *printed* it stands as the source "
    "would print it, which was not opened",
}
#: Which code a check runs.
RUNS = {
    "command": "code that a command uses",
    "function": "a public function of the package that no command reaches yet",
    "oracle": "a procedure of the tests, in tests/support, that no command uses; it vouches for "
    "the draws and the quantile functions that it is fed with",
}
STANDARD_ERRORS = 3.0
_NUMBER = re.compile(r"-?\d+(?:\.(\d+))?(?:E([+-]?\d+))?")


class Found(NamedTuple):
    """What the product says: a value and its standard error (0: no chance is involved)."""

    value: float
    std_error: float = 0.0


@dataclass(frozen=True)
class Check:
    """One number, printed or exact, and how the product finds it.

    Parameters
    ----------
    group : str
        Heading on the page.
    name : str
        What is compared.
    find : callable
        Runs the product; returns a :class:`Found`.
    source : str
        Where the number stands.
    evidence : str
        A key of :data:`EVIDENCE`.
    printed : str, optional
        The number as printed, such as ``"1.1E-2"``: its last digit says how sharp it is.
    exact : str, optional
        An exact value, for the case as the product runs it.
    within : float, optional
        Allowed distance instead of half a unit in the last place of the printed number, or of the
        exact one where none is printed; ``note`` says why.
    refuted : str
        Why the printed number is known to be wrong: then it must *not* be met, and ``exact`` must.
    note : str
        What a reader should know.
    sharp : float
        Largest standard error, as a share of the value, at which this is still a check.
    runs : str
        A key of :data:`RUNS`.
    """

    group: str
    name: str
    find: Callable[[], Found]
    source: str
    evidence: str
    printed: str | None = None
    exact: str | None = None
    within: float | None = None
    refuted: str = ""
    note: str = ""
    sharp: float = 0.07
    runs: str = "command"

    def __post_init__(self) -> None:
        if self.evidence not in EVIDENCE:
            raise ModelError(
                "no such evidence", found=self.evidence, expected="one of " + ", ".join(EVIDENCE)
            )
        if self.runs not in RUNS:
            raise ModelError(
                "no such code to run", found=self.runs, expected="one of " + ", ".join(RUNS)
            )
        if (self.exact if self.refuted else self.exact or self.printed) is None:
            raise ModelError(f"{self.name}: nothing to compare with")

    def __str__(self) -> str:
        return f"{self.group}: {self.name}"


class Verdict(NamedTuple):
    """How a value stands to a check.

    ``allowed`` is the distance from the printed value (else the exact one) that was allowed;
    ``faults`` says what is wrong, empty when all is well.
    """

    allowed: float
    faults: tuple[str, ...]

    @property
    def passed(self) -> bool:
        """Whether the check holds."""
        return not self.faults


def half_unit(printed: str) -> float:
    """Return half a unit in the last place of a printed number.

    Raises
    ------
    ModelError
        When it is not a number as one prints it.

    Examples
    --------
    >>> half_unit("1.1E-2")
    0.0005
    >>> half_unit("137")
    0.5
    """
    match = _NUMBER.fullmatch(printed)
    if match is None:
        raise ModelError("not a printed number", found=printed, expected="such as 0.75 or 1.1E-2")
    return 0.5 * 10.0 ** (int(match[2] or 0) - len(match[1] or ""))


def judge(check: Check, found: Found) -> Verdict:
    """Compare a value with what a check expects.

    The distance to the printed value may be half a unit in its last place plus three standard
    errors; the same, separately, for the exact value.
    """
    spread = STANDARD_ERRORS * found.std_error
    faults = []
    if not math.isfinite(found.value) or not math.isfinite(found.std_error):
        return Verdict(math.nan, ("no number was found",))
    if found.std_error > check.sharp * abs(found.value):
        faults.append("too vague to be a check")
    allowed = math.nan
    if check.exact is not None:
        own = check.within if check.printed is None else None
        allowed = (half_unit(check.exact) if own is None else own) + spread
        if abs(found.value - float(check.exact)) > allowed:
            faults.append("away from the exact value")
    if check.printed is not None:
        allowed = (half_unit(check.printed) if check.within is None else check.within) + spread
        met = abs(found.value - float(check.printed)) <= allowed
        if check.refuted and met:
            faults.append("meets a printed value that is known to be wrong")
        elif not check.refuted and not met:
            faults.append("away from the printed value")
    return Verdict(allowed, tuple(faults))


@dataclass(frozen=True)
class LeftOut:
    """A published case that the product cannot be set up to reproduce, and why."""

    case: str
    why: str
