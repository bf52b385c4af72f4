"""Parts of the result: stories of incidents, torque, and upkeep."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class StoryEvent:
    """One line of a story.

    Attributes
    ----------
    after_onset_s : float
        Negative before the leak began.
    what : str
    details : tuple of str
        What followed at once.
    volume_l : float or None
        Water escaped until then.
    quiet : bool
        It had no consequence.
    """

    after_onset_s: float
    what: str
    details: tuple[str, ...]
    volume_l: float | None
    quiet: bool


@dataclass(frozen=True)
class IncidentStory:
    """One simulated incident, event by event.

    Attributes
    ----------
    design : str
    pick : str
        ``typical`` (the middle one of the damaging leaks) or ``worst`` of those looked through.
    history, probe : int
        Its numbers: ``shutoffsim replay`` shows it with them.
    onset_years : float
        Since commissioning.
    source, zone, presence : str
    failure_mode, stopped_by : str
    sensed_s, stopped_s, found_s : float or None
        After the onset.
    volume_l, wet_area_m2, units_affected, loss, insured_loss : float
    loss_parts : dict of str to float
        Money by :data:`shutoffsim.model.damage.LOSS_PARTS`; they add up to the loss.
    loss_factor : float
        What all of them were multiplied by, for what is not modelled.
    power, valve, sensors, people : str
        How things stood at the onset.
    beforehand : tuple of str
        What was out of order, or worth knowing, then.
    events : tuple of StoryEvent
    """

    design: str
    pick: str
    history: int
    probe: int
    onset_years: float
    source: str
    zone: str
    presence: str
    failure_mode: str
    stopped_by: str
    sensed_s: float | None
    stopped_s: float | None
    found_s: float | None
    volume_l: float
    wet_area_m2: float
    units_affected: float
    loss: float
    insured_loss: float
    loss_parts: dict[str, float]
    loss_factor: float
    power: str
    valve: str
    sensors: str
    people: str
    beforehand: tuple[str, ...]
    events: tuple[StoryEvent, ...]


@dataclass(frozen=True)
class TorqueAt:
    """Torque at one age.

    Attributes
    ----------
    years : float
        Since commissioning.
    needed_median_n_m, needed_p95_n_m, needed_p99_n_m : float or None
        Torque to close over valves and demands, of those that have not seized; None: all have.
    seized : float
        Share of valves that cannot be turned.
    available_supply_n_m, available_battery_n_m : float or None
        Of the middle unit on the supply and on the battery; None: there is no battery.
    available_weak_n_m : float
        Of the weakest twentieth of units on the weaker of both.
    short : float
        Chance that a demand needs more than there is on the weaker of both; seized not counted.
    """

    years: float
    needed_median_n_m: float | None
    needed_p95_n_m: float | None
    needed_p99_n_m: float | None
    seized: float
    available_supply_n_m: float
    available_battery_n_m: float | None
    available_weak_n_m: float
    short: float


@dataclass(frozen=True)
class Hose:
    """Parts that are replaced by age, or could be."""

    source: str
    parts: int
    age_years: float
    replace_at_years: float | None


@dataclass(frozen=True)
class Step:
    """One step of closing by hand: median time, and the time that one in ten exceeds."""

    what: str
    median_s: float
    p90_s: float


@dataclass(frozen=True)
class ServiceLimits:
    """What to measure at each exercise, and when to call for service.

    Attributes
    ----------
    torque_share : float
        Share of the available torque at which the limits stand.
    closing_time_s, current_a : float
        At commissioning on the supply, in the middle of the valves that the motor can turn.
    closing_time_limit_s, current_limit_a : float
        At ``torque_share`` of the torque available then: slower or more calls for service.
    stall_current_a : float
        On the supply.
    """

    torque_share: float
    closing_time_s: float
    current_a: float
    closing_time_limit_s: float
    current_limit_a: float
    stall_current_a: float


@dataclass(frozen=True)
class Maintenance:
    """What the commissioning and maintenance sheet needs; None: never, or not there.

    Attributes
    ----------
    exercise_days, sensor_test_days, battery_test_days, battery_change_years : float or None
        Intervals that the result assumes.
    hoses : tuple of Hose
    limits : ServiceLimits or None
        None where no motor turns the valve.
    override : tuple of Step
        Closing by hand, in order, for somebody who is there.
    override_total : Step or None
        The whole of it.
    """

    exercise_days: float | None
    sensor_test_days: float | None
    battery_test_days: float | None
    battery_change_years: float | None
    hoses: tuple[Hose, ...]
    limits: ServiceLimits | None
    override: tuple[Step, ...]
    override_total: Step | None
