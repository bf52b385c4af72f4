"""Factors of the units that may be written, as the unit library has them.

Starting the library takes longer than reading a whole scenario. So its factors are kept in
``factors.json``; a test holds them against the library.
"""

from __future__ import annotations

import json
from typing import Any

import pint

from makers import Files
from shutoffsim.units.dimensions import DIMENSIONS
from shutoffsim.units.factors import FILE, Lines


def compute_lines() -> Lines:
    """Return what :func:`shutoffsim.units.factors.kept_lines` keeps, computed anew."""
    registry: Any = pint.UnitRegistry()
    lines: Lines = {}
    for name, spec in DIMENSIONS.items():
        lines[name] = {}
        for expression in spec.units.values():
            if name == "temperature":  # degrees have a zero of their own
                at = [registry.Quantity(x, expression).to(spec.si).magnitude for x in (0.0, 1.0)]
                lines[name][expression] = [float(at[1] - at[0]), float(at[0])]
            else:
                factor = registry.parse_expression(expression).to(spec.si).magnitude
                lines[name][expression] = [float(factor), 0.0]
    return lines


def files() -> Files:
    """Yield the kept file, a dimension a line."""
    rows = [f"{json.dumps(name)}: {json.dumps(line)}" for name, line in compute_lines().items()]
    yield FILE, ("{\n" + ",\n".join(rows) + "\n}\n").encode()
