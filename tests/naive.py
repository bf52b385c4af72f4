"""Slow, plain simulators of small systems, written without the program's model or engines.

Each system draws the life of its parts first, as lists of times, and then asks what a leak at some
random moments of that life would do. Leaks are taken to be so rare that they leave the life as it
is (but for :class:`Busy`, where they do not). Nothing here imports the package; times are in
seconds, volumes in cubic metres, torques in newton metres.
"""

from __future__ import annotations

import math
from bisect import bisect_right
from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

MINUTE, HOUR, DAY, YEAR = 60.0, 3600.0, 86400.0, 365.25 * 86400.0
NEVER = math.inf
LITRE = 1e-3

AWAKE, ASLEEP, OUT, AWAY = "awake", "asleep", "out", "away"


@dataclass(frozen=True)
class Outcome:
    """What became of one leak: volume, loss, why automation failed ("" if it did not), who."""

    volume: float
    loss: float
    mode: str
    by: str


@dataclass(frozen=True)
class Spread:
    """A log-normal quantity: two thirds lie within a factor of ``spread`` of the median."""

    median: float
    spread: float

    def draw(self, rng: np.random.Generator) -> float:
        return self.median * math.exp(math.log(self.spread) * rng.standard_normal())


# --- people -----------------------------------------------------------------------------------


@dataclass(frozen=True)
class Day:
    """Clock hours of an ordinary day; between leave and back people are out by chance."""

    wake: float
    leave: float
    back: float
    sleep: float
    out_chance: float


