"""Where and when probes are placed, and with which density, written out anew."""

from __future__ import annotations

import math

import numpy as np
import pytest
from checks import perfect

from shutoffsim.engine import schedule
from shutoffsim.engine.batch import probe_weight
from shutoffsim.engine.placement import CELLS, place
from shutoffsim.engine.trace import new_state
from shutoffsim.model import layout as L
from shutoffsim.model import streams

LIFE = 4.0 * 365.25 * 86400.0
TWO = """
weather.coldest_day = "20 January"
leaks.hose = {rate = "3 per year", season = "winter"}
leaks.pipe = {zone = "room", rate = "1 per year", season = "all year", starts = "any time", \
open_end_flow = "6 L/min", spell_factor = 1, trip_factor = 1}
"""


def two(more: str = ""):
    return perfect(TWO + more, life="4 years").parameters()


def test_shares_follow_rates_and_none_is_starved():
    """Three leaks to one; then 99 to one, where the rare one still gets an eighth of the rest."""
    even = TWO.replace(', season = "winter"', ', season = "all year"')
    params = perfect(even, life="4 years").parameters()
    assert place(params).share_cum == pytest.approx([0.0, 0.75, 1.0], rel=1e-12)
    rare = perfect(even.replace('"3 per', '"99 per'), life="4 years").parameters()
    whole = 0.99 + 0.125
    assert place(rare).share_cum == pytest.approx([0.0, 0.99 / whole, 1.0], rel=1e-12)


def test_cells_follow_the_season_and_the_greatest_of_the_designs():
    """Cosine squared in the middle of each cell, but nowhere below a twentieth of the mean."""
    placement = place(two())
    assert placement.cell == pytest.approx(LIFE / CELLS, rel=1e-12)
    days = (np.arange(CELLS) + 0.5) * LIFE / CELLS / 86400.0
    c = np.cos(2 * np.pi * (days - 19.0) / 365.25)
    law = np.where(c > 0, 4 * c * c, 0.0)
    law = np.maximum(law, 0.05 * law.mean())
    assert placement.cell_cum[0] == pytest.approx(
        np.concatenate([[0.0], np.cumsum(law) / law.sum()]), rel=1e-9, abs=1e-12
    )
    assert placement.cell_cum[1] == pytest.approx(np.linspace(0, 1, CELLS + 1), rel=1e-9)
    designs = perfect(TWO, TWO.replace('"3 per', '"12 per'), life="4 years").parameters()
    both, strong = place(designs), place(designs[1:])
    assert both.share_cum == pytest.approx(strong.share_cum, rel=1e-12)


def test_a_source_without_leaks_is_looked_at_evenly_and_least():
    params = two()
    params["source_rate"][:, 1] = 0.0
    placement = place(params)
    assert placement.cell_cum[1] == pytest.approx(np.linspace(0, 1, CELLS + 1), rel=1e-9)
    assert placement.share_cum == pytest.approx([0.0, 1 / 1.125, 1.0], rel=1e-12)


def test_what_raises_a_source_in_weather_and_absence_gets_it_more_probes():
    """Away a quarter of the time at 5 times the rate: twice as many; spells a tenth, at 11: twice.

    Spells count double for a winter source, as they come in its half of the year.
    """
    base = """
    leaks.hose = {rate = "3 per year", season = "SEASON", spell_factor = SPELL, trip_factor = TRIP}
    leaks.pipe = {zone = "room", rate = "3 per year", season = "all year", starts = "any time", \
open_end_flow = "6 L/min", spell_factor = 1, trip_factor = 1}
    people = {trips = true, stay = "30 days", trip = "10 days"}
    weather = {spell_rate = "3.6525 per year", spell_duration = "10 days"}
    """
    for season, spell, trip, factor in (
        ("all year", 1, 5, 2),
        ("all year", 11, 1, 2),
        ("all year", 11, 5, 4),
        ("winter", 11, 1, 3),
    ):
        text = base.replace("SEASON", season).replace("SPELL", str(spell))
        params = perfect(text.replace("TRIP", str(trip)), life="4 years").parameters()
        share = place(params).share_cum[1]
        assert share == pytest.approx(
            factor / (factor + 1), rel=0.02 if season == "winter" else 1e-9
        )


M = 64


def test_probes_lie_one_in_each_stretch():
    """The j-th of m lies at (j + u) / m of the sources' shares, and so of its source's time."""
    placement = place(two())
    placed = schedule.placed_probes(placement, 9, 5, M)
    assert (np.diff(placed["time"]) >= 0.0).all()
    assert sorted(placed["number"]) == list(range(M))
    edges = np.arange(CELLS + 1) * placement.cell
    for probe in placed:
        u = streams.uniform(np.uint64(9), np.uint64(5), streams.PROBE_DRAWS, int(probe["number"]))
        at = (probe["number"] + u) / M
        source = int(np.searchsorted(placement.share_cum, at, side="right")) - 1
        low, high = placement.share_cum[source : source + 2]
        assert probe["source"] == source
        cum = placement.cell_cum[source]
        assert probe["time"] == pytest.approx(
            np.interp((at - low) / (high - low), cum, edges), rel=1e-9
        )
        cell = int(probe["time"] / placement.cell)
        density = M * (high - low) * (cum[cell + 1] - cum[cell]) / placement.cell
        assert probe["density"] == pytest.approx(density, rel=1e-9)


