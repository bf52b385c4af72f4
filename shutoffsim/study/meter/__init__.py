"""A household's meter record: runs of water, and how often a flow rule would have tripped."""

from __future__ import annotations

from shutoffsim.study.meter.analysis import GAPS, TIMES, VOLUMES, analyse_meter
from shutoffsim.study.meter.flow import Flaw
from shutoffsim.study.meter.result import MeterReport

__all__ = ["GAPS", "TIMES", "VOLUMES", "Flaw", "MeterReport", "analyse_meter"]
