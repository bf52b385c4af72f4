"""shutoffsim: will an automated main stop valve close when it must, and what is that worth?"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

from shutoffsim.version import __version__ as __version__

if TYPE_CHECKING:
    from shutoffsim.report.archive import load_assessment as load_assessment
    from shutoffsim.report.archive import save_assessment as save_assessment
    from shutoffsim.scenario import Scenario as Scenario
    from shutoffsim.scenario import load as load
    from shutoffsim.scenario import loads as loads
    from shutoffsim.study.assessment.assess import assess as assess
    from shutoffsim.study.assessment.result import Assessment as Assessment
    from shutoffsim.study.breakeven import Breakeven as Breakeven
    from shutoffsim.study.breakeven import breakeven as breakeven
    from shutoffsim.study.compare import compare as compare
    from shutoffsim.study.comparison import Comparison as Comparison
    from shutoffsim.study.meter import MeterReport as MeterReport
    from shutoffsim.study.meter import analyse_meter as analyse_meter
    from shutoffsim.study.pfd import FailureOnDemand as FailureOnDemand
    from shutoffsim.study.pfd import failure_on_demand as failure_on_demand
    from shutoffsim.study.portfolio import PortfolioResult as PortfolioResult
    from shutoffsim.study.portfolio import portfolio as portfolio
    from shutoffsim.study.replay import Replay as Replay
    from shutoffsim.study.replay import replay as replay
    from shutoffsim.study.size import Sizing as Sizing
    from shutoffsim.study.size import size as size
    from shutoffsim.study.sweep import sweep as sweep

# Everything public, and where it lives; loaded on first use so that start-up stays quick.
_HOMES = {
    "Scenario": "shutoffsim.scenario",
    "load": "shutoffsim.scenario",
    "loads": "shutoffsim.scenario",
    "Assessment": "shutoffsim.study.assessment.result",
    "assess": "shutoffsim.study.assessment.assess",
    "load_assessment": "shutoffsim.report.archive",
    "save_assessment": "shutoffsim.report.archive",
    "Breakeven": "shutoffsim.study.breakeven",
    "breakeven": "shutoffsim.study.breakeven",
    "Comparison": "shutoffsim.study.comparison",
    "compare": "shutoffsim.study.compare",
    "FailureOnDemand": "shutoffsim.study.pfd",
    "failure_on_demand": "shutoffsim.study.pfd",
    "MeterReport": "shutoffsim.study.meter",
    "analyse_meter": "shutoffsim.study.meter",
    "PortfolioResult": "shutoffsim.study.portfolio",
    "portfolio": "shutoffsim.study.portfolio",
    "Replay": "shutoffsim.study.replay",
    "replay": "shutoffsim.study.replay",
    "Sizing": "shutoffsim.study.size",
    "size": "shutoffsim.study.size",
    "sweep": "shutoffsim.study.sweep",
}

__all__ = [*sorted(_HOMES), "__version__"]


def __getattr__(name: str) -> Any:
    if name in _HOMES:
        return getattr(import_module(_HOMES[name]), name)
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")


def __dir__() -> list[str]:
    return list(__all__)
