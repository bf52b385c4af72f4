"""From which value of a quantity on a design pays for itself against another one."""

from __future__ import annotations

import difflib
import math
import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Literal

import numpy as np
from numpy.typing import NDArray

from shutoffsim.engine.run import Setup
from shutoffsim.errors import ModelError
from shutoffsim.estimate.estimate import Estimate
from shutoffsim.estimate.plain import plain_fields
from shutoffsim.estimate.tally import Tally, block_for
from shutoffsim.model import layout as L
from shutoffsim.scenario.distributions import Distribution
from shutoffsim.scenario.entries import Entry, given, words
from shutoffsim.scenario.quantities import as_written
from shutoffsim.study.assessment.ranges import scale_of
from shutoffsim.study.options import Progress, RunOptions
from shutoffsim.study.runs import run_histories
from shutoffsim.study.steps import Step, base_of, step
from shutoffsim.version import __version__

if TYPE_CHECKING:
    from shutoffsim.scenario import Scenario

Array = NDArray[np.float64]
POINTS = 9
_CLOSER = 3  # further runs at a crossing
_REACH = 3.0  # steps of a range: half to double is one, so an eighth to eight times
LEAST_HISTORIES, HISTORIES = 32, 1024

_NUMBER = re.compile(r"(?<![\w.])-?\d+(?:\.\d+)?(?:e[+-]?\d+)?(?![\w.])")

Pays = Literal["above", "below", "always", "never", "between or beyond"]


@dataclass(frozen=True)
class Point:
    """One value of the quantity, and what the step then saves and costs."""

    value: str
    step: Step


@dataclass(frozen=True)
class Crossing:
    """A value at which the step neither gains nor loses.

    Attributes
    ----------
    value : str
        As it would be written in a file.
    low, high : str or None
        The 95 % interval of the simulation; None: beyond the values tried.
    check : Step
        What a run at that very value gives.
    """

    value: str
    low: str | None
    high: str | None
    check: Step


@dataclass(frozen=True)
class Breakeven:
    """The result of :func:`breakeven`.

    Attributes
    ----------
    scenario, scenario_hash, version, currency : str
    seed, histories : int
        Histories of each point; all points have the same leaks, outages and people.
    design, against, key, in_use : str
        What is compared, which key was varied, and its value in the file.
    pays : str
        Where the design pays: above or below the crossing, always or never over the values tried.
    points : tuple of Point
    crossings : tuple of Crossing
    """

    scenario: str
    scenario_hash: str
    version: str
    currency: str
    seed: int
    histories: int
    design: str
    against: str
    key: str
    in_use: str
    pays: Pays
    points: tuple[Point, ...]
    crossings: tuple[Crossing, ...]

    def as_dict(self) -> dict[str, Any]:
        """Return the result as plain data."""
        return plain_fields(self)


def breakeven(
    scenario: Scenario,
    design: str,
    vary: str,
    *,
    against: str | None = None,
    ends: tuple[str, str] | None = None,
    histories: int = HISTORIES,
    seed: int = 1,
    workers: int = 1,
    progress: Progress | None = None,
) -> Breakeven:
    """Find from which value of a quantity on a design saves more than it costs.

    Parameters
    ----------
    scenario : Scenario
    design : str
        Its name.
    vary : str
        Key of the quantity, as in a file. It is varied in both designs where it is the same in
        both, else in ``design`` alone: what is the step's own, such as its price.
    against : str, optional
        The other design; by default the one that it is like, or the reference.
    ends : tuple of str, optional
        First and last value to try, with units. By default rates and times are tried from an eighth
        to eight times the value in use, shares likewise by their odds, others accordingly.
    histories : int
        Of each value tried.
    seed, workers : int
    progress : callable, optional
        Called as ``progress(done, planned)``, in histories of all values together.

    Returns
    -------
    Breakeven

    Raises
    ------
    ScenarioError, ModelError
        There is no such design or key, the key is no number, a value is not allowed, or costs are
        not stated.
    """
    RunOptions(seed, workers, histories=histories, least_histories=LEAST_HISTORIES)
    names = scenario.designs
    place_of = names.index(scenario.design(design).name)
    other = names[base_of(scenario, names, place_of)] if against is None else against
    scenario.design(other)
    if other == design:
        raise ModelError("a design cannot be compared with itself", found=f"“{design}”")
    entry = _entry(scenario, design, vary)
    there = scenario.design(other).entries.get(entry.path)
    varied = (design, other) if there and there.value == entry.value else (design,)
    at = _between(scenario, design, entry, ends)
    planned = (POINTS + _CLOSER) * histories
    done = 0

    def run(value: Any) -> Step:
        nonlocal done
        changed = scenario
        for name in varied:
            changed = changed.with_values(name, {entry.path: value})
        found = _step(changed, (other, design), histories, seed, workers)
        done += histories
        if progress is not None:
            progress(done, max(planned, done))
        return found

    shares = np.linspace(0.0, 1.0, POINTS)
    steps = [run(at(share)) for share in shares]
    nets = [_net(each) for each in steps]
    values = np.array([net.value for net in nets])
    crossings = []
    for root, rising in list(_roots(shares, values)):
        tried = _closer(lambda x: run(at(x)), shares, values, root)
        share, found = tried[-1]
        close = _curve(shares, nets, tried)
        early, late = (_nearest(close, slack, share, rising) for slack in (1.96, -1.96))
        low, high = (early, late) if rising else (late, early)  # the better it may be, the sooner
        crossings.append(
            Crossing(
                _text(entry, at(share)),
                None if low is None else _text(entry, at(low)),
                None if high is None else _text(entry, at(high)),
                found,
            )
        )
    return Breakeven(
        scenario=scenario.name,
        scenario_hash=scenario.hash,
        version=__version__,
        currency=scenario.currency,
        seed=seed,
        histories=histories,
        design=design,
        against=other,
        key=entry.key,
        in_use=words(entry.written),
        pays=_pays(values, len(crossings)),
        points=tuple(
            Point(_text(entry, at(share)), each) for share, each in zip(shares, steps, strict=True)
        ),
        crossings=tuple(crossings),
    )