def test_a_probe_stands_for_rate_over_density():
    """Even rate, one source: each of m stands for rate x life / m; a weighted history, for more."""
    p = perfect('leaks.hose.rate = "2 per year"', life="4 years").parameters()
    placed = schedule.placed_probes(place(p), 1, 0, M)
    state = new_state(1, 0)
    for weight in (1.0, 1.7):
        state["weight"] = weight
        for probe in placed:
            found = probe_weight(p[0], state[0], 0, probe["time"], probe["density"])
            assert found == pytest.approx(weight * 2 * 4 / M, rel=1e-9)


ROOM = 70  # for 64 stratified probes and 6 extra ones


class Extra:
    """A schedule moved on by hand, with the extra probes' uniforms."""

    def __init__(self) -> None:
        self.placement = place(two())
        self.placed = schedule.placed_probes(self.placement, 9, 5, M)
        self.course = np.zeros(1, schedule.COURSE)
        self.probe = np.zeros(1, schedule.PLACED)
        self.seed, self.history = np.uint64(9), np.uint64(5)
        schedule.begin_course(self.course[0], self.placed, ROOM)

    def impaired(self, number: int, now: float) -> None:
        schedule.note_impairment(
            self.course[0], number, now, self.seed, self.history, self.placed, ROOM
        )

    def next(self):
        cuts = (self.placement.share_cum, self.placement.cell_cum, self.placement.cell)
        schedule.next_probe(
            self.course[0], *cuts, self.seed, self.history, self.placed, ROOM, self.probe[0]
        )
        return self.probe[0].copy()

    def uniform(self, count: int) -> float:
        return streams.uniform(self.seed, self.history, streams.EXTRA_DRAWS, count)

    def base(self, source: int, time: float) -> float:
        share = np.diff(self.placement.share_cum)[source]
        cell = int(time / self.placement.cell)
        return M * share * np.diff(self.placement.cell_cum[source])[cell] / self.placement.cell


def test_without_impairment_only_the_stratified_come():
    extra = Extra()
    for probe in extra.placed:
        assert extra.course[0].next == probe["time"]
        assert extra.next() == probe
    assert extra.course[0].next == L.NEVER


def test_extra_probes_come_while_something_is_impaired():
    """A Poisson process of rate 4 left / (time impaired + 1 h), left = share of room not used.

    From a to b it passes the hazard 4 left ln((b + 1 h) / (a + 1 h)); each comes as one unit
    exponential has passed. Densities add up, for stratified probes as well.
    """
    extra = Extra()
    start = float(extra.placed["time"][0]) + 1.0
    extra.next()
    extra.impaired(1, start)
    draws, used, stratified = 1, 0, 1
    wait, reach = -math.log1p(-extra.uniform(0)), 3600.0
    share = np.diff(extra.placement.share_cum)
    for _ in range(30):
        rate = 4.0 * (6 - used) / 6
        expected = start - 3600.0 + reach * math.exp(wait / rate) if used < 6 else math.inf
        time = extra.course[0].next
        probe = extra.next()
        spread = rate / (time - start + 3600.0) if used < 6 else 0.0
        if expected < extra.placed["time"][stratified]:
            assert time == pytest.approx(expected, rel=1e-12)
            source = int(extra.uniform(draws) >= share[0])
            assert (probe["source"], probe["number"]) == (source, M + used)
            wait, reach = -math.log1p(-extra.uniform(draws + 1)), time - start + 3600.0
            draws, used = draws + 2, used + 1
        else:
            own = extra.placed[stratified]
            assert (time, probe["number"]) == (own["time"], own["number"])
            source = own["source"]
            stratified += 1
        density = extra.base(source, time) + share[source] * spread
        assert probe["density"] == pytest.approx(density, rel=1e-9)
    assert used == 6


def test_extra_probes_end_with_the_impairment_and_start_anew_with_a_further_one():
    extra = Extra()
    first = float(extra.placed["time"][0])
    extra.impaired(1, 0.5 * first)
    once = extra.course[0].copy()
    assert once.next <= first
    extra.impaired(1, 0.6 * first)
    assert extra.course[0] == once
    extra.impaired(2, 0.7 * first)
    assert (extra.course[0].since, extra.course[0].reach) == (0.7 * first, 3600.0)
    assert extra.course[0].wait == -math.log1p(-extra.uniform(1))
    extra.impaired(1, 0.8 * first)
    assert extra.course[0].since == 0.7 * first
    extra.impaired(0, 0.9 * first)
    assert (extra.course[0].since, extra.course[0].next) == (L.NEVER, first)
