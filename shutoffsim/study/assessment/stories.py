"""A typical and a worst incident, event by event, as plain data."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

import numpy as np

from shutoffsim.engine.trace import History, new_state
from shutoffsim.errors import ModelError
from shutoffsim.model import layout as L
from shutoffsim.model.streams import PROBE_KEYS
from shutoffsim.study.assessment.upkeep_parts import Story, StoryEvent
from shutoffsim.study.replay import Pick, Replay, replay

if TYPE_CHECKING:
    from shutoffsim.scenario import Scenario

PICKS: Final[tuple[Pick, ...]] = ("typical", "worst")
_HOUR = 3600.0
_LITRE = 1e-3


def tell(scenario: Scenario, design: str, seed: int) -> tuple[Story, ...]:
    """Return a typical and a worst incident of a design; none where nothing can leak.

    They are those that ``shutoffsim replay`` picks for the same seed.
    """
    stories = []
    for pick in PICKS:
        try:
            told = replay(scenario, design, pick=pick, seed=seed)
        except ModelError:
            continue  # no leak in the histories looked through
        if told.onset is not None and told.incidents:
            stories.append(_story(pick, told, _volumes(scenario, told)))
    return tuple(stories)


def _volumes(scenario: Scenario, told: Replay) -> list[tuple[float, float]]:
    """Return when [s] anything happened during the incident, and the water [m3] escaped by then."""
    p = scenario.parameters([told.design])[0]
    assert told.onset is not None
    assert told.probe is not None
    key = PROBE_KEYS + told.probe
    source = scenario.source_names.index(told.incidents[0]["source"])
    history = History(p, new_state(told.seed, told.history), np.zeros(4096, L.INCIDENT))
    history.begin()
    history.run_to(told.onset)
    volumes = [(told.onset, 0.0)]

    def watch(now: float, _clock: int, state: Any) -> None:
        for slot in range(L.SLOTS):
            if state.leak_on[slot] == 1 and state.leak_key[slot] == key:
                volumes.append((now, float(state.leak_volume[slot])))

    fork = History(p, history.state.copy(), np.zeros(1, L.INCIDENT), watch)
    fork.take_up(history.times, told.onset)
    fork.state[0].n_rows = 0
    fork.run_probe(source, key)
    return volumes


def _escaped(volumes: list[tuple[float, float]], time: float, whole: float) -> float | None:
    """Return the litres escaped by ``time``; None before the onset, all of it after the end."""
    if time < volumes[0][0]:
        return None
    if time > volumes[-1][0]:
        return whole
    return max(volume for at, volume in volumes if at <= time) / _LITRE


def _story(pick: Pick, told: Replay, volumes: list[tuple[float, float]]) -> Story:
    row = told.incidents[0]
    assert told.onset is not None
    assert told.probe is not None
    return Story(
        design=told.design,
        pick=pick,
        history=told.history,
        probe=told.probe,
        onset_years=told.onset / L.YEAR,
        source=row["source"],
        zone=row["zone"],
        presence=row["presence"],
        failure_mode=row["failure_mode"],
        stopped_by=row["stopped_by"],
        sensed_s=_seconds(row["sensed_h"]),
        stopped_s=_seconds(row["stopped_h"]),
        found_s=_seconds(row["found_h"]),
        volume_l=row["volume_l"],
        wet_area_m2=row["wet_area_m2"],
        units_affected=row["units_affected"],
        loss=row["loss"],
        insured_loss=row["insured_loss"],
        power=told.start.power,
        valve=told.start.valve,
        sensors=told.start.sensors,
        people=told.start.people,
        beforehand=told.beforehand,
        events=tuple(
            StoryEvent(
                after_onset_s=event.time - told.onset,
                what=event.what,
                details=event.details,
                volume_l=_escaped(volumes, event.time, row["volume_l"]),
                quiet=bool(event.quiet),
            )
            for event in told.events
        ),
    )


def _seconds(hours: float | None) -> float | None:
    return None if hours is None else hours * _HOUR
