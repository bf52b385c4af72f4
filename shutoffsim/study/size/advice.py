"""From numbers to one sentence, with its reasons and the cautions that stand beside it."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from shutoffsim.study.size.ladder import Rung
from shutoffsim.study.size.shortfall import SHEARED, SLIPPED, Shortfall
from shutoffsim.study.size.window import (
    LIMITS,
    NEW_MOUNT,
    OLD_MOUNT,
    OPENERS,
    STEM,
    SUPPLY,
    Window,
)
from shutoffsim.units import format as in_units


@dataclass(frozen=True)
class Limit:
    """A limit of the motor's current that spares the stem.

    Attributes
    ----------
    current : float
        At which a strong unit gives no more than the stem may bear, A.
    strong, bound : float
        Torque [N*m] of a strong unit without it, and the maximum allowable stem torque.
    row : Shortfall
        How the chosen rating fares with it.
    """

    current: float
    strong: float
    bound: float
    row: Shortfall

    def enough(self, target: float, confidence: float) -> bool:
        """Return whether the rating still meets the goal with it."""
        return choose([self.row], target, confidence) == 0


_HOPELESS = 0.5  # share of seized demands from which a rating is not the question
_MUCH = 0.002  # share of demands below which a way to fail is not worth a sentence


def choose(shortfalls: Sequence[Shortfall], target: float, confidence: float) -> int | None:
    """Return the number of the smallest rung that is strong enough for both directions, or None.

    It meets the target on enough valves, and opens again what it has shut as often.
    """
    for number, row in enumerate(shortfalls):
        enough = row.meets.value >= confidence and row.stuck <= target
        if enough and row.seized <= _HOPELESS:
            return number
    return None


_GIVES = {
    STEM: "the stem shears",
    NEW_MOUNT: "the mount slips",
    OLD_MOUNT: "the mount slips",
    SUPPLY: "the supply browns out",
}


def recommend(
    rungs: Sequence[Rung],
    shortfalls: Sequence[Shortfall],
    chosen: int | None,
    target: float,
    confidence: float,
    limit: Limit | None = None,
) -> str:
    """Return the recommendation in one sentence."""
    aim = f"torque fails on at most {_share(target)} of the demands"
    if chosen is None and shortfalls[0].seized > _HOPELESS:
        return (
            f"No rating helps: {_share(shortfalls[0].seized)} of the demands meet a seized valve. "
            "Exercise the valve more often, or have it replaced by a licensed plumber."
        )
    if chosen is None:
        best = max(range(len(rungs)), key=lambda r: shortfalls[r].meets.value)
        row = shortfalls[best]
        why = ""
        if row.parts:
            worst = max(row.parts, key=lambda name: row.parts[name])
            why = f"; the main remaining cause there is: {worst}"
        return (
            f"No rating of the ladder is enough: the goal that {aim} is met for at most "
            f"{_share(row.meets.value)} of valves like this one ({_torque(rungs[best].rating)}; "
            f"required: {_share(confidence)}){why}{_but_seized(row.seized, target)}."
        )
    row, rung = shortfalls[chosen], rungs[chosen]
    if limit is not None and not limit.enough(target, confidence):
        then = f"the goal is met for {_share(limit.row.meets.value)} only"
        if limit.row.meets.value >= confidence:
            then = f"it cannot open the valve again after {_share(limit.row.stuck)} of the demands"
        return (
            f"No rating of the ladder is both strong enough and harmless to the stem: "
            f"{_torque(rung.rating)} would do ({aim} for {_share(row.meets.value)} of valves like "
            f"this one), but a strong unit gives {_torque(limit.strong)} and this stem may bear "
            f"{_torque(limit.bound)}; with its current limited to {limit.current:.3g} A {then}. "
            "Have the valve replaced by a licensed plumber, or accept more failures with a weaker "
            "one."
        )
    if limit is not None:
        return (
            f"Choose a rating of {_torque(rung.rating)} with its current limited to "
            f"{limit.current:.3g} A: then {aim}, for {_share(limit.row.meets.value)} of valves "
            f"like this one (required: {_share(confidence)}), and a strong unit, which without the "
            f"limit gives {_torque(limit.strong)}, stays below the {_torque(limit.bound)} that "
            f"this stem may bear{_but_seized(row.seized, target)}."
        )
    verb = "Keep the" if rung.own else "Choose a"
    reached = _share(row.meets.value)
    return (
        f"{verb} rating of {_torque(rung.rating)}: the smallest of the ladder with which {aim}, "
        f"for {reached} of valves like this one (required: {_share(confidence)}). It gives "
        f"{_torque(row.available)} on this supply, {row.headroom[1]:.2g} times the torque that 95 "
        f"% of the demands do not exceed{_but_seized(row.seized, target)}."
    )


def _but_seized(seized: float, target: float) -> str:
    """Return what must not be left out of the sentence: seized valves beyond the target."""
    if seized <= target:
        return ""
    return f"; but {_share(seized)} of the demands meet a seized valve, which no rating can close"


def reason(
    rungs: Sequence[Rung],
    shortfalls: Sequence[Shortfall],
    chosen: int | None,
    window: Window,
    strong: float,
    target: float,
    confidence: float,
    limit: Limit | None = None,
) -> tuple[str, ...]:
    """Return what else a person must know to decide.

    ``strong`` is the torque [N*m] of a strong unit of the chosen rating on its supply.
    """
    own = next(number for number, rung in enumerate(rungs) if rung.own)
    found = []
    if chosen != own:
        row = shortfalls[own]
        found.append(
            f"The {_torque(rungs[own].rating)} in use fails on {_share(row.failure.value)} of the "
            f"demands and meets the target on {_share(row.meets.value)} of valves like this one."
        )
    at = own if chosen is None else chosen
    seized = shortfalls[at].seized
    if seized > target:
        found.append(
            "Seized valves alone exceed the target: exercise the valve more often, or have it "
            "replaced by a licensed plumber."
        )
    elif seized >= _MUCH:
        found.append(
            f"In addition, {_share(seized)} of the demands meet a seized valve: no rating helps "
            "with that; exercising the valve more often makes it rarer."
        )
    slips = max(row.parts.get(SLIPPED, 0.0) for row in shortfalls)
    if slips >= _MUCH:
        found.append(f"With the stronger ratings the mount slips: {OPENERS[OLD_MOUNT]}.")
    if max(row.parts.get(SHEARED, 0.0) for row in shortfalls) >= _MUCH:
        found.append(f"The stronger ratings shear stems: {OPENERS[STEM]}.")
    if window.empty:
        ways = "; ".join(window.remedies)
        found.append(f"The window is empty. Remedies: {ways}.")
    elif chosen is not None:
        name, bound = window.least_upper
        if limit is None and strong > bound and math.isfinite(bound):
            gives = _GIVES[name]
            found.append(
                f"A strong unit gives {_torque(strong)}, above the {LIMITS[name]} "
                f"({_torque(bound)}): on a stuck valve {gives} before the motor stalls. Limit the "
                "motor's current, or strengthen the weak point."
            )
    if shortfalls[own].stuck > target:
        found.append(
            f"After {_share(shortfalls[own].stuck)} of the demands the "
            f"{_torque(rungs[own].rating)} in use cannot open the valve that it has shut: breaking "
            "it loose takes more torque than closing."
        )
    if chosen is not None and shortfalls[chosen].bad_day > target:
        found.append(
            f"If every demand came on a bad day, {_share(shortfalls[chosen].bad_day)} would fail."
        )
    if shortfalls[at].meets.low < confidence <= shortfalls[at].meets.high:
        found.append("That share of valves is within the simulation's error of the required share.")
    return tuple(found)


def _torque(value: float) -> str:
    return in_units(float(f"{value:.3g}"), "torque")


def _share(value: float) -> str:
    if 0.0 < value < 0.0005:
        return "less than 0.1 %"
    return f"{100.0 * value:.3g} %"
