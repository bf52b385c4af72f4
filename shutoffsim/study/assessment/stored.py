"""How values with an own form are stored in JSON and read again."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Annotated, Any

from pydantic import BeforeValidator, InstanceOf, PlainSerializer

from shutoffsim.estimate.estimate import Estimate
from shutoffsim.study.compare import Comparison, DesignResult, Difference

# What an empty field of a stored estimate stands for.
_UNTOLD = {"value": math.nan, "std_error": math.nan, "low": -math.inf, "high": math.inf}


def read_estimate(data: Any) -> Any:
    """Return the estimate of stored data; anything else as it is, for the next check."""
    if not isinstance(data, Mapping):
        return data
    if set(data) != set(_UNTOLD):
        raise ValueError(f"an estimate has {', '.join(_UNTOLD)}")
    numbers = {name: _UNTOLD[name] if data[name] is None else data[name] for name in _UNTOLD}
    if not all(isinstance(n, int | float) and not isinstance(n, bool) for n in numbers.values()):
        raise ValueError("an estimate consists of numbers")
    try:
        return Estimate(**{name: float(number) for name, number in numbers.items()})
    except OverflowError:
        raise ValueError("a number of an estimate is too large") from None


def read_comparison(data: Any) -> Any:
    """Return the comparison of stored data; anything else as it is, for the next check."""
    if not isinstance(data, Mapping):
        return data
    try:
        fields = dict(data)
        fields["reached"] = fields.pop("precision_reached")
        fields["designs"] = tuple(_design(d) for d in fields["designs"])
        fields["differences"] = tuple(
            Difference(**{**d, "expected_annual_damage": _told(d["expected_annual_damage"]),
                          "probability_of_improvement": _number(d["probability_of_improvement"])})
            for d in fields["differences"]
        )  # fmt: skip
        fields["as_good"] = tuple(fields["as_good"])
        fields["assumptions"] = tuple(fields["assumptions"])
        return Comparison(**fields)
    except (KeyError, TypeError, AttributeError, ValueError, OverflowError) as error:
        raise ValueError(f"not a stored comparison: {error}") from None


def _design(data: Mapping[str, Any]) -> DesignResult:
    fields: dict[str, Any] = {}
    for name, value in data.items():
        if name in ("escaped_volume_l", "failure_modes"):
            fields[name] = {key: _told(item) for key, item in value.items()}
        elif name == "warnings":
            fields[name] = tuple(value)
        else:
            fields[name] = _told(value) if isinstance(value, Mapping) else value
    return DesignResult(**fields)


def _told(data: Any) -> Estimate:
    estimate = read_estimate(data)
    if not isinstance(estimate, Estimate):
        raise TypeError("an estimate is missing")
    return estimate


def _number(value: float | None) -> float:
    return math.nan if value is None else float(value)


StoredEstimate = Annotated[
    Estimate,
    InstanceOf(),
    BeforeValidator(read_estimate),
    PlainSerializer(lambda estimate: estimate.as_dict()),
]
StoredComparison = Annotated[
    Comparison,
    InstanceOf(),
    BeforeValidator(read_comparison),
    PlainSerializer(lambda comparison: comparison.as_dict()),
]
