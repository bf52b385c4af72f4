"""A valve's torque estimated from readings, however few or many."""

from __future__ import annotations

from shutoffsim.study.fit_torque.belief import Belief, prior_belief
from shutoffsim.study.fit_torque.fit import fit_torque
from shutoffsim.study.fit_torque.result import TorqueFit

__all__ = ["Belief", "TorqueFit", "fit_torque", "prior_belief"]
