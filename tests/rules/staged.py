"""A stage on which outages, faults and leaks come when the test says, in the perfect system."""

from __future__ import annotations

from typing import Any

import numpy as np
from checks import perfect

from shutoffsim.engine.trace import History, new_state
from shutoffsim.model import layout as L
from shutoffsim.model.history import add_leak

MINUTE, HOUR, DAY = 60.0, 3600.0, 86400.0

#: An outage lasts five hours, and comes when the test lets it.
OUTAGE = 'mains = {outage_rate = "1e-9 per h", outage_duration = "5 h"}\n'
NOBODY = 'people.week = {weekdays = "out", saturday = "out", sunday = "out"}\n'


class Stage:
    """One history of the perfect system with changes, moved on by hand.

    Times are in seconds since commissioning, on a Monday at midnight.
    """

    def __init__(self, changes: str = "", seed: int = 1) -> None:
        self.p = perfect(changes).parameters()[0]
        self.history = History(self.p, new_state(seed, 0), np.zeros(40, L.INCIDENT))
        self.history.begin()
        self.keys = 1 << 18

    @property
    def state(self) -> Any:
        return self.history.state[0]

    def ring(self, clock: int, at: float) -> Stage:
        """Let a clock ring at a time of the test's choice."""
        self.history.delay[clock] = at - self.history.now
        self.history._set_alarms()
        return self

    def to(self, time: float) -> Stage:
        """Let everything happen that comes before ``time``."""
        self.history.run_to(time)
        return self

    def leak(self, at: float, source: int = 0) -> Stage:
        """Let a leak start."""
        self.to(at)
        self.keys += 1
        add_leak(self.p, self.state, self.history.now, source, self.keys, self.history.delay)
        self.history._set_alarms()
        return self

    @property
    def rows(self) -> Any:
        """The incidents that are over, in the order of their ends."""
        return self.history.rows[: self.state.n_rows]

    def over(self, until: float) -> Any:
        """Return the one incident that is over by then."""
        self.to(until)
        assert len(self.rows) == 1
        return self.rows[0]
