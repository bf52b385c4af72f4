"""The result of sizing an actuator."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import TYPE_CHECKING, Any

from shutoffsim.estimate.estimate import Estimate
from shutoffsim.study.size.ladder import Rung
from shutoffsim.study.size.need import Makeup, Need
from shutoffsim.study.size.shortfall import Shortfall
from shutoffsim.study.size.supply import Condition, StallCurve
from shutoffsim.study.size.window import Window
from shutoffsim.study.size.worth import IntervalCurve, Worth

if TYPE_CHECKING:
    import pandas as pd

#: What goes into the plain data as it is.
_PLAIN = (
    "scenario",
    "scenario_hash",
    "version",
    "design",
    "currency",
    "seed",
    "valves",
    "demands",
    "histories",
    "horizon_years",
    "target",
    "confidence",
    "scale",
    "belief",
    "exercise",
    "stall_cutoff",
    "attempts",
    "closing_torques",
    "needed_rating",
    "battery_share",
    "recommended",
    "recommendation",
)


@dataclass(frozen=True)
class Sizing:
    """The result of :func:`shutoffsim.study.size.size`.

    Attributes
    ----------
    scenario, scenario_hash, version, design, currency : str
    seed, valves, demands, histories : int
        ``valves`` draws of the valve with ``demands`` each; ``histories`` of each rating.
    horizon_years, target, confidence : float
    scale, belief : str
        How ratings without a class change the data sheet; where the belief on the valve is from.
    exercise, stall_cutoff : float
        Exercise interval in use and time at stall until cut-off, s.
    attempts : int
        Of one demand, the first one included.
    needs : tuple of Need
        Torque needed by exercise interval and time.
    makeup : tuple of Makeup
        What it is made of.
    conditions : tuple of Condition
        What the actuator in use gives under each condition.
    closing_torques : tuple of float
        Torques [N*m] against which their closing times hold: what 50 and 95 % of the demands need
        at the end of the service life.
    stall : StallCurve
    window : Window
    rungs : tuple of Rung
        The ratings, smallest first; ``shortfalls`` and ``worths`` go with them.
    shortfalls : tuple of Shortfall
    worths : tuple of Worth
    needed_rating : float
        Smallest rating [N*m] that undersized torque allows, between the rungs.
    battery_share : float
        Share of demands served from the battery.
    recommended : float or None
        Smallest rung that meets the target with the confidence, N*m.
    curve : IntervalCurve
        Cost by exercise interval.
    recommendation : str
        One sentence.
    reasons, cautions : tuple of str
    assumptions : tuple of dict
        Values in use that rest on no published source.
    """

    scenario: str
    scenario_hash: str
    version: str
    design: str
    currency: str
    seed: int
    valves: int
    demands: int
    histories: int
    horizon_years: float
    target: float
    confidence: float
    scale: str
    belief: str
    exercise: float
    stall_cutoff: float
    attempts: int
    needs: tuple[Need, ...]
    makeup: tuple[Makeup, ...]
    conditions: tuple[Condition, ...]
    closing_torques: tuple[float, float]
    stall: StallCurve
    window: Window
    rungs: tuple[Rung, ...]
    shortfalls: tuple[Shortfall, ...]
    worths: tuple[Worth, ...]
    needed_rating: float
    battery_share: float
    recommended: float | None
    curve: IntervalCurve
    recommendation: str
    reasons: tuple[str, ...]
    cautions: tuple[str, ...]
    assumptions: tuple[dict[str, Any], ...]

    @property
    def own(self) -> int:
        """Number of the rung that the design has."""
        return next(number for number, rung in enumerate(self.rungs) if rung.own)

    def as_dict(self) -> dict[str, Any]:
        """Return the result as plain data; the keys are documented in docs/sizing.md."""
        data = {name: getattr(self, name) for name in _PLAIN}
        first, bound = self.window.least_upper
        return data | {
            "reasons": list(self.reasons),
            "cautions": list(self.cautions),
            "torque_needed": [asdict(row) for row in self.needs],
            "makeup": [asdict(row) for row in self.makeup],
            "torque_available": [asdict(row) for row in self.conditions],
            "window": asdict(self.window)
            | {"gives_way_first": first, "least_upper": bound, "empty": self.window.empty}
            | {"remedies": list(self.window.remedies)},
            "ladder": [
                asdict(rung) | {"torque": _plain(low), "histories": _plain(high)}
                for rung, low, high in zip(self.rungs, self.shortfalls, self.worths, strict=True)
            ],
            "exercise_intervals": {
                "best": self.curve.best,
                "flat": list(self.curve.flat),
                "alike": list(self.curve.alike),
                "upkeep_per_year": self.curve.upkeep,
                "wear_from": self.curve.wear_from,
                "histories": self.curve.histories,
                "rows": [_plain(row) for row in self.curve.rows],
            },
            "stall": {
                name: value.tolist() if hasattr(value, "tolist") else value
                for name, value in vars(self.stall).items()
            },
            "assumptions": list(self.assumptions),
        }

    def table(self) -> pd.DataFrame:
        """Return one row per rating: torque, probabilities of failure, damage and torque margin."""
        import pandas as pd

        rows = [
            {
                "rating": rung.rating,
                "available": torque.available,
                "failure": torque.failure.value,
                "valves_low": torque.valves_low,
                "valves_high": torque.valves_high,
                "meets": torque.meets.value,
                "bad_day": torque.bad_day,
                "headroom_50": torque.headroom[0],
                "headroom_95": torque.headroom[1],
                "headroom_99": torque.headroom[2],
                "failure_in_histories": worth.failure.value,
                "expected_annual_damage": worth.damage.value,
            }
            for rung, torque, worth in zip(self.rungs, self.shortfalls, self.worths, strict=True)
        ]
        return pd.DataFrame(rows).set_index("rating")

    def _repr_html_(self) -> str:
        return str(self.table().to_html(float_format=lambda x: f"{x:,.3g}"))


def _plain(row: Any) -> dict[str, Any]:
    """Return a row as plain data, its estimates as the others do."""
    return {
        name: value.as_dict() if isinstance(value, Estimate) else _data(value)
        for name, value in vars(row).items()
    }


def _data(value: Any) -> Any:
    return dict(value) if hasattr(value, "items") else value
