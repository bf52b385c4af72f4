"""Prices of ratings: stated with the command, or taken from designs that differ in nothing else."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from shutoffsim import units
from shutoffsim.errors import ModelError, UnitError
from shutoffsim.scenario import Scenario
from shutoffsim.scenario.resolve import Design
from shutoffsim.study.size.ladder import is_same

#: What may differ between designs whose prices are compared: all of it goes with the actuator.
_WITH_THE_ACTUATOR = {"actuator", "costs", "supply", "battery"}


def read_prices(texts: Sequence[str], currency: str) -> dict[float, float]:
    """Return prices by rating [N*m] from texts such as ``"6 N*m = 120 EUR"``.

    Raises
    ------
    ModelError
        When one cannot be read.
    """
    found: dict[float, float] = {}
    for text in texts:
        rating, equals, amount = text.partition("=")
        try:
            if not equals:
                raise UnitError("no price", found=f'"{text[:60]}"')
            value = units.parse(rating.strip(), "torque")
            price = units.parse_money(amount.strip(), currency)
        except UnitError as error:
            raise ModelError(
                "a price cannot be read",
                where="--price",
                found=error.found,
                expected=f'a rating and its price such as "6 N*m = 120 {currency}"',
                hint=error.hint,
            ) from None
        if value <= 0.0 or price < 0.0:
            raise ModelError(
                "a price is out of range",
                where="--price",
                found=text[:60],
                expected="a rating above zero and a price of zero or more",
            )
        if value in found:
            raise ModelError("a rating has two prices", where="--price", found=rating.strip())
        found[value] = price
    return found


def scenario_prices(scenario: Scenario, design: Design) -> dict[float, float]:
    """Return stated purchase prices by rating [N*m] of designs that differ in the actuator only."""
    found = {}
    for other in scenario.resolved:
        price = other.system.costs.purchase
        if price is None or not other.system.element.traits.clamped:
            continue
        values = [{path: e.value for path, e in d.entries.items()} for d in (design, other)]
        changed = {path[0] for path, _ in values[0].items() ^ values[1].items()}
        if changed <= _WITH_THE_ACTUATOR and other.system.battery.fitted == (
            design.system.battery.fitted
        ):
            found[other.system.actuator.stall_torque] = price
    return found


def on_rungs(prices: Mapping[float, float], ratings: Sequence[float]) -> dict[float, float]:
    """Return prices by the rating of the rung they belong to.

    Raises
    ------
    ModelError
        When a price has no rung.
    """
    found = {}
    for rating, price in prices.items():
        near = [r for r in ratings if is_same(r, rating)]
        if not near:
            raise ModelError(
                "a price is for a rating that is not in the ladder",
                where="--price",
                found=units.format(rating, "torque"),
                expected="one of " + ", ".join(units.format(r, "torque") for r in ratings),
                hint="add it with --rating",
            )
        found[min(near, key=lambda r: abs(r - rating))] = price
    return found
