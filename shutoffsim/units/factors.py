"""From units to SI: what the unit library computed, kept in ``factors.json``."""

from __future__ import annotations

import json
from functools import cache
from pathlib import Path

from shutoffsim.units.dimensions import DIMENSIONS

FILE = Path(__file__).with_name("factors.json")

Lines = dict[str, dict[str, list[float]]]  # dimension, expression: factor and offset


@cache
def kept_lines() -> Lines:
    """Return per dimension and expression the factor and offset that turn a number into SI."""
    found: Lines = json.loads(FILE.read_text(encoding="utf-8"))
    return found


def line_of(dimension: str, unit: str) -> tuple[float, float]:
    """Return factor and offset that turn a number in ``unit``, a listed spelling, into SI."""
    factor, offset = kept_lines()[dimension][DIMENSIONS[dimension].units[unit]]
    return factor, offset
