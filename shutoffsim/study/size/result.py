"""The result of sizing an actuator."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from shutoffsim.estimate.plain import plain_fields
from shutoffsim.study.size.ladder import Rung
from shutoffsim.study.size.need import Makeup, Need
from shutoffsim.study.size.shortfall import Shortfall
from shutoffsim.study.size.supply import Condition, StallCurve
from shutoffsim.study.size.window import Window
from shutoffsim.study.size.worth import IntervalCurve, RatingWorth
from shutoffsim.study.surge import Surge

if TYPE_CHECKING:
    import pandas as pd


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
    worths : tuple of RatingWorth
    needed_rating : float
        Smallest rating [N*m] that undersized torque allows, between the rungs.
    battery_share : float
        Share of demands served from the battery.
    recommended : float or None
        Smallest rung that meets the target with the confidence and spares the stem, N*m.
    current_limit : float or None
        To which its motor's current must be limited for that, A.
    curve : IntervalCurve
        Cost by exercise interval.
    surge : Surge
        What the closing of the actuator in use does to the pressure.
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
    closing_torques: tuple[float, float]
    needed_rating: float
    battery_share: float
    recommended: float | None
    current_limit: float | None
    recommendation: str
    reasons: tuple[str, ...]
    cautions: tuple[str, ...]
    needs: tuple[Need, ...] = field(metadata={"key": "torque_needed"})
    makeup: tuple[Makeup, ...]
    conditions: tuple[Condition, ...] = field(metadata={"key": "torque_available"})
    window: Window
    rungs: tuple[Rung, ...] = field(metadata={"key": "ladder"})
    shortfalls: tuple[Shortfall, ...]
    worths: tuple[RatingWorth, ...]
    curve: IntervalCurve = field(metadata={"key": "exercise_intervals"})
    stall: StallCurve
    surge: Surge
    assumptions: tuple[dict[str, Any], ...]

    @property
    def own(self) -> int:
        """Number of the rung that the design has."""
        return next(number for number, rung in enumerate(self.rungs) if rung.own)

    def as_dict(self) -> dict[str, Any]:
        """Return the result as plain data; the keys are documented in docs/sizing.md."""
        data = plain_fields(self)
        below = zip(data["ladder"], data.pop("shortfalls"), data.pop("worths"), strict=True)
        data["ladder"] = [
            rung | {"torque": torque, "histories": worth} for rung, torque, worth in below
        ]
        return data

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
                "stuck_shut": torque.stuck,
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
