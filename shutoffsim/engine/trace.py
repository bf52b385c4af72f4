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

from shutoffsim.engine.batch import placed_probes, probe_weight
from shutoffsim.engine.placement import Placement
from shutoffsim.model import layout as L
from shutoffsim.model.history import PROBE_KEYS, add_leak, close, react, start

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

    Attributes
    ----------
    env : simpy.Environment
        Processes of your own can be attached to it before :meth:`run_to`.
    times : array (clocks,)
        When each clock rings next, s.
    """

    def __init__(self, p: Any, state: Any, rows: Any, watcher: Watcher | None = None) -> None:
        self.p = p
        self.state = state
        self.rows = rows
        self.watcher = watcher
        self.env = simpy.Environment()
        self.delay = np.full(L.CLOCKS, L.KEEP)
        self.times = np.full(L.CLOCKS, L.NEVER)
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

    def run_probe(self, source: int, key: int) -> None:
        """Add a leak of ``source`` now and run until its incident is written."""
        self.state[0].focus = key
        self.state[0].n_rows = 0
        add_leak(self.p, self.state[0], self.now, source, key, self.delay)
        self._set_alarms()
        while self.state[0].n_rows == 0:
            if self.env.peek() >= self.p.horizon:
                close(self.p, self.state[0], self.p.horizon, self.rows)
                return
            self.env.step()

    def end(self) -> None:
        """Run to the end of the service life and settle what is open."""
        self.run_to(float(self.p.horizon))
        close(self.p, self.state[0], self.p.horizon, self.rows)

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
        state = self.state[0]
        react(alarm.clock, self.now, self.p, state, self.delay, self.rows)
        self._set_alarms()
        if self.watcher is not None:
            self.watcher(self.now, alarm.clock, state)


def new_state(seed: int, history: int) -> Any:
    """Return a state (record array (1,)) before commissioning."""
    state = np.zeros(1, L.STATE)
    state[0].seed = seed
    state[0].history = history
    state[0].focus = L.EVERY_LEAK
    return state


def run_histories(
    params: Any,
    placement: Placement,
    seed: int,
    first: int,
    rows: Any,
    natural: Any,
    summary: Any,
) -> int:
    """Run histories as :func:`shutoffsim.engine.batch.run_histories` does, on SimPy.

    Returns
    -------
    int
        Number of natural incidents; larger than ``len(natural)`` when rows did not fit.
    """
    k, n, m = rows.shape
    count = 0
    for h in range(n):
        placed = placed_probes(placement, seed, first + h, m).tolist()
        for d in range(k):
            p = params[d]
            history = History(p, new_state(seed, first + h), natural)
            state = history.state[0]
            state.n_rows = count
            history.begin()
            for j, source, t, density in placed:
                history.run_to(t)
                weight = probe_weight(p, state, source, t, density, m)
                if weight > 0.0:
                    fork = History(p, history.state.copy(), rows[d, h, j : j + 1])
                    fork.take_up(history.times, t)
                    fork.run_probe(source, PROBE_KEYS + j)
                row = rows[d, h, j]
                row.design = d
                row.history = first + h
                row.probe = j
                row.source = source
                row.onset = t
                row.weight = weight
            history.end()
            natural["design"][count : state.n_rows] = d
            count = int(state.n_rows + state.lost_rows)
            for name in L.SUMMARY_FIELDS:
                summary[name][d, h] = state["demands" if name == "strokes" else name]
    return count
