"""What the user writes: the scenario language, its defaults, reading and checking.

Names are loaded when they are first used, so importing this package costs next to nothing.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from shutoffsim.scenario.scenario import Scenario as Scenario
    from shutoffsim.scenario.scenario import load as load
    from shutoffsim.scenario.scenario import loads as loads
    from shutoffsim.scenario.template import starter as starter

__all__ = ["Scenario", "load", "loads", "starter"]

_HOMES = {
    "Scenario": "scenario",
    "load": "scenario",
    "loads": "scenario",
    "starter": "template",
}


def __getattr__(name: str) -> Any:
    if name in _HOMES:
        return getattr(import_module(f"{__name__}.{_HOMES[name]}"), name)
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")


def __dir__() -> list[str]:
    return sorted(__all__)
