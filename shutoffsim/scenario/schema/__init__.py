"""What a scenario file may contain: one model per section, fully resolved.

The models describe a *complete* system, with every value present. A file leaves most of them
out; :mod:`shutoffsim.scenario.resolve` fills them in from the library of defaults first.
"""

from shutoffsim.scenario.schema.system import System

__all__ = ["System"]
