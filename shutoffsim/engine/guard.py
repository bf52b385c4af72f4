"""What ends a history before its end: too many events, or a wish to stop."""

from __future__ import annotations

from typing import Any

import numpy as np

from shutoffsim.errors import ModelError
from shutoffsim.model import layout as L
from shutoffsim.model.compiled import kernel

#: Events of one history at most, its probes' included: ten years of a dwelling have some thousand.
MOST_EVENTS = 10_000_000
_SAMPLE = 10_000  # last events of a history that is too long: which clock rings?

#: What stops histories: ``most`` events; ``stop`` is set by another thread. ``rings`` are the rings
#: per clock near the end of one that had too many, which was number ``history`` of design
#: ``design``.
GUARD = np.dtype(
    (
        np.record,
        [
            ("most", np.int64),
            ("stop", np.int64),
            ("design", np.int64),
            ("history", np.uint64),
            ("rings", np.int64, (int(L.CLOCKS),)),
        ],
    )
)

_LOOK_AT = {
    L.WEATHER: "weather.spell_rate and spell_duration",
    L.OUTAGE: "the rates, durations and spell_factor of [mains]",
    L.TRIP: "people.stay and people.trip",
    L.PRESENCE: "people.week",
    L.STROKE: "the retries and what commands the valve to close",
    L.RETRY: "the retries and retry_pause of the actuator",
    L.POLICY: "policies.power_loss_wait, and how often mains fail",
    L.EXERCISE: "exercise.interval",
    L.NUISANCE: "the rates of [nuisance]",
    L.SWITCH_ON: "nuisance.switch_off_time, and how often false alarms come",
    L.ACTUATOR: "the failure_rate and repair of the closing element",
    L.CONTROLLER: "controller.hang_rate, restart_time and hang_notice",
    L.SUPPLY: "supply.failure_rate and repair",
    L.BATTERY_LIFE: "battery.life",
    L.BATTERY_CHANGE: "battery.change",
    L.BATTERY_TEST: "battery.test",
    L.BATTERY_EMPTY: "battery.capacity, and how often mains fail",
    L.REPAIR: "the repair time of the closing element",
    L.SENSOR_CHECK: "detection.test_interval",
    L.SENSOR_SHOCK: "the failure_rate of the sensors and detection.common_cause",
    L.AIM_SENSORS: "detection.test_interval and detection.replacement",
    L.AIM_BATTERY: "battery.test and battery.change",
}


class TooManyEventsError(ModelError):
    """A history has more events than can be simulated."""


class StoppedError(Exception):
    """Histories have ended early because somebody asked for it; nobody reads their results."""


def new_guard(most: int = MOST_EVENTS) -> Any:
    """Return a guard (:data:`GUARD` (1,)) that lets ``most`` events of a history pass."""
    guard = np.zeros(1, GUARD)
    guard["most"] = most
    return guard


@kernel
def is_over(guard, events, clock):
    """Return whether to end the history in which ``clock`` has rung, as event number ``events``."""
    if events > guard.most - _SAMPLE:
        guard.rings[clock] += 1
    return events > guard.most or guard.stop != 0


def too_many_events(guard: Any, p: Any, name: str) -> TooManyEventsError:
    """Return the error that a history of the design ``p`` with too many events is.

    Parameters
    ----------
    guard : record
        :data:`GUARD`.
    p : record
        The design's parameters.
    name : str
        Of the design; "" where it is not known.
    """
    clock = int(np.argmax(guard.rings))
    share = 100.0 * guard.rings[clock] / max(guard.rings.sum(), 1)
    history = int(guard.history)
    return TooManyEventsError(
        f"a history has more than {int(guard.most):,} events: it would take too long to finish",
        where=f"design “{name}”, history {history:,}" if name else f"history {history:,}",
        found=f"{share:.0f} % of the last ones are rings of the clock “{_clock_name(p, clock)}”",
        expected=f"at most {int(guard.most):,} events in a service life of "
        f"{float(p.service_life) / L.YEAR:g} years",
        hint=f"look at {_look_at(p, clock)}; values that only work as never or always can be "
        "written so",
    )


def _clock_name(p: Any, clock: int) -> str:
    sensors = int(L.FIRST_SOURCE + p.n_sources)
    leaks = sensors + int(p.n_sensors)
    if clock < L.FIRST_SOURCE:
        return L.CLOCK_NAMES[clock]
    if clock < sensors:
        return f"leak source {clock - L.FIRST_SOURCE + 1}"
    if clock < leaks:
        return f"sensor {clock - sensors + 1}"
    return f"open leak: {L.LEAK_CLOCKS[(clock - leaks) % len(L.LEAK_CLOCKS)]}"


def _look_at(p: Any, clock: int) -> str:
    sensors = int(L.FIRST_SOURCE + p.n_sources)
    leaks = sensors + int(p.n_sensors)
    if clock < L.FIRST_SOURCE:
        return _LOOK_AT[np.int64(clock)]
    if clock < sensors:
        return (
            f"the rate or life, the parts, spell_factor and trip_factor of leak source "
            f"{clock - L.FIRST_SOURCE + 1}, in the order of the file"
        )
    if clock < leaks:
        return (
            f"the failure_rate and battery_life of sensor {clock - sensors + 1}, in the order of "
            "the file, and detection.replacement"
        )
    return "detection.report_interval, the flow rule, and why an open leak does not end"
