"""The trace engine: SimPy keeps the time and calls the same compiled reactions.

It is slow and readable: every ring can be watched, plain SimPy processes can be attached, and it
schedules independently of the batch engine, with which it must agree bit for bit.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
import simpy
from numpy.typing import NDArray

from shutoffsim.engine.batch import OVER, probe_weight
from shutoffsim.engine.guard import TooManyEventsError, is_over, new_guard, too_many_events
from shutoffsim.engine.placement import Placement
from shutoffsim.engine.schedule import (
    COURSE,
    PLACED,
    begin_course,
    next_probe,
    note_impairment,
    placed_probes,
)
from shutoffsim.model import layout as L
from shutoffsim.model.history import add_leak, close, react, start
from shutoffsim.model.impairments import impairments
from shutoffsim.model.streams import PROBE_KEYS

Watcher = Callable[[float, int, Any], None]


class _Alarm(simpy.Event):
    """The ring of a clock; among equal times the lowest clock goes first.

    SimPy stops a run with priority 0, so clocks start at 1.
    """

    def __init__(self, env: simpy.Environment, clock: int, ring: Callable[[_Alarm], None]) -> None:
        super().__init__(env)
        self._ok = True
        self._value = None
        self.clock = clock
        self.priority = 1 + clock
        self.callbacks = [ring]


class History:
    """One history, or the fork of one for a probe, on a SimPy environment.

    Parameters
    ----------
    p : record
        The design's parameters.
    state : record array (1,)
        The state, changed as the history goes on.
    rows : record array
        Receives the incidents that end.
    watcher : callable, optional
        Called as ``watcher(now, clock, state)`` after each reaction.
    guard : record, optional
        What ends it early (:data:`shutoffsim.engine.guard.GUARD`); a fork shares its history's.
    name : str
        Of the design, for the error that then tells of it.

    Attributes
    ----------
    env : simpy.Environment
        Processes of your own can be attached to it before :meth:`run_to`.
    times : array (clocks,)
        When each clock rings next, s.
    """

    def __init__(
        self,
        p: Any,
        state: Any,
        rows: Any,
        watcher: Watcher | None = None,
        guard: Any = None,
        name: str = "",
    ) -> None:
        self.p = p
        self.state = state
        self.rows = rows
        self.watcher = watcher
        self.guard = new_guard()[0] if guard is None else guard
        self.guard.history = state[0].history
        self.name = name
        self.env = simpy.Environment()
        self.delay = np.full(L.CLOCKS, L.KEEP)
        self.times = np.full(L.CLOCKS, L.NEVER)
        self.rings = 0
        self.alarms: dict[int, _Alarm] = {}

    @property
    def now(self) -> float:
        """Time since commissioning, s."""
        return float(self.env.now)

    def begin(self) -> None:
        """Commission the system."""
        start(self.p, self.state[0], self.delay)
        self._set_alarms()

    def take_up(self, times: NDArray[np.float64], now: float) -> None:
        """Continue with the clocks of another history at its time ``now`` [s].

        They are set while SimPy's time is 0, as delays from ``now`` could be off by one rounding.
        """
        for clock in np.flatnonzero(times < L.NEVER):
            alarm = _Alarm(self.env, int(clock), self._ring)
            self.env.schedule(alarm, alarm.priority, float(times[clock]))  # type: ignore[arg-type]
            self.alarms[int(clock)] = alarm
            self.times[clock] = times[clock]
        self.run_to(now)

    def run_to(self, time: float) -> None:
        """Let everything happen that comes before ``time`` [s]."""
        if time > self.now:
            self.env.run(until=time)

    def step(self) -> None:
        """Let the next clock ring."""
        rings = self.rings
        while self.rings == rings:  # the alarms of clocks set anew lie about, too
            self.env.step()

    def run_probe(self, source: int, key: int) -> None:
        """Add a leak of ``source`` now and run until its incident is written."""
        self.state[0].focus = key
        self.state[0].n_rows = 0
        add_leak(self.p, self.state[0], self.now, source, key, self.delay)
        self._set_alarms()
        while self.state[0].n_rows == 0:
            if self.env.peek() >= self.p.service_life:
                close(self.p, self.state[0], self.p.service_life, self.rows)
                return
            self.env.step()

    def end(self) -> None:
        """Run to the end of the service life and settle what is open."""
        self.run_to(float(self.p.service_life))
        close(self.p, self.state[0], self.p.service_life, self.rows)

    def _set_alarms(self) -> None:
        """Turn the delays of a reaction into alarms; the clock's earlier alarm is dead."""
        changed = np.flatnonzero(self.delay != L.KEEP)
        for clock in changed.tolist():
            delay = float(self.delay[clock])
            self.times[clock] = self.now + delay
            self.alarms.pop(clock, None)
            if delay < L.NEVER:
                alarm = _Alarm(self.env, clock, self._ring)
                self.env.schedule(alarm, alarm.priority, delay)  # type: ignore[arg-type]
                self.alarms[clock] = alarm
        self.delay[changed] = L.KEEP

    def _ring(self, alarm: _Alarm) -> None:
        if self.alarms.get(alarm.clock) is not alarm:
            return
        del self.alarms[alarm.clock]
        self.rings += 1
        state = self.state[0]
        react(alarm.clock, self.now, self.p, state, self.delay, self.rows)
        if is_over(self.guard, state.events, alarm.clock):
            raise too_many_events(self.guard, self.p, self.name)
        self._set_alarms()
        if self.watcher is not None:
            self.watcher(self.now, alarm.clock, state)


