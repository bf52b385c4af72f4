"""Many dwellings: what each is expected to lose, and how bad a year of all of them can be."""

from shutoffsim.study.portfolio.result import EXIT_SOME_FAILED, PortfolioResult
from shutoffsim.study.portfolio.run import portfolio

__all__ = ["EXIT_SOME_FAILED", "PortfolioResult", "portfolio"]