class Week:
    """Where people are: a day plan for working days, one for the weekend, and trips on top."""

    def __init__(
        self,
        working: Day,
        weekend: Day,
        life: float,
        rng: np.random.Generator,
        stay: float = NEVER,
        trip: Spread | None = None,
        start_away: float = 0.0,
    ) -> None:
        self.changes = [0.0]
        self.states = [ASLEEP]
        days = int(life // DAY) + 2
        outs = rng.random(days)
        for number in range(days):
            plan = weekend if number % 7 >= 5 else working
            start = number * DAY
            self._add(start + plan.wake * HOUR, AWAKE)
            if outs[number] < plan.out_chance:
                self._add(start + plan.leave * HOUR, OUT)
                self._add(start + plan.back * HOUR, AWAKE)
            self._add(start + plan.sleep * HOUR, ASLEEP)
        self.trips: list[tuple[float, float]] = []
        if trip is not None:
            now = 0.0 if rng.random() < start_away else rng.exponential(stay)
            while now < life:
                length = trip.draw(rng)
                self.trips.append((now, now + length))
                now += length + rng.exponential(stay)
        self.starts = [start for start, _ in self.trips]
        self.turns = sorted(end for trip in self.trips for end in trip)

    def _add(self, time: float, state: str) -> None:
        self.changes.append(time)
        self.states.append(state)

    def trip_at(self, time: float) -> int | None:
        """Return the number of the trip under way, None at home."""
        number = bisect_right(self.starts, time) - 1
        return number if number >= 0 and time < self.trips[number][1] else None

    def arrives(self, time: float, travel: float) -> float:
        """Return when who sets out is there: at the end of a trip at the latest."""
        trip = self.trip_at(time)
        return time + travel if trip is None else min(time + travel, self.trips[trip][1])

    def at(self, time: float) -> str:
        if self.trip_at(time) is not None:
            return AWAY
        return self.states[bisect_right(self.changes, time) - 1]

    def next_change(self, time: float) -> float:
        """Return the next moment at which the state may be another."""
        turn = bisect_right(self.turns, time)
        later = self.turns[turn] if turn < len(self.turns) else NEVER
        return min(self.changes[bisect_right(self.changes, time)], later)


def when_noticed(
    start: float, end: float, week: Week, medians: dict[str, float], need: float
) -> float:
    """Return when ``need`` medians have passed, with another median in each state; or NEVER."""
    now, done = start, 0.0
    while now < end:
        median = medians.get(week.at(now), NEVER)
        until = week.next_change(now)
        if median < NEVER:
            reached = now + (need - done) * median
            if reached <= until:
                return reached if reached < end else NEVER
            done += (until - now) / median
        now = until
    return NEVER


# --- loss ---------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Damage:
    """From volume and wet time to money."""

    room: float = 12.0
    floor: float = 60.0
    film: float = 3e-3
    harmless: float = 5 * LITRE
    fixed: float = 300.0
    per_area: float = 70.0
    contents: float = 20.0
    wet_start: float = 24 * HOUR
    wet_full: float = 48 * HOUR
    wet_extra: float = 0.6
    units_below: int = 0
    through: float = 80 * LITRE
    per_unit: float = 500 * LITRE
    unit_loss: float = 4000.0
    cap: float = 20000.0
    severity: Spread = Spread(0.8, 1.8)

    def loss(self, volume: float, wet_time: float, rng: np.random.Generator) -> float:
        if volume <= self.harmless:
            return 0.0
        area = volume / self.film
        if area > self.room:
            area = min(self.room + (area - self.room) / 2, self.floor)
        grown = min(max((wet_time - self.wet_start) / (self.wet_full - self.wet_start), 0.0), 1.0)
        money = self.fixed + area * (self.per_area * (1 + self.wet_extra * grown) + self.contents)
        if volume > self.through:
            money += self.unit_loss * min(self.units_below, (volume - self.through) / self.per_unit)
        return min(money * self.severity.draw(rng), self.cap)


def judge(by: str, broken: str, could: bool, late: bool) -> str:
    """Return why automation did not stop a leak in time, "" when it did or was not needed.

    The first broken link, where there is one; "late" is left for a chain that held but was slow.
    """
    if by == "automation" and not late:
        return ""
    if broken:
        return broken
    if by != "nobody" and not late:
        return ""  # a person was faster, and nothing had failed
    if not could:
        return "not sensed"
    return "late" if late else ""


# --- A: dormant failures ------------------------------------------------------------------------


@dataclass(frozen=True)
class Dormant:
    """An actuator with dormant and detected failures, exercised and repaired; a person besides."""

    life: float = 10 * YEAR
    failure_rate: float = 0.25 / YEAR
    diagnostic: float = 0.3
    exercise: float = 90 * DAY
    coverage: float = 0.7
    repair: Spread = Spread(30 * DAY, 2.0)
    stroke: float = 5.0
    flow: float = 8 * LITRE / MINUTE
    drain: float = 2 * LITRE
    reaches: float = 0.8
    reach_volume: Spread = Spread(4 * LITRE, 2.0)
    working: Day = Day(7, 8.5, 16.5, 23, 0.6)
    weekend: Day = Day(8.5, 11, 15, 23.5, 0.5)
    stay: float = 60 * DAY
    trip: Spread = Spread(5 * DAY, 2.0)
    start_away: float = 0.1
    notice: float = 4 * MINUTE
    asleep_factor: float = 5.0
    notice_spread: float = 2.0
    knows: float = 0.4
    find_known: Spread = Spread(40.0, 1.5)
    find_unknown: Spread = Spread(25 * MINUTE, 2.0)
    screws: int = 4
    screw_time: Spread = Spread(20.0, 1.5)
    tool_at_hand: float = 0.4
    tool_search: Spread = Spread(4 * MINUTE, 2.0)
    access: float = 1.5
    turn: float = 2.0
    late: float = 60 * LITRE
    damage: Damage = Damage()

    def history(self, rng: np.random.Generator, leaks: int) -> list[Outcome]:
        week = Week(
            self.working, self.weekend, self.life, rng, self.stay, self.trip, self.start_away
        )
        knows = rng.random() < self.knows
        downs = self._downs(week, rng)
        return [
            self._leak(float(t), week, knows, downs, rng) for t in rng.random(leaks) * self.life
        ]

    def _downs(self, week: Week, rng: np.random.Generator) -> list[tuple[float, float, float]]:
        """Return (failed, found, repaired) for each failure; found by itself or an exercise.

        An exercise finds kinds of failure; nobody lets a repairer in during a trip.
        """
        downs = []
        now = 0.0
        while True:
            failed = now + rng.exponential(1 / self.failure_rate)
            if failed >= self.life:
                return downs
            found = failed
            if rng.random() >= self.diagnostic:
                if rng.random() >= self.coverage:
                    downs.append((failed, NEVER, NEVER))
                    return downs
                found = (math.floor(failed / self.exercise) + 1) * self.exercise
            now = found + self.repair.draw(rng)
            trip = week.trip_at(now)
            if trip is not None:
                now = week.trips[trip][1]
            downs.append((failed, found, now))

    def _leak(
        self,
        onset: float,
        week: Week,
        knows: bool,
        downs: list[tuple[float, float, float]],
        rng: np.random.Generator,
    ) -> Outcome:
        closes, broken = NEVER, ""
        met = rng.random() < self.reaches
        wet = onset + self.reach_volume.draw(rng) / self.flow
        if met:
            closes = wet + self.stroke
            for failed, found, repaired in downs:
                if failed <= wet < repaired:
                    # A repair that was already ordered ends the matter; an exercise is not made
                    # while water runs.
                    ordered = found <= onset or found == failed
                    closes = repaired + self.stroke if ordered else NEVER
                    broken = "actuator failed"
        medians = {AWAKE: self.notice, ASLEEP: self.notice * self.asleep_factor}
        need = Spread(1.0, self.notice_spread).draw(rng)
        noticed = when_noticed(onset, self.life, week, medians, need)
        hand = noticed + self._hands(knows, rng)
        if broken and hand <= wet:
            broken = ""  # nobody asked the actuator
        stopped = min(closes, hand, self.life)
        by = "nobody"
        if stopped < self.life:
            by = "automation" if closes <= hand else "hand"
        volume = self.flow * (stopped - onset) + (self.drain if by != "nobody" else 0.0)
        wet_time = min(max(stopped, noticed), self.life) - onset
        late = volume > self.late
        return Outcome(
            volume,
            self.damage.loss(volume, wet_time, rng),
            judge(by, broken, met, late),
            by,
        )

    def _hands(self, knows: bool, rng: np.random.Generator) -> float:
        time = self.find_known.draw(rng)
        if not knows:
            time += self.find_unknown.draw(rng)
        free = self.screws * self.screw_time.draw(rng)
        if rng.random() >= self.tool_at_hand:
            free += self.tool_search.draw(rng)
        return time + self.access * (free + 0.25 * self.turn)


# --- B: power -------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Power:
    """Outages, a battery that fades and fails unseen, radio sensors, people called by phone."""

    life: float = 8 * YEAR
    outage_rate: float = 30 / YEAR
    outage: Spread = Spread(10 * HOUR, 2.5)
    major_rate: float = 2 / YEAR
    major: float = 3 * DAY  # mean of an exponential
    supply_rate: float = 1.5 / YEAR
    supply_repair: Spread = Spread(8 * DAY, 1.5)
    energy: float = 12 * HOUR * 0.5  # J: twelve hours at 0.5 W
    standby: float = 0.5
    fade: float = 0.25 / YEAR
    battery_scale: float = 2.5 * YEAR
    battery_shape: float = 2.5
    change: float = 3 * YEAR
    test: float = 200 * DAY
    reaches: float = 0.85
    reach_volume: Spread = Spread(6 * LITRE, 2.0)
    sensor_rate: float = 0.8 / YEAR
    common: float = 0.5
    cell: Spread = Spread(3 * YEAR, 1.4)
    check: float = 1.5 * YEAR
    replacement: Spread = Spread(20 * DAY, 2.0)
    attempt_success: float = 0.5
    attempts: int = 2
    repeats: int = 3
    interval: float = 5 * MINUTE
    stroke: float = 4.0
    flow: float = 3 * LITRE / MINUTE
    drain: float = 1 * LITRE
    working: Day = Day(7, 9, 17, 22.5, 0.8)
    weekend: Day = Day(9, 12, 16, 23, 0.3)
    stay: float = 20 * DAY
    trip: Spread = Spread(8 * DAY, 1.8)
    start_away: float = 0.3
    power_off: float = 0.3  # chance per trip that they cut the power
    notice: float = 20 * MINUTE
    asleep_factor: float = 8.0
    notice_spread: float = 2.5
    phone_awake: float = 10 * MINUTE
    phone_asleep: float = 2 * HOUR
    phone_away: float = 30 * MINUTE
    phone_spread: float = 3.0
    travel_out: Spread = Spread(30 * MINUTE, 1.8)
    travel_away: Spread = Spread(15 * HOUR, 2.0)
    key_holder: float = 0.4
    key_holder_time: Spread = Spread(2 * HOUR, 2.0)
    find: Spread = Spread(60.0, 1.5)
    release: float = 10.0
    late: float = 100 * LITRE
    damage: Damage = Damage()

    def history(self, rng: np.random.Generator, leaks: int) -> list[Outcome]:
        week = Week(
            self.working, self.weekend, self.life, rng, self.stay, self.trip, self.start_away
        )
        mains = self._mains(rng)
        failures = joined([*mains, *self._supply(rng)])
        cut = [trip for trip in week.trips if rng.random() < self.power_off]
        mains = joined([*mains, *cut])
        dark = self._dark(joined([*failures, *cut]), failures, rng)
        sensors = self._sensors(rng)
        return [
            self._leak(float(t), week, mains, dark, sensors, rng)
            for t in rng.random(leaks) * self.life
        ]

    def _mains(self, rng: np.random.Generator) -> list[tuple[float, float]]:
        outages, now = [], 0.0
        total = self.outage_rate + self.major_rate
        while True:
            now += rng.exponential(1 / total)
            if now >= self.life:
                return outages
            ordinary = rng.random() * total < self.outage_rate
            length = self.outage.draw(rng) if ordinary else rng.exponential(self.major)
            outages.append((now, now + length))
            now += length

    def _supply(self, rng: np.random.Generator) -> list[tuple[float, float]]:
        downs, now = [], 0.0
        while True:
            now += rng.exponential(1 / self.supply_rate)
            if now >= self.life:
                return downs
            length = self.supply_repair.draw(rng)
            downs.append((now, now + length))
            now += length

    def _dark(
        self,
        offs: list[tuple[float, float]],
        failures: list[tuple[float, float]],
        rng: np.random.Generator,
    ) -> list[tuple[float, float]]:
        """Return when there is neither supply nor battery.

        Tests and changes are skipped while mains or supply have failed. During a trip they wait
        for people, and so for the power that these have cut.
        """
        visits = [(k * self.change, "change") for k in range(1, int(self.life / self.change) + 1)]
        visits += [(k * self.test, "test") for k in range(1, int(self.life / self.test) + 1)]
        lives = []  # (fitted, dies, replaced)
        fitted, dies = 0.0, self._battery_life(rng)
        for time, what in sorted(visits):
            if inside(failures, time) or (what == "test" and dies > time):
                continue
            lives.append((fitted, dies, time))
            fitted, dies = time, time + self._battery_life(rng)
        lives.append((fitted, dies, NEVER))
        dark = []
        for start, end in offs:
            fitted, dies, _ = next(life for life in lives if life[0] <= start < life[2])
            energy = self.energy * max(1 - self.fade * (start - fitted), 0.0)
            runs_to = min(start + energy / self.standby, dies)
            if runs_to < end:
                dark.append((max(runs_to, start), end))
        return dark

    def _battery_life(self, rng: np.random.Generator) -> float:
        return self.battery_scale * float(rng.weibull(self.battery_shape))

    def _sensors(self, rng: np.random.Generator) -> list[list[tuple[float, float]]]:
        """Return the dead times of the first sensor, unsupervised, and of the second, supervised.

        A shock kills both at once.
        """
        shocks = poisson_times(self.common * self.sensor_rate, self.life, rng)
        checks = [k * self.check for k in range(1, int(self.life / self.check) + 1)]
        sensors = []
        for supervised in (False, True):
            dead, now = [], 0.0
            while now < self.life:
                own = now + rng.exponential(1 / (self.sensor_rate * (1 - self.common)))
                shock = min([time for time in shocks if time > now], default=NEVER)
                dies = min(own, now + self.cell.draw(rng), shock)
                back = min([time for time in checks if time > dies], default=NEVER)
                if supervised:
                    back = min(back, dies + self.replacement.draw(rng))
                dead.append((dies, back))
                now = back
            sensors.append(dead)
        return sensors

    def _leak(
        self,
        onset: float,
        week: Week,
        mains: list[tuple[float, float]],
        dark: list[tuple[float, float]],
        sensors: list[list[tuple[float, float]]],
        rng: np.random.Generator,
    ) -> Outcome:
        met = [rng.random() < self.reaches for _ in sensors]
        wet = [onset + self.reach_volume.draw(rng) / self.flow for _ in sensors]
        # All reports, in order of time, as they would come if water ran on.
        reports = sorted(
            (wet[k] + number * self.interval, k, number)
            for k in (0, 1)
            if met[k]
            for number in range(self.repeats + 1)
        )
        home = when_noticed(
            onset,
            self.life,
            week,
            {AWAKE: self.notice, ASLEEP: self.notice * self.asleep_factor},
            Spread(1.0, self.notice_spread).draw(rng),
        )
        work = self.find.draw(rng) + self.release
        phone_need = Spread(1.0, self.phone_spread).draw(rng)
        travel = {
            OUT: self.travel_out.draw(rng),
            AWAY: self.key_holder_time.draw(rng)
            if rng.random() < self.key_holder
            else self.travel_away.draw(rng),
        }
        links = ["sensor dead", "message lost", "no power"]
        found, closes, told, worst = home, NEVER, False, -1
        done = [False, False]
        for time, k, _number in reports:
            hand = found + work
            over = max(min(closes, hand), found)
            dry = wet[k] >= min(closes, hand)  # the water was off before it came here
            if time >= over or done[k] or dry or time >= self.life:
                continue
            if inside(sensors[k], time):
                worst, done[k] = max(worst, 0), True
            elif all(rng.random() >= self.attempt_success for _ in range(self.attempts)):
                worst = max(worst, 1)
            elif inside(dark, time):
                worst = max(worst, 2)
            else:
                done[k] = True
                closes = min(closes, time + self.stroke)
                if not told and not inside(mains, time):  # the gateway needs the mains
                    told = True
                    found = min(found, self._called(time, week, phone_need, travel))
        hand = found + work
        stopped = min(closes, hand, self.life)
        by = "nobody"
        if stopped < self.life:
            by = "automation" if closes <= hand else "hand"
        volume = self.flow * (stopped - onset) + (self.drain if by != "nobody" else 0.0)
        wet_time = min(max(stopped, found), self.life) - onset
        broken = links[worst] if worst >= 0 else ""
        mode = judge(by, broken, any(met), volume > self.late)
        return Outcome(volume, self.damage.loss(volume, wet_time, rng), mode, by)

    def _called(self, sent: float, week: Week, need: float, travel: dict[str, float]) -> float:
        """Return when somebody stands before the leak after a message sent at ``sent``."""
        medians = {
            AWAKE: self.phone_awake,
            OUT: self.phone_awake,
            ASLEEP: self.phone_asleep,
            AWAY: self.phone_away,
        }
        seen = when_noticed(sent, self.life, week, medians, need)
        if seen >= self.life:
            return NEVER
        return week.arrives(seen, travel.get(week.at(seen), 0.0))


def inside(stretches: Iterable[tuple[float, float]], time: float) -> bool:
    return any(start <= time < end for start, end in stretches)


def joined(stretches: list[tuple[float, float]]) -> list[tuple[float, float]]:
    """Return overlapping stretches of time as one."""
    out: list[tuple[float, float]] = []
    for start, end in sorted(stretches):
        if out and start <= out[-1][1]:
            out[-1] = (out[-1][0], max(out[-1][1], end))
        else:
            out.append((start, end))
    return out


def poisson_times(rate: float, life: float, rng: np.random.Generator) -> list[float]:
    return sorted(rng.random(rng.poisson(rate * life)) * life)


# --- C: torque ------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Torque:
    """An ageing valve that stiffens while idle, a small actuator, gears that strip, weak hands."""

    automation: bool = True
    life: float = 12 * YEAR
    breakaway: Spread = Spread(4.0, 1.6)
    valve_age: float = 6 * YEAR
    age_growth: Spread = Spread(0.6, 1.8)  # what the age factor exceeds 1 by
    age_reference: float = 15 * YEAR
    idle_growth: float = 0.2
    idle_cap: float = 1.9
    idle_start: float = 3 * YEAR  # of a valve that nobody has moved
    seize: float = 12 * YEAR  # mean of an exponential idle time
    share_low: float = 0.5
    share_high: float = 0.9
    stall_torque: float = 11.0
    unit: Spread = Spread(0.95, 1.15)
    wear: float = 1e-2  # share lost per stroke
    strip: float = 0.15
    exercise: float = 60 * DAY
    coverage: float = 0.8
    repair: Spread = Spread(25 * DAY, 1.8)
    stroke: float = 3.0
    flow: float = 5 * LITRE / MINUTE
    drain: float = 3 * LITRE
    reach_volume: Spread = Spread(10 * LITRE, 1.8)
    notice: float = 6 * MINUTE
    notice_spread: float = 2.0
    find: Spread = Spread(60.0, 2.0)
    screws: int = 6
    screw_time: Spread = Spread(40.0, 1.5)
    turn: float = 2.0
    hand_torque: Spread = Spread(7.0, 1.4)
    upstream: Spread = Spread(40 * MINUTE, 2.0)
    late: float = 1e6
    damage: Damage = Damage()

    def history(self, rng: np.random.Generator, leaks: int) -> list[Outcome]:
        breakaway = self.breakaway.draw(rng)
        factor = 1 + self.age_growth.draw(rng)
        states = self._life(breakaway, factor, rng)
        starts = [state.start for state in states]
        return [
            self._leak(float(t), breakaway, factor, states[bisect_right(starts, float(t)) - 1], rng)
            for t in rng.random(leaks) * self.life
        ]

    def _required(
        self, breakaway: float, factor: float, time: float, idle: float, rng: np.random.Generator
    ) -> float:
        aged = 1 + (factor - 1) * (self.valve_age + time) / self.age_reference
        stiff = min(1 + self.idle_growth * math.log(1 + idle / (7 * DAY)), self.idle_cap)
        return breakaway * aged * stiff * rng.uniform(self.share_low, self.share_high)

    def _life(self, breakaway: float, factor: float, rng: np.random.Generator) -> list[_Stretch]:
        """Return the stretches of time between movements, stalls and repairs."""
        moved = 0.0 if self.automation else -self.idle_start
        now = _Stretch(0.0, moved, rng.exponential(self.seize), self.unit.draw(rng))
        states = [now]
        if not self.automation:
            return states
        repair_at = NEVER
        seen = rng.random() < self.coverage  # whether exercises find faults of this kind
        for number in range(1, int(self.life / self.exercise) + 1):
            time = number * self.exercise
            if time >= self.life:
                break
            if repair_at < time:
                now = self._mended(now, repair_at, rng)
                states.append(now)
                repair_at = NEVER
                seen = rng.random() < self.coverage
            faulty = now.stripped
            if not faulty:
                required = self._required(breakaway, factor, time, time - now.moved, rng)
                if time - now.moved > now.seize_after or now.broken:
                    faulty = True
                    now = now.then(time, broken=True)
                elif required > self.stall_torque * now.unit * (1 - self.wear * now.strokes):
                    faulty = True
                else:
                    now = _Stretch(
                        time,
                        time,
                        rng.exponential(self.seize),
                        now.unit,
                        strokes=now.strokes + 2,
                    )
                if faulty:
                    now = now.then(time, stripped=rng.random() < self.strip)
                states.append(now)
            if faulty and repair_at == NEVER and seen:
                repair_at = time + self.repair.draw(rng)
        if repair_at < self.life:
            states.append(self._mended(now, repair_at, rng))
        return states

    def _mended(self, now: _Stretch, time: float, rng: np.random.Generator) -> _Stretch:
        """Return the state after a repair: valve freed, a new unit only where gears had gone."""
        if now.stripped:
            return _Stretch(time, time, rng.exponential(self.seize), self.unit.draw(rng))
        return _Stretch(time, time, rng.exponential(self.seize), now.unit, strokes=now.strokes)

    def _leak(
        self,
        onset: float,
        breakaway: float,
        factor: float,
        state: _Stretch,
        rng: np.random.Generator,
    ) -> Outcome:
        wet = onset + self.reach_volume.draw(rng) / self.flow
        noticed = onset + self.notice * Spread(1.0, self.notice_spread).draw(rng)
        seized = state.broken or noticed - state.moved > state.seize_after
        hand = noticed + self.find.draw(rng)
        if self.automation:
            hand += self.screws * self.screw_time.draw(rng)
        torque = self._required(breakaway, factor, noticed, noticed - state.moved, rng)
        by = "hand"
        if seized or torque > self.hand_torque.draw(rng):
            by = "upstream"
            hand += self.upstream.draw(rng)
        else:
            hand += 0.25 * self.turn
        broken, closes = "", NEVER
        if self.automation and wet < hand:
            required = self._required(breakaway, factor, wet, wet - state.moved, rng)
            available = self.stall_torque * state.unit * (1 - self.wear * state.strokes)
            if state.stripped:
                broken = "gears stripped"
            elif state.broken or wet - state.moved > state.seize_after:
                broken = "valve seized"
            elif required > available:
                broken = "undersized torque"
            else:  # a motor slows in proportion to its load
                closes = wet + self.stroke / max(1 - required / available, 0.01)
        stopped = min(closes, hand, self.life)
        if closes <= hand:
            by = "automation"
        volume = self.flow * (stopped - onset) + self.drain
        wet_time = max(stopped, noticed) - onset
        mode = judge(by, broken, True, volume > self.late) if self.automation else "no automation"
        return Outcome(volume, self.damage.loss(volume, wet_time, rng), mode, by)


@dataclass(frozen=True)
class _Stretch:
    """The state of valve and actuator from ``start`` on."""

    start: float
    moved: float
    seize_after: float
    unit: float
    strokes: int = 0
    stripped: bool = False
    broken: bool = False

    def then(self, start: float, stripped: bool = False, broken: bool = False) -> _Stretch:
        return _Stretch(
            start,
            self.moved,
            self.seize_after,
            self.unit,
            self.strokes,
            self.stripped or stripped,
            self.broken or broken,
        )


# --- D: seeps, a flow rule, the unit below ----------------------------------------------------


@dataclass(frozen=True)
class Seep:
    """A seep that may burst, a rule on the meter with other limits when away, a neighbour below."""

    life: float = 6 * YEAR
    pressure: Spread = Spread(3e5, 1.3)
    full_flow: float = 25 * LITRE / MINUTE
    full_pressure: float = 3e5
    seeps: float = 0.6
    seep_flow: Spread = Spread(0.4 * LITRE / MINUTE, 2.5)
    growth: float = 10 * HOUR  # mean of an exponential
    hole: Spread = Spread(3e-3, 1.6)  # diameter
    discharge: float = 0.65
    drain: Spread = Spread(4 * LITRE, 1.5)
    seat: Spread = Spread(0.03 * LITRE / MINUTE, 2.0)
    film: Spread = Spread(2.5e-3, 1.3)
    rule_flow: float = 0.3 * LITRE / MINUTE
    rule_time: float = 2 * HOUR
    rule_volume: float = 300 * LITRE
    rule_time_away: float = 10 * MINUTE
    rule_volume_away: float = 20 * LITRE
    pulse: float = 10 * LITRE
    away_mode: float = 0.6
    stroke: float = 0.05
    working: Day = Day(6.5, 8, 17, 22, 0.7)
    weekend: Day = Day(8, 10, 14, 23, 0.5)
    stay: float = 12 * DAY
    trip: Spread = Spread(4 * DAY, 1.6)
    start_away: float = 0.25
    hidden: float = 2.0
    notice_burst: float = 15 * MINUTE
    notice_seep: float = 6 * HOUR
    asleep_factor: float = 4.0
    notice_spread: float = 1.8
    below_volume: float = 90 * LITRE
    below_notice: float = 2 * HOUR
    travel_out: Spread = Spread(40 * MINUTE, 1.6)
    travel_away: Spread = Spread(10 * HOUR, 1.8)
    find: Spread = Spread(90.0, 1.6)
    late: float = 120 * LITRE
    damage: Damage = Damage(units_below=2, per_unit=100 * LITRE, cap=30000.0)

    def history(self, rng: np.random.Generator, leaks: int) -> list[Outcome]:
        week = Week(
            self.working, self.weekend, self.life, rng, self.stay, self.trip, self.start_away
        )
        modes = rng.random(len(week.trips)) < self.away_mode
        pressure = self.pressure.draw(rng)
        seat = self.seat.draw(rng)
        return [
            self._leak(float(t), week, modes, pressure, seat, rng)
            for t in rng.random(leaks) * self.life
        ]

    def _burst_flow(self, pressure: float, rng: np.random.Generator) -> float:
        """Solve p = p0 (Q / Q0)^2 + rho / 2 (Q / (Cd A))^2 for Q."""
        opening = self.discharge * math.pi / 4 * self.hole.draw(rng) ** 2
        return math.sqrt(
            pressure / (self.full_pressure / self.full_flow**2 + 999.7 / 2 / opening**2)
        )

    def _leak(
        self,
        onset: float,
        week: Week,
        modes: np.ndarray,
        pressure: float,
        seat: float,
        rng: np.random.Generator,
    ) -> Outcome:
        burst = self._burst_flow(pressure, rng)
        flow, grows = burst, NEVER
        if rng.random() < self.seeps:
            flow = min(self.seep_flow.draw(rng), burst)
            grows = onset + rng.exponential(self.growth)
        first = flow
        home_need = Spread(1.0, self.notice_spread).draw(rng)
        below_need = Spread(1.0, self.notice_spread).draw(rng)
        travel = {OUT: self.travel_out.draw(rng), AWAY: self.travel_away.draw(rng)}
        find = self.find.draw(rng)
        drain = self.drain.draw(rng)

        now, volume = onset, 0.0
        enough = self.below_volume * (1 - 1e-9)
        seen = below = counted = 0.0  # progress of noticing, and of the flow rule
        counted_volume = counted_past = 0.0  # past: since a limit was reached
        bursting = grows == NEVER
        tripped = told = False
        found = arrives = hand = closes = stopped = NEVER
        by = "nobody"
        while now < self.life and not (stopped <= now and found <= now):
            running = stopped > now
            rate = flow if running else min(seat, flow)
            state = week.at(now)
            median = NEVER
            if state in (AWAKE, ASLEEP):
                median = self.hidden * (self.notice_burst if bursting else self.notice_seep)
                median *= self.asleep_factor if state == ASLEEP else 1.0
            trip = week.trip_at(now)
            tight = trip is not None and modes[trip]
            counts = running and rate >= self.rule_flow and not tripped

            upcoming = [self.life, week.next_change(now)]
            if found == NEVER:
                if median < NEVER:
                    upcoming.append(now + (home_need - seen) * median)
                if volume < enough:
                    upcoming.append(now + (self.below_volume - volume) / rate)
                elif not told:
                    upcoming.append(now + (below_need - below) * self.below_notice)
            upcoming += [time for time in (grows, arrives, hand, closes) if time > now]
            trips = NEVER
            if counts:
                longest = self.rule_time_away if tight else self.rule_time
                most = self.rule_volume_away if tight else self.rule_volume
                left = max(min(longest - counted, (most - counted_volume) / rate), 0.0)
                if left > 0:
                    counted_past = 0.0
                trips = now + left + max(self.pulse - counted_past, 0.0) / rate
                upcoming.append(trips)
            then = min(upcoming)

            passed = then - now
            shows = volume >= enough
            volume += rate * passed
            seen += passed / median
            if counts:
                counted += passed
                counted_volume += rate * passed
                counted_past += rate * max(passed - left, 0.0)
            if shows:
                below += passed / self.below_notice
            now = then
            if now >= self.life:
                break
            if now == grows:
                bursting, flow = True, max(flow, burst)
            if now == trips:
                tripped, closes = True, now + self.stroke
            noticed = found == NEVER and seen >= home_need * (1 - 1e-9)
            if found == NEVER and not told and below >= below_need * (1 - 1e-9):
                told = True
                if week.at(now) in (AWAKE, ASLEEP):
                    noticed = True
                else:
                    arrives = week.arrives(now, travel[week.at(now)])
            if noticed or (found == NEVER and now == arrives):
                found = now
                if stopped == NEVER:
                    hand = now + find
            if stopped == NEVER and now in (hand, closes):
                stopped = now
                by = "hand" if now == hand else "automation"
                volume += drain
        could = max(flow, first) >= self.rule_flow
        film = self.film.draw(rng)
        damage = Damage(**{**self.damage.__dict__, "film": film})
        return Outcome(
            volume,
            damage.loss(volume, min(now, self.life) - onset, rng),
            judge(by, "", could, volume > self.late),
            by,
        )


# --- E: leaks that meet each other's traces ------------------------------------------------------


@dataclass(frozen=True)
class Busy:
    """Leaks so frequent that they find faults; false alarms, people who switch off, hangs.

    Somebody is always awake at home, so that a leak is over within hours and leaks hardly meet.
    """

    life: float = 10 * YEAR
    leak_rate: float = 3 / YEAR
    failure_rate: float = 0.6 / YEAR
    exercise: float = 180 * DAY
    coverage: float = 0.5
    repair: Spread = Spread(40 * DAY, 2.0)
    stick: float = 0.05
    sensor_rate: float = 0.5 / YEAR
    check: float = 2 * YEAR
    nuisance: float = 4 / YEAR
    switch_off: float = 0.4
    off_time: Spread = Spread(30 * DAY, 2.0)
    hang_rate: float = 1 / YEAR
    hang_notice: float = 40 * DAY
    stroke: float = 2.0
    flow: float = 10 * LITRE / MINUTE
    reach_volume: Spread = Spread(3 * LITRE, 1.5)
    notice: float = 5 * MINUTE
    notice_spread: float = 1.5
    find: Spread = Spread(2 * MINUTE, 1.5)
    late: float = 1e6
    damage: Damage = Damage()

    def history(self, rng: np.random.Generator) -> tuple[list[Outcome], int]:
        """Return the leaks of one history, in order, and the number of nuisance closings."""
        due = {
            "leak": rng.exponential(1 / self.leak_rate),
            "failure": rng.exponential(1 / self.failure_rate),
            "exercise": self.exercise,
            "repair": NEVER,
            "sensor": rng.exponential(1 / self.sensor_rate),
            "check": self.check,
            "nuisance": rng.exponential(1 / self.nuisance),
            "switch on": NEVER,
            "hang": rng.exponential(1 / self.hang_rate),
            "restart": NEVER,
        }
        failed = sensor_dead = off = hung = False
        seen = rng.random() < self.coverage  # whether exercises find faults of this kind
        outcomes: list[Outcome] = []
        nuisances = 0
        while True:
            what = min(due, key=lambda name: due[name])
            now = due[what]
            if now >= self.life:
                return outcomes, nuisances
            due[what] = NEVER
            ready = not off and not hung
            if what == "leak":
                due["leak"] = now + rng.exponential(1 / self.leak_rate)
                outcome = self._leak(failed, sensor_dead, off, hung, rng)
                outcomes.append(outcome)
                if outcome.mode == "actuator failed" and due["repair"] == NEVER:
                    due["repair"] = now + self.repair.draw(rng)
                elif outcome.mode == "sensor dead":
                    sensor_dead = False
                    due["sensor"] = now + rng.exponential(1 / self.sensor_rate)
            elif what == "failure":
                failed = True
            elif what == "exercise":
                due["exercise"] = now + self.exercise
                faulty = failed or rng.random() < self.stick
                if ready and faulty and seen and due["repair"] == NEVER:
                    due["repair"] = now + self.repair.draw(rng)
            elif what == "repair":
                seen = rng.random() < self.coverage
                if not failed:  # nothing was wrong with it: adjusted
                    continue
                failed = False
                due["failure"] = now + rng.exponential(1 / self.failure_rate)
            elif what == "sensor":
                sensor_dead = True
            elif what == "check":
                due["check"] = now + self.check
                if sensor_dead:
                    sensor_dead = False
                    due["sensor"] = now + rng.exponential(1 / self.sensor_rate)
            elif what == "nuisance":
                due["nuisance"] = now + rng.exponential(1 / self.nuisance)
                if ready and not sensor_dead:
                    nuisances += not failed and rng.random() >= self.stick
                    if rng.random() < self.switch_off:
                        off = True
                        due["switch on"] = now + self.off_time.draw(rng)
            elif what == "switch on":
                off = False
            elif what == "hang":
                hung = True
                due["restart"] = now + rng.exponential(self.hang_notice)
            elif what == "restart":
                hung = False
                due["hang"] = now + rng.exponential(1 / self.hang_rate)

    def _leak(
        self, failed: bool, sensor_dead: bool, off: bool, hung: bool, rng: np.random.Generator
    ) -> Outcome:
        wet = self.reach_volume.draw(rng) / self.flow
        noticed = self.notice * Spread(1.0, self.notice_spread).draw(rng)
        hand = noticed + self.find.draw(rng)
        sticks = rng.random() < self.stick
        broken, closes = "", NEVER
        if wet < hand:
            if sensor_dead:
                broken = "sensor dead"
            elif hung:
                broken = "controller down"
            elif off:
                broken = "automation switched off"
            elif failed or sticks:
                broken = "actuator failed"
            else:
                closes = wet + self.stroke
        stopped = min(closes, hand)
        by = "automation" if closes <= hand else "hand"
        volume = self.flow * stopped
        mode = judge(by, broken, True, volume > self.late)
        return Outcome(volume, self.damage.loss(volume, max(stopped, noticed), rng), mode, by)


# --- from outcomes to numbers --------------------------------------------------------------------

Number = tuple[float, float]  # value and standard error


def mean(values: Iterable[float]) -> Number:
    data = np.asarray(list(values), float)
    return float(data.mean()), float(data.std(ddof=1) / math.sqrt(len(data)))


def summarise(histories: list[list[Outcome]]) -> dict[str, Number]:
    """Return means over leaks, with the spread between histories of equally many leaks."""
    numbers = {
        "loss": mean(np.mean([o.loss for o in leaks]) for leaks in histories),
        "volume": mean(np.mean([o.volume for o in leaks]) for leaks in histories),
        "failed": mean(np.mean([o.mode != "" for o in leaks]) for leaks in histories),
    }
    modes = {o.mode for leaks in histories for o in leaks} - {""}
    for mode in sorted(modes):
        numbers[mode] = mean(np.mean([o.mode == mode for o in leaks]) for leaks in histories)
    return numbers
