"""Sizing the actuator: torque needed, torque available, and the rating in between."""

from shutoffsim.study.size.result import Sizing
from shutoffsim.study.size.study import choose_design, size

__all__ = ["Sizing", "choose_design", "size"]