def _step(
    scenario: Scenario, names: tuple[str, str], histories: int, seed: int, workers: int
) -> Step:
    params = scenario.parameters(names)
    setup = Setup.of(params, seed, names=names)
    tally = Tally(2, scenario.service_life / L.YEAR, block_for(histories), params)
    run_histories(setup, histories, tally.add, workers=workers)
    return step(scenario, names, tally, 1, 0)


def _closer(
    run: Callable[[float], Step], shares: Array, values: Array, root: float
) -> list[tuple[float, Step]]:
    """Return where false position looked for the crossing near ``root``, last the crossing."""
    tried = []
    k = min(int(np.searchsorted(shares, root, side="right")), len(shares) - 1)
    low, high = (float(shares[k - 1]), float(values[k - 1])), (float(shares[k]), float(values[k]))
    for number in range(_CLOSER):
        tried.append((root, run(root)))
        net = _net(tried[-1][1]).value
        if number == _CLOSER - 1 or net == 0.0:
            break
        if (net < 0.0) == (low[1] < 0.0):
            low = (root, net)
        else:
            high = (root, net)
        root = low[0] + (high[0] - low[0]) * low[1] / (low[1] - high[1])
    return tried


def _curve(shares: Array, nets: list[Estimate], tried: list[tuple[float, Step]]) -> Array:
    """Return share, value and standard error (3, points) of all that was run, in their order.

    Near a crossing the line between two of the first values would be too coarse.
    """
    points = [
        *zip(shares.tolist(), nets, strict=True),
        *((share, _net(found)) for share, found in tried),
    ]
    return np.array(
        sorted(
            (share, net.value, net.error if math.isfinite(net.error) else 0.0)
            for share, net in points
        )
    ).T


def _net(found: Step) -> Estimate:
    if found.net_per_year is None:
        raise ModelError(
            "costs are not stated, so nothing can pay for itself",
            where=f"designs “{found.design}” and “{found.against}”",
            expected="costs.purchase, costs.fitting or costs.upkeep_per_year in the file",
        )
    return found.net_per_year


def _entry(scenario: Scenario, design: str, key: str) -> Entry:
    entries = {entry.key: entry for entry in scenario.design(design).entries.values()}
    if key not in entries:
        close = difflib.get_close_matches(key, list(entries), n=1, cutoff=0.5)
        raise ModelError(
            "there is no such value in this design",
            where="--vary",
            found=key[:80],
            expected="a key as shutoffsim check lists it, such as mains.outage_rate",
            hint=f"did you mean {close[0]}?" if close else None,
        )
    return entries[key]


def _between(
    scenario: Scenario, design: str, entry: Entry, ends: tuple[str, str] | None
) -> Callable[[float], Any]:
    """Return what gives the value at a share of the way from the first to the last to try."""
    if ends is None:
        scale = scale_of(entry)
        if isinstance(scale, str):
            raise ModelError(
                f"it cannot be varied by itself: {scale}",
                where="--vary",
                found=f"{entry.key} = {entry.written}",
                hint="say from where to where: --from and --to",
            )
        return lambda share: scale.at(entry.value, _REACH * (2.0 * share - 1.0))
    low, high = (_number(scenario, design, entry, text) for text in ends)
    if not low < high:
        raise ModelError(
            "the first value to try must be below the last",
            where="--from and --to",
            found=f"{ends[0]} and {ends[1]}",
        )
    if low > 0.0:
        return lambda share: low * (high / low) ** share
    return lambda share: low + (high - low) * share


def _number(scenario: Scenario, design: str, entry: Entry, text: str) -> float:
    """Return a value to try in SI, read and checked as in a file."""
    changed = scenario.with_values(design, {entry.path: text})
    value = changed.design(design).entries[entry.path].value
    if isinstance(value, Distribution) and value.kind == "fixed":
        value = value.a
    if isinstance(value, (int, float)) and not isinstance(value, bool) and math.isfinite(value):
        return float(value)
    raise ModelError("not a number to try", where="--from and --to", found=text[:80])


def _text(entry: Entry, value: Any) -> str:
    """Return a value to try as it would be written, with three digits."""
    text = words(as_written(given(entry.path, value, entry.written)))
    return _NUMBER.sub(lambda found: f"{float(f'{float(found[0]):.3g}'):g}", text)


def _roots(shares: Array, values: Array) -> Iterator[tuple[float, bool]]:
    """Yield where a line through values crosses zero, and whether it rises there."""
    for k in range(len(shares) - 1):
        before, after = values[k], values[k + 1]
        if (before < 0.0) != (after < 0.0):
            part = before / (before - after)
            yield float(shares[k] + part * (shares[k + 1] - shares[k])), bool(after >= 0.0)


def _nearest(curve: Array, errors: float, share: float, rising: bool) -> float | None:
    """Return the nearest crossing of the same direction, so many errors up; None: there is none."""
    shares, values, error = curve
    same = [root for root, rises in _roots(shares, values + errors * error) if rises == rising]
    return min(same, key=lambda root: abs(root - share), default=None)


def _pays(values: Array, crossings: int) -> Pays:
    if crossings == 0:
        return "always" if values[0] >= 0.0 else "never"
    if crossings > 1:
        return "between or beyond"
    return "above" if values[-1] >= 0.0 else "below"
