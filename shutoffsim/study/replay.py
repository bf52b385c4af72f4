"""Replay one history, or one incident, event by event on the trace engine."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Literal

import numpy as np

from shutoffsim.engine.batch import probe_weight
from shutoffsim.engine.placement import place
from shutoffsim.engine.run import PROBES, Setup, run_chunks
from shutoffsim.engine.schedule import placed_probes
from shutoffsim.engine.trace import History, new_state
from shutoffsim.errors import ModelError
from shutoffsim.model import layout as L
from shutoffsim.model.elements import NUMBERED
from shutoffsim.model.history import add_leak
from shutoffsim.model.streams import PROBE_KEYS
from shutoffsim.study.changes import Event, Narrator
from shutoffsim.study.incidents import incident_table
from shutoffsim.study.options import check_count, check_seed
from shutoffsim.study.situation import Situation
from shutoffsim.study.words import duration

if TYPE_CHECKING:
    from shutoffsim.scenario import Scenario

Pick = Literal["worst", "typical"]

SEARCHED = 256  # histories looked through for a worst or typical incident
LEAD_IN = 86400.0  # s shown before the onset of an incident
_ROWS = 4096  # incidents of one history that can be kept
_FAULTS = (
    ("failed", 1, "the actuator has failed"),
    ("burnt", 1, "the motor's winding is burnt"),
    ("stripped", 1, "the gears are stripped"),
    ("slipped", 1, "the mount has slipped"),
    ("broken", 1, "the valve cannot be turned"),
    ("supply_ok", 0, "the power supply has failed"),
    ("battery_ok", 0, "the battery is dead"),
    ("mains", 0, "mains power is out"),
    ("tripped", 1, "a leak has tripped the breaker"),
    ("main_switch", 1, "people have cut the power"),
    ("controller", 0, "the controller hangs"),
    ("switched_off", 1, "the automation is switched off"),
)
_MARKS = ("mains", "tripped", "main_switch", "supply_ok", "battery_ok", "controller",
          "switched_off", "position", "failed", "burnt", "stripped", "slipped", "broken",
          "trip")  # fmt: skip


@dataclass(frozen=True)
class Replay:
    """One history or one incident, event by event.

    Attributes
    ----------
    scenario, design, currency : str
    seed, history : int
    probe : int or None
        The probe whose incident this is; None: a whole history.
    horizon : float
        Service life, s.
    onset : float or None
        When the incident began, s since commissioning.
    beforehand : tuple of str
        What was out of order, or worth knowing, at the onset.
    start : Situation
        How things stood at the onset, or when the history began.
    events : tuple of Event
    incidents : tuple of dict
        The incidents that ended, with the columns of the incident table (docs/results.md).
    volumes : tuple of tuple of float
        When [s] anything happened during the incident, and the water [m3] escaped by then.
    """

    scenario: str
    design: str
    currency: str
    seed: int
    history: int
    probe: int | None
    horizon: float
    onset: float | None
    beforehand: tuple[str, ...]
    start: Situation
    events: tuple[Event, ...]
    incidents: tuple[dict[str, Any], ...]
    volumes: tuple[tuple[float, float], ...] = ()

    def __str__(self) -> str:
        return "\n".join(f"{duration(event.time)}: {event.what}" for event in self.events)


def replay(
    scenario: Scenario,
    design: str | None = None,
    *,
    history: int | None = None,
    probe: int | None = None,
    pick: Pick | None = None,
    seed: int = 1,
) -> Replay:
    """Replay a history, one of its probes, or a picked incident.

    Parameters
    ----------
    scenario : Scenario
    design : str, optional
        Its name; the reference by default.
    history : int, optional
        Number of the history, from 0.
    probe : int, optional
        Number of a probe of that history: its incident is replayed instead of the history. The
        numbers are those of a comparison of all designs of the scenario with the same seed.
    pick : {"worst", "typical"}, optional
        Look through the first 256 histories for the incident with the largest loss, or the one in
        the middle of the damaging leaks. Used when no history is given; "typical" by default.
    seed : int
        0 to 2**64 - 1.

    Returns
    -------
    Replay

    Raises
    ------
    ScenarioError
        There is no such design.
    ModelError
        A number is out of range, or the design has no incident to show.

    Examples
    --------
    >>> import shutoffsim
    >>> scenario = shutoffsim.load("scenarios/holiday_cottage.toml")
    >>> worst = shutoffsim.replay(scenario, "plus battery", pick="worst")
    >>> worst.incidents[0]["loss"] > 0
    True
    """
    name = scenario.reference if design is None else scenario.design(design).name
    _check(history, probe, pick, seed)
    setup = _setup(scenario, name, seed)
    if history is None:
        history, probe = _find(setup, pick or "typical", name)
    record = _Record(scenario, setup, name, history)
    if probe is None:
        record.run()
    else:
        record.run_incident(probe)
    return record.told(probe)


def _check(history: int | None, probe: int | None, pick: str | None, seed: int) -> None:
    if history is not None and pick is not None:
        raise ModelError(
            "a history and a pick cannot be combined",
            found=f"history {history}, pick {pick}",
            expected="one of them",
        )
    if probe is not None and history is None:
        raise ModelError(
            "a probe needs its history", found=f"probe {probe}", expected="a history as well"
        )
    if history is not None:
        check_count("history", history, 0, 2**63 - 1)
    if probe is not None:
        check_count("probe", probe, 0, PROBES - 1)
    check_seed(seed)
    if pick not in (None, "worst", "typical"):
        raise ModelError("no such pick", found=str(pick), expected="worst or typical")


def _setup(scenario: Scenario, name: str, seed: int) -> Setup:
    """Return a setup of one design with the probes that a comparison of all designs places."""
    params = scenario.parameters()
    at = scenario.designs.index(name)
    return Setup(params[at : at + 1], seed, "batch", PROBES, place(params), names=(name,))


def _find(setup: Setup, pick: Pick, name: str) -> tuple[int, int]:
    """Return history and probe of the worst or a typical incident."""
    rows = np.concatenate([c.rows.reshape(-1) for c in run_chunks(setup, 0, SEARCHED)])
    rows = rows[rows["weight"] > 0.0]
    if len(rows) == 0:
        raise ModelError(
            f"no leak starts in the first {SEARCHED} histories",
            found=f'design "{name}"',
            expected="a leak source whose rate is above zero",
        )
    order = np.lexsort((-rows["volume"], -rows["loss"]))  # largest loss first
    ranked = rows[order]
    if pick == "worst":
        chosen = ranked[0]
    else:
        damaging = ranked[ranked["loss"] > 0.0]
        ranked = damaging if len(damaging) else ranked
        share = np.cumsum(ranked["weight"])
        chosen = ranked[int(np.searchsorted(share, 0.5 * share[-1]))]
    return int(chosen["history"]), int(chosen["probe"])


class _Record:
    """Runs a history with a watcher that writes down what happens."""

    def __init__(self, scenario: Scenario, setup: Setup, design: str, history: int) -> None:
        self.scenario = scenario
        self.setup = setup
        self.design = design
        self.p = setup.params[0]
        self.number = history
        self.narrator = Narrator(
            self.p,
            scenario.source_names,
            scenario.sensor_names,
            scenario.zone_names,
            scenario.currency,
        )
        self.rows = np.zeros(_ROWS, L.INCIDENT)
        self.events: list[Event] = []
        self.since: dict[str, float] = {}
        self.beforehand: tuple[str, ...] = ()
        self.onset: float | None = None
        self.written = 0
        self.key = 0  # of the leak whose water is followed
        self.volumes: list[tuple[float, float]] = []

    def run(self) -> None:
        """Run the whole history."""
        history = self._begin()
        history.end()
        self._tell_end(history.state)

    def run_incident(self, probe: int) -> None:
        """Run to the onset of a probe, then its incident in a fork."""
        source, onset, density = self._placed(probe)
        history = self._begin()
        history.run_to(onset)
        state = history.state[0]
        weight = float(probe_weight(self.p, state, source, onset, density))
        if not weight > 0.0:
            raise ModelError(
                "this probe represents no leak: its source cannot leak at that moment",
                found=f"history {self.number}, probe {probe}",
                expected="a probe that is in the incident table",
            )
        self.onset = onset
        self.key = PROBE_KEYS + probe
        self.volumes = [(onset, 0.0)]
        self.beforehand = tuple(self._state_of_things(onset, state))
        self.events = [event for event in self.events if event.time >= onset - LEAD_IN]
        self.rows = np.zeros(1, L.INCIDENT)
        fork = History(self.p, history.state.copy(), self.rows, self._watch, name=self.design)
        fork.take_up(history.times, onset)
        fork.state[0].n_rows = 0
        self.previous = fork.state.copy()[0]
        self.start = self.narrator.situation(onset, self.previous)
        self._tell_onset(fork, onset, source, self.key)
        fork.run_probe(source, self.key)
        if fork.state[0].n_rows > self.previous.n_rows or fork.state[0].n_rows == 0:
            self._tell_end(fork.state)
        self.written = int(fork.state[0].n_rows)
        self.rows["weight"] = weight
        self.rows["probe"] = probe

    def _tell_onset(self, fork: History, onset: float, source: int, key: int) -> None:
        """Tell the leak's beginning, which no clock rings for, from a copy of the state."""
        state = fork.state.copy()
        add_leak(self.p, state[0], onset, source, key, np.full(L.CLOCKS, L.KEEP))
        what = f"“{self.scenario.source_names[source]}” starts to leak"
        if state[0].dropped > self.previous.dropped:
            what += f", while {L.SLOTS} leaks are open: it is left out"
        clock = int(L.FIRST_SOURCE) + source
        after = state[0]
        self.events.append(self.narrator.event(onset, clock, self.previous, after, self.rows, what))
        self.previous = after

    def _tell_end(self, state: Any) -> None:
        """Tell what is settled when the service life ends."""
        after = state.copy()[0]
        self.written = int(after.n_rows)
        end = float(self.p.service_life)
        written = self.rows[int(self.previous.n_rows) : int(after.n_rows)]
        details = tuple(self.narrator.outcome(row) for row in written)
        situation = self.narrator.situation(end, after)
        self.events.append(Event(end, "the service life ends", details, situation))

    def _placed(self, probe: int) -> tuple[int, float, float]:
        """Return source, time [s] and density [1/s] of a probe of this history."""
        setup = self.setup
        placed = placed_probes(setup.placement, setup.seed, self.number, setup.probes)
        found = placed[placed["number"] == probe][0]
        return int(found.source), float(found.time), float(found.density)

    def _begin(self) -> History:
        state = new_state(self.setup.seed, self.number)
        history = History(self.p, state, self.rows, watcher=self._watch, name=self.design)
        history.begin()
        self.previous = state.copy()[0]
        self.start = self.narrator.situation(0.0, self.previous)
        if self.previous.fitted_as != L.FITTED_UNTRIED:
            ended = f"the fitting test: {L.FITTED[int(self.previous.fitted_as)]}"
            self.events.append(Event(0.0, ended, (), self.start))
        return history

    def _watch(self, now: float, clock: int, state: Any) -> None:
        after = state.copy()
        event = self.narrator.event(now, int(clock), self.previous, after, self.rows)
        self.events.append(event)
        for field in _MARKS:
            if after[field] != self.previous[field]:
                self.since[field] = now
        for k in range(int(self.p.n_sensors)):
            if after.sensor_ok[k] != self.previous.sensor_ok[k]:
                self.since[f"sensor {k}"] = now
        self.previous = after
        if self.volumes:
            for slot in np.flatnonzero((after.leak_on == 1) & (after.leak_key == self.key)):
                self.volumes.append((now, float(after.leak_volume[slot])))

    def _state_of_things(self, now: float, s: Any) -> Iterator[str]:
        """Yield what is out of order, or worth knowing, at ``now``."""
        if NUMBERED[self.p.element_kind].closes:
            for field, wrong, text in _FAULTS:
                if s[field] == wrong and (field != "battery_ok" or self.p.battery_fitted == 1):
                    yield f"{text} {self._since(field, now)}"
            for k in self.narrator.fitted:
                if s.sensor_ok[k] == 0:
                    name = self.scenario.sensor_names[k]
                    yield f"sensor “{name}” dead {self._since(f'sensor {k}', now)}"
            if s.repair_due != L.NO_REPAIR:
                yield "a repair is pending"
            if s.gave_up == 1:
                yield "the actuator was taken off again"
            elif s.rung > 0:
                yield f"a stronger class is fitted than was bought, number {int(s.rung) + 1}"
        if s.spell == 1:
            yield "a severe spell is under way"
        if s.position != L.OPEN:
            yield f"the valve is not open, {self._since('position', now)}"
        if s.trip == 1:
            yield f"everybody away {self._since('trip', now)}"
        yield f"the valve was last moved {duration(now - float(s.moved_at))} before"

    def _since(self, mark: str, now: float) -> str:
        return f"for {duration(now - self.since.get(mark, 0.0))}"

    def told(self, probe: int | None) -> Replay:
        """Return what was written down."""
        rows = self.rows[: int(self.written)]
        table = incident_table(rows, self.scenario, (self.design,), self.setup.params)
        return Replay(
            scenario=self.scenario.name,
            design=self.design,
            currency=self.scenario.currency,
            seed=self.setup.seed,
            history=self.number,
            probe=probe,
            horizon=float(self.p.service_life),
            onset=self.onset,
            beforehand=self.beforehand,
            start=self.start,
            events=tuple(self.events),
            incidents=tuple(table.to_pylist()),
            volumes=tuple(self.volumes),
        )
