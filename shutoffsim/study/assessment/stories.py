"""A typical and a worst incident, event by event, as plain data."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from shutoffsim.errors import ModelError
from shutoffsim.model import layout as L
from shutoffsim.study.assessment.upkeep_parts import IncidentStory, StoryEvent
from shutoffsim.study.incidents import loss_parts_of
from shutoffsim.study.replay import Pick, Replay, replay

if TYPE_CHECKING:
    from shutoffsim.scenario import Scenario

PICKS: Final[tuple[Pick, ...]] = ("typical", "worst")
_HOUR = 3600.0
_LITRE = 1e-3


def tell(scenario: Scenario, design: str, seed: int) -> tuple[IncidentStory, ...]:
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
            stories.append(_story(pick, told))
    return tuple(stories)


def _escaped(volumes: tuple[tuple[float, float], ...], time: float, whole: float) -> float | None:
    """Return the litres escaped by ``time``; None before the onset, all of it after the end."""
    if time < volumes[0][0]:
        return None
    if time > volumes[-1][0]:
        return whole
    return max(volume for at, volume in volumes if at <= time) / _LITRE


def _story(pick: Pick, told: Replay) -> IncidentStory:
    row = told.incidents[0]
    assert told.onset is not None
    assert told.probe is not None
    return IncidentStory(
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
        loss_parts=loss_parts_of(row),
        loss_factor=row["loss_factor"],
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
                volume_l=_escaped(told.volumes, event.time, row["volume_l"]),
                quiet=bool(event.quiet),
            )
            for event in told.events
        ),
    )


def _seconds(hours: float | None) -> float | None:
    return None if hours is None else hours * _HOUR
