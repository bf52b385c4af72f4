"""A small dwelling as an ordinary SimPy program.

Written the way a user would who has no other tool: a process for each thing that happens, one
generator of random numbers, leaks that come by themselves, and a mean over many lives. Nothing of
the package is used for it. Times are in seconds, volumes in cubic metres.
"""

from __future__ import annotations

import math
import random
from collections.abc import Iterator
from dataclasses import dataclass, field

import simpy

MINUTE, HOUR, DAY, YEAR = 60.0, 3600.0, 86400.0, 365.25 * 86400.0
LITRE = 1e-3
NOBODY = math.inf

Median = tuple[float, float]  # median, factor that two thirds lie within
Steps = Iterator[simpy.Event]


@dataclass(frozen=True)
class System:
    """The dwelling's numbers; all are invented."""

    life: float = 10 * YEAR
    #: Leaks a year and flow of each source.
    sources: tuple[tuple[float, float], ...] = (
        (0.010 / YEAR, 14 * LITRE / MINUTE),
        (0.008 / YEAR, 4 * LITRE / MINUTE),
        (0.004 / YEAR, 0.6 * LITRE / MINUTE),
    )
    # people
    wake: float = 7.0
    leave: float = 8.5
    back: float = 17.0
    sleep: float = 23.0
    out_chance: float = 0.7
    stay: float = 45 * DAY  # mean of an exponential
    trip: Median = (4 * DAY, 2.0)
    start_away: float = 0.1
    notice: float = 5 * MINUTE
    asleep_factor: float = 8.0
    notice_spread: float = 2.5
    find: Median = (3 * MINUTE, 2.0)
    # automation
    stroke: float = 5.0
    reaches: float = 0.85
    reach_volume: Median = (5 * LITRE, 2.0)
    screws: int = 4
    screw_time: Median = (25.0, 1.5)
    failure_rate: float = 0.06 / YEAR
    diagnostic: float = 0.3
    exercise: float = 30 * DAY
    coverage: float = 0.8
    repair: Median = (25 * DAY, 2.0)
    sensor_rate: float = 0.04 / YEAR
    cell: Median = (5 * YEAR, 1.4)
    check: float = 1.0 * YEAR
    outage_rate: float = 3 / YEAR
    outage: Median = (1.5 * HOUR, 3.0)
    autonomy: float = 6 * HOUR
    nuisance: float = 0.4 / YEAR
    switch_off: float = 0.2
    off_time: Median = (30 * DAY, 2.0)
    # damage
    drain: float = 4 * LITRE
    room: float = 12.0
    floor: float = 75.0
    film: float = 3e-3
    harmless: float = 5 * LITRE
    fixed: float = 300.0
    per_area: float = 75.0
    contents: float = 25.0
    wet_start: float = 24 * HOUR
    wet_full: float = 48 * HOUR
    wet_extra: float = 0.5
    severity: Median = (0.85, 1.8)
    cap: float = 25000.0


@dataclass
class Leak:
    flow: float
    onset: float
    stopped: simpy.Event
    found: simpy.Event
    stopped_at: float = NOBODY
    found_at: float = NOBODY
    demanded: bool = False
    fault: str = ""


