"""Readings of a valve's torque: what they tell of it, whatever their number."""

from __future__ import annotations

from shutoffsim.study.fit_torque.belief import Belief, prior_belief
from shutoffsim.study.fit_torque.fit import fit_torque
from shutoffsim.study.fit_torque.result import TorqueFit

__all__ = ["Belief", "TorqueFit", "fit_torque", "prior_belief"]