def new_state(seed: int, history: int, tilt: bool = False) -> Any:
    """Return a state (record array (1,)) before commissioning."""
    state = np.zeros(1, L.STATE)
    state[0].seed = seed
    state[0].history = history
    state[0].focus = L.EVERY_LEAK
    state[0].tilt = tilt
    return state


def run_histories(
    params: Any,
    placement: Placement,
    seed: int,
    first: int,
    tilt: bool,
    m: int,
    rows: Any,
    natural: Any,
    summary: Any,
    guard: Any,
) -> int:
    """Run histories as :func:`shutoffsim.engine.batch.run_histories` does, on SimPy.

    Returns
    -------
    int
        Number of natural incidents, larger than ``len(natural)`` when rows did not fit; OVER when
        the guard has ended a history.
    """
    k, n, _room = rows.shape
    count = 0
    for h in range(n):
        placed = placed_probes(placement, seed, first + h, m)
        for d in range(k):
            guard[0].design = d
            guard[0].rings = 0
            state = new_state(seed, first + h, tilt)
            state[0].n_rows = count
            history = History(params[d], state, natural, guard=guard[0])
            try:
                _run_history(history, placement, placed, rows[d, h])
            except TooManyEventsError:
                return OVER
            ended = state[0]
            natural["design"][count : ended.n_rows] = d
            natural["weight"][count : ended.n_rows] = ended.weight
            count = int(ended.n_rows + ended.lost_rows)
            for name in L.SUMMARY_FIELDS:
                summary[name][d, h] = ended["demands" if name == "strokes" else name]
            summary["repairs"][d, h] = ended["repairs"]
            summary["dry"][d, h] = ended["dry"]
    return count


def _run_history(history: History, placement: Placement, placed: Any, rows: Any) -> None:
    """Run a history with its probes, whose rows are filled."""
    p, state = history.p, history.state[0]
    places = (placement.share_cum, placement.cell_cum, placement.cell, state.seed, state.history)
    room = len(rows)
    course, probe = np.zeros(1, COURSE)[0], np.zeros(1, PLACED)[0]
    history.begin()
    begin_course(course, placed, room)
    while True:
        now = float(history.times.min())
        while course.next <= now and course.next < p.service_life:
            next_probe(course, *places, placed, room, probe)
            _resolve(history, probe, rows[probe.number : probe.number + 1])
        if now >= p.service_life:
            break
        history.step()
        if room > len(placed):
            impaired = impairments(p, state, now)
            note_impairment(course, impaired, now, state.seed, state.history, placed, room)
    history.end()


def _resolve(history: History, probe: Any, row: Any) -> None:
    """Resolve a probe in a fork of the history and fill its row (array of one)."""
    p, state = history.p, history.state[0]
    weight = probe_weight(p, state, probe.source, probe.time, probe.density)
    if weight > 0.0:
        fork = History(p, history.state.copy(), row, guard=history.guard)
        fork.take_up(history.times, float(probe.time))
        fork.run_probe(int(probe.source), PROBE_KEYS + int(probe.number))
    row["design"] = history.guard.design
    row["history"] = state.history
    row["probe"] = probe.number
    row["source"] = probe.source
    row["onset"] = probe.time
    row["weight"] = weight