@dataclass
class Dwelling:
    """One life of the dwelling, with automation or without."""

    system: System
    automation: bool
    rng: random.Random
    env: simpy.Environment = field(default_factory=simpy.Environment)
    loss: float = 0.0
    leaks: int = 0

    def __post_init__(self) -> None:
        self.open: list[Leak] = []
        self.outs: dict[int, bool] = {}
        self.away = self.mains_off = self.switched_off = False
        self.failed = self.repair_ordered = self.sensor_dead = False
        self.dark_from = NOBODY
        self.turned = self.env.event()  # people leave on a trip or come back
        self.repaired = self.env.event()
        self.renewed = self.env.event()

    def live(self) -> float:
        """Live through the service life and return the loss of all leaks."""
        processes = [self._trips()]
        processes += [self._source(rate, flow) for rate, flow in self.system.sources]
        if self.automation:
            processes += [self._mains(), self._actuator(), self._exercise(), self._sensor()]
            processes += [self._checks(), self._nuisance()]
        for process in processes:
            self.env.process(process)
        self.env.run(until=self.system.life)
        for leak in self.open:
            self._settle(leak)
        return self.loss

    # --- chance ---------------------------------------------------------------------------------

    def _median(self, of: Median) -> float:
        return of[0] * math.exp(math.log(of[1]) * self.rng.gauss(0.0, 1.0))

    def _wait(self, rate: float) -> simpy.Event:
        return self.env.timeout(self.rng.expovariate(rate))

    # --- people ---------------------------------------------------------------------------------

    def _trips(self) -> Steps:
        if self.rng.random() >= self.system.start_away:
            yield self._wait(1 / self.system.stay)
        while True:
            self._turn(away=True)
            yield self.env.timeout(self._median(self.system.trip))
            self._turn(away=False)
            yield self._wait(1 / self.system.stay)

    def _turn(self, away: bool) -> None:
        self.away = away
        self.turned.succeed()
        self.turned = self.env.event()

    def _at_home(self) -> tuple[float, float]:
        """Return the median time to notice a leak here and now, and how long that holds."""
        s = self.system
        day, hour = divmod(self.env.now / HOUR + 1e-9, 24.0)
        number = int(day)
        if number not in self.outs:
            self.outs[number] = number % 7 < 5 and self.rng.random() < s.out_chance
        asleep = s.notice * s.asleep_factor
        stretches = [(s.wake, asleep), (s.sleep, s.notice), (24.0 + s.wake, asleep)]
        if self.outs[number]:
            stretches[1:2] = [(s.leave, s.notice), (s.back, NOBODY), (s.sleep, s.notice)]
        end, median = next(found for found in stretches if hour < found[0])
        return median, (end - hour) * HOUR

    def _person(self, leak: Leak) -> Steps:
        """Somebody notices, finds the valve, frees it and closes it."""
        s = self.system
        left = self._median((1.0, s.notice_spread))
        while left > 1e-9:
            start = self.env.now
            median, lasts = (NOBODY, math.inf) if self.away else self._at_home()
            step = min(left * median, lasts)
            if step == math.inf:
                yield self.turned
            else:
                yield self.env.timeout(step) | self.turned
            left -= (self.env.now - start) / median
        leak.found_at = self.env.now
        leak.found.succeed()
        work = self._median(s.find)
        if self.automation:
            work += s.screws * self._median(s.screw_time)
        yield self.env.timeout(work)
        self._stop(leak)

    # --- automation -----------------------------------------------------------------------------

    def _mains(self) -> Steps:
        while True:
            yield self._wait(self.system.outage_rate)
            self.mains_off = True
            self.dark_from = self.env.now + self.system.autonomy
            yield self.env.timeout(self._median(self.system.outage))
            self.mains_off, self.dark_from = False, NOBODY

    def _actuator(self) -> Steps:
        while True:
            yield self._wait(self.system.failure_rate)
            self.failed = True
            if self.rng.random() < self.system.diagnostic:
                self._order_repair()
            yield self.repaired

    def _exercise(self) -> Steps:
        while True:
            yield self.env.timeout(self.system.exercise)
            free = not (self.switched_off or self.mains_off or self.open)
            if free and self.failed and self.rng.random() < self.system.coverage:
                self._order_repair()

    def _order_repair(self) -> None:
        if not self.repair_ordered:
            self.repair_ordered = True
            self.env.process(self._repair())

    def _repair(self) -> Steps:
        yield self.env.timeout(self._median(self.system.repair))
        self.failed = self.repair_ordered = False
        self.repaired.succeed()
        self.repaired = self.env.event()
        for leak in self.open:
            if leak.demanded:
                self.env.process(self._close(leak))

    def _sensor(self) -> Steps:
        while True:
            own = self.rng.expovariate(self.system.sensor_rate)
            yield self.env.timeout(min(own, self._median(self.system.cell)))
            self.sensor_dead = True
            yield self.renewed

    def _checks(self) -> Steps:
        while True:
            yield self.env.timeout(self.system.check)
            self._renew_sensor()

    def _renew_sensor(self) -> None:
        if self.sensor_dead:
            self.sensor_dead = False
            self.renewed.succeed()
            self.renewed = self.env.event()

    def _nuisance(self) -> Steps:
        while True:
            yield self._wait(self.system.nuisance)
            dark = self.env.now >= self.dark_from
            if dark or self.switched_off or self.open:
                continue
            if self.rng.random() < self.system.switch_off:
                self.env.process(self._switch_off())

    def _switch_off(self) -> Steps:
        self.switched_off = True
        yield self.env.timeout(self._median(self.system.off_time))
        self.switched_off = False

    # --- leaks ----------------------------------------------------------------------------------

    def _source(self, rate: float, flow: float) -> Steps:
        while True:
            yield self._wait(rate)
            self.leaks += 1
            self.env.process(self._leak(flow))

    def _leak(self, flow: float) -> Steps:
        leak = Leak(flow, self.env.now, self.env.event(), self.env.event())
        self.open.append(leak)
        self.env.process(self._person(leak))
        if self.automation and self.rng.random() < self.system.reaches:
            self.env.process(self._sense(leak))
        yield leak.stopped & leak.found
        self.open.remove(leak)
        self._settle(leak)
        if leak.fault == "actuator":
            self._order_repair()
        elif leak.fault == "sensor":
            self._renew_sensor()

    def _sense(self, leak: Leak) -> Steps:
        yield self.env.timeout(self._median(self.system.reach_volume) / leak.flow)
        if leak.stopped.triggered:
            return
        if self.sensor_dead:
            leak.fault = "sensor"
        elif self.env.now < self.dark_from:
            leak.demanded = True
            if not self.switched_off:
                yield from self._close(leak)

    def _close(self, leak: Leak) -> Steps:
        if self.failed:
            leak.fault = "actuator"
            return
        yield self.env.timeout(self.system.stroke)
        self._stop(leak)

    def _stop(self, leak: Leak) -> None:
        if not leak.stopped.triggered:
            leak.stopped_at = self.env.now
            leak.stopped.succeed()

    def _settle(self, leak: Leak) -> None:
        """Add what the leak costs; at the end of the life as it stands."""
        s = self.system
        end = min(leak.stopped_at, s.life)
        volume = leak.flow * (end - leak.onset) + (s.drain if leak.stopped_at < s.life else 0.0)
        if volume <= s.harmless:
            return
        wet = min(max(leak.stopped_at, leak.found_at), s.life) - leak.onset
        area = volume / s.film
        if area > s.room:
            area = min(s.room + (area - s.room) / 2, s.floor)
        grown = min(max((wet - s.wet_start) / (s.wet_full - s.wet_start), 0.0), 1.0)
        money = s.fixed + area * (s.per_area * (1 + s.wet_extra * grown) + s.contents)
        self.loss += min(money * self._median(s.severity), s.cap)


def simulate(system: System, automation: bool, lives: int, seed: int) -> list[float]:
    """Return the loss a year of each of so many lives."""
    rng = random.Random(seed)
    years = system.life / YEAR
    return [Dwelling(system, automation, rng).live() / years for _ in range(lives)]
