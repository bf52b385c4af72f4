"""What statistical tests share: a perfect system to spoil, and judging by the standard error."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

import shutoffsim
from shutoffsim.engine.run import Setup, run_chunk, run_chunks
from shutoffsim.model import layout as L
from shutoffsim.scenario import starter

#: Two results further apart than this many standard errors disagree. Chance does that to an honest
#: normal estimate about 7 times in a million.
TOLERANCE = 4.5

#: A system in which nothing fails, nobody is away and everything but a person is instant: a leak of
#: 6 L/min is stopped by the actuator within milliseconds, or else by a person after one minute.
#: Leaks are so rare that histories stay as they are; probes ask what a leak would do. A test spoils
#: one thing in a design. To be formatted with its life.
PERFECT = (
    starter("perfect")
    .split("# --- designs")[0]
    .replace("{", "{{")
    .replace("}", "}}")
    .replace('"10 years"', '"{life}"')
    .replace('rate = "0.05 per year"', 'rate = "1e-6 per year"')
    .replace('notice_burst = "1 h"', 'notice_burst = "1 min"')
)

Values = Callable[[Any], Any]
Observe = Callable[[Any], tuple[Any, Any]]
Change = Callable[[Any], None]


def perfect(*designs: str, life: str = "87600 h") -> shutoffsim.Scenario:
    """Return the perfect system with one design per text of changes (TOML lines)."""
    text = PERFECT.format(life=life)
    for number, changes in enumerate(designs or ("",)):
        text += f'\n[designs."{number}"]\n{changes}\n'
    return shutoffsim.loads(text)


def leaking(params: Any, per_year: float) -> Any:
    """Return parameters whose first design leaks so often, by scaling all sources of all designs.

    For checks that need many leaks, or leaks that meet each other, whatever a scenario's own rates.
    """
    params = params.copy()
    rows = run_chunk(Setup.of(params[:1], 1, probes=16), 0, 100).rows
    now = rows["weight"].sum() / 100 / (params["service_life"][0] / L.YEAR)
    for name in ("source_rate", "source_parts"):
        params[name] *= per_year / now
    return params


@dataclass(frozen=True)
class Finding:
    """A simulated value beside what it should be."""

    value: float
    std_error: float
    expected: float
    expected_error: float = 0.0

    @property
    def apart(self) -> float:
        """How many standard errors lie between them."""
        error = math.hypot(self.std_error, self.expected_error)
        gap = abs(self.value - self.expected)
        return gap / error if error > 0.0 else (0.0 if gap == 0.0 else math.inf)

    @property
    def agrees(self) -> bool:
        return self.apart <= TOLERANCE

    def sharpness(self) -> float:
        """Return the joint standard error as a share of the expected value."""
        return math.hypot(self.std_error, self.expected_error) / abs(self.expected)

    def __str__(self) -> str:
        return (
            f"{self.value:.6g} +- {self.std_error:.2g}, expected {self.expected:.6g}"
            + (f" +- {self.expected_error:.2g}" if self.expected_error else "")
            + f": {self.apart:.2f} standard errors apart, sharp to {self.sharpness():.2%}"
        )


def assert_agrees(found: Finding, relative: float) -> None:
    """Fail when a value is off, or known so vaguely that the comparison would mean little."""
    assert found.agrees, str(found)
    assert found.sharpness() <= relative, f"too vague to be a check: {found}"


def ratio(top: Any, bottom: Any) -> tuple[float, float]:
    """Return sum(top) / sum(bottom) over histories with its standard error (linearised)."""
    top, bottom = np.asarray(top, float), np.asarray(bottom, float)
    value = top.sum() / bottom.sum()
    spread = np.std(top - value * bottom, ddof=1) / math.sqrt(len(top))
    return float(value), float(spread / bottom.mean())


def over_leaks(values: Values) -> Observe:
    """Observe the mean over leaks of a function of the probes' rows, design 0."""

    def observe(chunk: Any) -> tuple[Any, Any]:
        rows = chunk.rows[0]
        weight = rows["weight"]
        return (weight * values(rows)).sum(axis=1), weight.sum(axis=1)

    return observe


def per_history(values: Observe | Values) -> Observe:
    """Observe a mean per history of a function of the chunk, design 0."""

    def observe(chunk: Any) -> tuple[Any, Any]:
        top = values(chunk)
        return top, np.ones(len(top))

    return observe


#: Share of leaks that automation does not stop in time.
FAILED = over_leaks(lambda rows: rows["mode"] > L.MODE_NONE)
VOLUME = over_leaks(lambda rows: rows["volume"])


@dataclass(frozen=True)
class Case:
    """A system whose answer is known exactly.

    Attributes
    ----------
    name : str
    changes : str
        What is changed in the perfect system, as TOML.
    expected : float
    observe : callable
        From a chunk of histories to numerators and denominators per history.
    histories, probes : int
    relative : float
        Largest standard error, as a share of the expected value, at which this is a check.
    """

    name: str
    changes: str
    expected: float
    observe: Observe = FAILED
    histories: int = 4000
    probes: int = 16
    relative: float = 0.02
    life: str = "87600 h"
    seed: int = 1

    def find(self, change: Change | None = None, rows: Change | None = None, **how: Any) -> Finding:
        """Simulate.

        ``change`` may spoil the parameters, and ``rows`` the incidents, first; ``how`` are other
        settings of the run.
        """
        params = perfect(self.changes, life=self.life).parameters()
        if change is not None:
            change(params)
        setup = replace(Setup.of(params, self.seed, probes=self.probes), **how)
        pairs = []
        for chunk in run_chunks(setup, 0, self.histories):
            if rows is not None:
                rows(chunk.rows)
            pairs.append(self.observe(chunk))
        value, error = ratio(*(np.concatenate(part) for part in zip(*pairs, strict=True)))
        return Finding(value, error, self.expected)

    def __str__(self) -> str:
        return self.name


def mean_and_error(values: Iterable[float]) -> tuple[float, float]:
    """Return the mean of independent values and its standard error."""
    data = np.asarray(list(values), float)
    return float(data.mean()), float(data.std(ddof=1) / math.sqrt(len(data)))
