"""A typical and a worst incident, event by event."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from typing import TYPE_CHECKING

from shutoffsim.model.layout import YEAR
from shutoffsim.report.incidents import loss_in_words
from shutoffsim.report.page import cells
from shutoffsim.report.page.blocks import Block, Folded, Moment, Section, Story, Words
from shutoffsim.report.page.cells import Designs
from shutoffsim.report.replay import moment
from shutoffsim.study.words import LITRE, duration, volume

if TYPE_CHECKING:
    from shutoffsim.study.assessment import upkeep_parts as parts
    from shutoffsim.study.assessment.result import Assessment

_TITLES = {
    "typical": "A typical incident",
    "worst": "The worst of the incidents searched",
}


def stories(found: Assessment, designs: Designs) -> Section:
    """Return the incidents as timelines."""
    title = "A typical and a worst incident"
    if not found.stories:
        return Section("incidents", title, [Words("There is no leak to show.")])
    blocks: list[Block] = [
        Words(
            "Single simulated incidents, to show where the figures come from. They are examples, "
            "not forecasts."
        ),
    ]
    blocks += [_story(found, designs, s) for s in found.stories if s.design == found.chosen]
    others = [_story(found, designs, s) for s in found.stories if s.design != found.chosen]
    if others:
        blocks.append(Folded("Incidents of the other designs", others))
    return Section("incidents", title, blocks)


def _story(found: Assessment, designs: Designs, told: parts.IncidentStory) -> Story:
    year, day, clock = moment(told.onset_years * YEAR)
    before = f" Before it: {'; '.join(told.beforehand)}." if told.beforehand else ""
    lead = (
        f"It begins in year {year}, day {day}, {clock}.{before} At the start: power {told.power}, "
        f"valve {told.valve}, sensors {told.sensors}, people {told.people}."
    )
    area = (
        f"{told.wet_area_m2:.3g} m² wet"
        if told.wet_area_m2
        else "no wet area beyond what is mopped up"
    )
    units = round(told.units_affected)
    below = f", {units} {'unit' if units == 1 else 'units'} below" if units else ""
    loss, insured = (cells.money(round(amount)) for amount in (told.loss, told.insured_loss))
    escaped = _set(volume(told.volume_l * LITRE))
    end = (
        f"{escaped} escaped, {area}{below}; loss {loss} {found.currency}, of which {insured} "
        f"insured. {_fate(told)}"
    )
    if told.loss > 0.0:
        end += f" Of the loss: {loss_in_words(told.loss_parts, told.loss_factor)}."
    return Story(
        _TITLES.get(told.pick, told.pick),
        designs.cell(told.design),
        lead,
        tuple(_moments(told)),
        end,
    )


def _fate(told: parts.IncidentStory) -> str:
    """Return who stopped the water, and what broke."""
    if told.stopped_by == "already shut":
        stopped = "The water was shut already."
    else:
        stopped = f"Stopped by {told.stopped_by}."
    if told.failure_mode != "none":
        return f"{stopped} First broken link: {told.failure_mode}."
    in_time = told.stopped_by == "automation"
    return f"{stopped} It was in time." if in_time else f"{stopped} No link was broken."


def _moments(told: parts.IncidentStory) -> Iterator[Moment]:
    """Yield what happened; moments without consequence are counted."""
    quiet: list[parts.StoryEvent] = []
    for event in told.events:
        if event.quiet:
            quiet.append(event)
            continue
        yield from _counted(told, quiet)
        quiet = []
        when, after = _times(told, event.after_onset_s)
        escaped = (
            [f"escaped so far: {volume(event.volume_l * LITRE)}"]
            if event.volume_l and not any("escaped" in text for text in event.details)
            else []
        )
        details = [_set(text) for text in (*event.details, *escaped)]
        yield Moment(when, after, _set(event.what), details)
    yield from _counted(told, quiet)


def _counted(told: parts.IncidentStory, quiet: Iterable[parts.StoryEvent]) -> Iterator[Moment]:
    events = list(quiet)
    if events:
        when, after = _times(told, events[0].after_onset_s)
        many = "1 moment" if len(events) == 1 else f"{len(events)} moments"
        yield Moment(when, after, f"{many} without consequence", (), quiet=True)


def _times(told: parts.IncidentStory, seconds: float) -> tuple[str, str]:
    _, day, clock = moment(told.onset_years * YEAR + seconds)
    sign = "−" if seconds < 0.0 else "+"
    return f"day {day}, {clock}", f"{sign}{duration(abs(seconds))}"


def _set(text: str) -> str:
    """Return a sentence with its units as a page sets them."""
    return re.sub(r"(?<=\d) N\*m\b", " N·m", re.sub(r"(?<=\d) m3\b", " m³", text))
