"""Between too weak and too strong: what the valve asks for, and what everything else bears."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

from scipy.optimize import brentq

from shutoffsim.estimate.plain import plain, plain_fields
from shutoffsim.model.quantiles import quantile
from shutoffsim.study.size.shortfall import Trial
from shutoffsim.study.size.strokes import mount_capacity
from shutoffsim.study.torque import source_of, stall_figures

STEM, NEW_MOUNT, OLD_MOUNT, SUPPLY = (
    "stem",
    "new mount",
    "relaxed mount",
    "supply",
)
#: What each bound is called where people read it.
LIMITS = {
    STEM: "maximum allowable stem torque",
    NEW_MOUNT: "slip torque of the new mount",
    OLD_MOUNT: "slip torque of the relaxed mount",
    SUPPLY: "brown-out limit of the supply",
}
OPENERS = {
    STEM: "have the valve replaced by a licensed plumber: a stiff valve with a thin stem must "
    "not be forced",
    NEW_MOUNT: "fit a mount that holds more torque",
    OLD_MOUNT: "fit a mount that keeps its preload (metal), or retighten it on a schedule",
    SUPPLY: "give the controller its own rail, or fit a supply with a thicker cable or a higher "
    "voltage",
}
LESS_TORQUE = "exercise more often, or have the valve replaced: both lower the torque it needs"
_STRONGEST = 1e3  # times the motor in use: beyond, a supply counts as no bound


@dataclass(frozen=True)
class Window:
    """Torque at the shaft, N*m, between what closes the valve and what something else can take.

    Attributes
    ----------
    lower : float
        Torque that meets the target on the wanted share of valves.
    upper : dict of str to float
        Bounds by what sets them; inf where there is none.
    weak, strong : float
        Torque at stall of the design's actuator on its supply: a weak unit and a strong one,
        each at the end of its side of the confidence.
    strip_chance : float
        Chance that a stall strips the gears; data sheets give no torque for it.
    """

    lower: float
    upper: dict[str, float]
    weak: float
    strong: float
    strip_chance: float

    @property
    def least_upper(self) -> tuple[str, float]:
        """What gives way first, and at which torque."""
        name = min(self.upper, key=lambda key: self.upper[key])
        return name, self.upper[name]

    @property
    def empty(self) -> bool:
        """No torque is both enough and not too much."""
        return self.lower > self.least_upper[1]

    @property
    def remedies(self) -> tuple[str, ...]:
        """What would open an empty window: one remedy for each bound below the lower one."""
        if not self.empty:
            return ()
        ways = [OPENERS[name] for name, bound in self.upper.items() if bound < self.lower]
        return (*dict.fromkeys(ways), LESS_TORQUE)

    def as_dict(self) -> dict[str, Any]:
        """Return it as plain data, with what follows from it."""
        first, bound = self.least_upper
        return plain_fields(self) | plain(
            {
                "gives_way_first": first,
                "least_upper": bound,
                "empty": self.empty,
                "remedies": self.remedies,
            }
        )


def find_window(params: Any, trial: Trial, confidence: float) -> Window:
    """Return the window of the design ``params`` (record array (1,))."""
    p = params[0]
    voltage, resistance = source_of(p)
    units = [quantile(p.actuator_unit_spread, share) for share in (1.0 - confidence, confidence)]
    weak, strong = (stall_figures(p, unit, 0.0, voltage, resistance, 0.0)[0] for unit in units)
    creep = quantile(p.mount_creep, confidence)
    untouched = min(float(p.service_life), float(p.mount_retightening))
    return Window(
        lower=trial.needed_torque,
        upper={
            STEM: float(p.valve_stem_limit),
            NEW_MOUNT: float(mount_capacity(p, creep, 0.0)),
            OLD_MOUNT: float(mount_capacity(p, creep, untouched)),
            SUPPLY: supply_bound(params),
        },
        weak=float(weak),
        strong=float(strong),
        strip_chance=float(p.actuator_strip_chance),
    )


def supply_bound(params: Any) -> float:
    """Return the torque [N*m] of the strongest motor whose stall the controller's rail survives.

    The motor in use, behind the same gears, is made stronger with currents in proportion. inf when
    the controller has a rail of its own, or no motor pulls it down.
    """
    p = params[0]
    if p.controller_shares_rail != 1:
        return math.inf
    voltage, resistance = source_of(p)
    unit = quantile(p.actuator_unit_spread, 0.5)

    def figures(r: float) -> tuple[float, float]:
        changed = params.copy()
        for name in ("stall_torque", "stall_current", "no_load_current", "current_limit"):
            changed[f"actuator_{name}"] *= r
        given = stall_figures(changed[0], unit, 0.0, voltage, resistance, 0.0)
        return float(given[0]), float(given[2] - p.controller_brown_out)

    low, high = 1.0 / _STRONGEST, _STRONGEST
    if figures(high)[1] >= 0.0:
        return math.inf
    if figures(low)[1] <= 0.0:
        return 0.0
    return figures(float(brentq(lambda r: figures(r)[1], low, high)))[0]
