"""Readings of a valve's torque: what they tell of it, whatever their number."""

from __future__ import annotations

from shutoffsim.study.readings.belief import Belief, prior_belief
from shutoffsim.study.readings.fit import fit_torque
from shutoffsim.study.readings.result import TorqueFit

__all__ = ["Belief", "TorqueFit", "fit_torque", "prior_belief"]
