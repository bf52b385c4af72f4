"""What happened, in words: the state before and after a clock has rung."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Any, NamedTuple

from shutoffsim.model import actuator, detection, motor, power, valve
from shutoffsim.model import layout as L
from shutoffsim.model.elements import NUMBERED
from shutoffsim.study.situation import POSITIONS, Situation, describe
from shutoffsim.study.words import duration, flow, torque, volume

_PURPOSES = {
    int(L.CLOSE_LEAK): "because of the leak",
    int(L.CLOSE_AWAY): "because everybody is away",
    int(L.CLOSE_POWER): "because the power is out",
    int(L.CLOSE_NUISANCE): "because of the false alarm",
}
# Details that do not make a quiet event worth showing.
_ORDINARY = {"the battery takes over", "there is no power at all"}
# Quiet happenings: (one, several).
NOTHING = ("event without consequence", "events without consequence")
EXERCISE = ("successful exercise", "successful exercises")
OUTAGE = ("mains outage", "mains outages")
WEATHER = ("severe spell", "severe spells")
TRIP = ("trip", "trips")
HANG = ("controller hang", "controller hangs")
SEQUEL = ("", "")  # the end of something quiet, which was counted when it began
UPKEEP = ("test without findings", "tests without findings")
PRESENCE = ("change of presence", "changes of presence")


@dataclass(frozen=True)
class Event:
    """Something that happened.

    Attributes
    ----------
    time : float
        Since commissioning, s.
    what : str
        In one sentence.
    details : tuple of str
        What followed from it at once.
    situation : Situation
        How things stand afterwards.
    quiet : tuple of str
        Its kind, for one and for several, when it had no consequence; else empty.
    """

    time: float
    what: str
    details: tuple[str, ...]
    situation: Situation
    quiet: tuple[str, ...] = ()


class Moment(NamedTuple):
    """A time [s], and the state before and after what happened then."""

    now: float
    before: Any
    after: Any


class Narrator:
    """Tells the changes of one design's state.

    Parameters
    ----------
    p : record
        Parameters of the design.
    sources, sensors, zones : tuple of str
        Names by index.
    currency : str
    """

    def __init__(
        self,
        p: Any,
        sources: tuple[str, ...],
        sensors: tuple[str, ...],
        zones: tuple[str, ...],
        currency: str,
    ) -> None:
        self.p = p
        self.sources = sources
        self.sensors = sensors
        self.zones = zones
        self.currency = currency
        self.fitted = [k for k in range(int(p.n_sensors)) if p.sensor_reach_chance[k] > 0.0]
        self._headlines: dict[int, Callable[[Moment], tuple[str, Any]]] = {
            int(L.WEATHER): self._weather,
            int(L.OUTAGE): self._outage,
            int(L.TRIP): self._trip,
            int(L.PRESENCE): self._presence,
            int(L.STROKE): self._stroke,
            int(L.RETRY): self._retry,
            int(L.POLICY): self._policy,
            int(L.EXERCISE): self._exercise,
            int(L.NUISANCE): self._nuisance,
            int(L.SWITCH_ON): lambda _: ("the automation is switched on again", ()),
            int(L.ACTUATOR): self._failure,
            int(L.CONTROLLER): self._controller,
            int(L.SUPPLY): self._supply,
            int(L.BATTERY_LIFE): lambda _: ("the battery fails, undetected", ()),
            int(L.BATTERY_CHANGE): self._battery_care,
            int(L.BATTERY_TEST): self._battery_care,
            int(L.BATTERY_EMPTY): lambda _: ("the battery is empty: no power at all", ()),
            int(L.REPAIR): self._repair,
            int(L.OWNER_TEST): self._owner_test,
            int(L.VISIT): self._visit,
            int(L.WATER_BACK): self._water_back,
            int(L.SENSOR_CHECK): lambda _: ("the sensors are tested by hand", UPKEEP),
            int(L.RETIGHTEN): self._retighten,
            int(L.PICKUP): self._pickup,
            int(L.PRESSURE_TEST): self._pressure_test,
            int(L.SENSOR_SHOCK): lambda _: ("a common cause disables all sensors", ()),
        }

    def situation(self, now: float, s: Any) -> Situation:
        """Return how things stand at ``now`` [s]."""
        return describe(self.p, self.fitted, now, s)

    def event(
        self, now: float, clock: int, before: Any, after: Any, rows: Any, what: str = ""
    ) -> Event:
        """Return what the ring of ``clock`` at ``now`` [s] did.

        Parameters
        ----------
        now : float
        clock : int
        before, after : record
            The state before and after.
        rows : record array
            Where incidents are written.
        what : str
            A headline of the caller's own.
        """
        quiet: tuple[str, ...] = ()
        if not what:
            what, quiet = self._headline(now, clock, before, after)
        details = tuple(self._consequences(now, clock, before, after, rows))
        leaking = before.open_leaks > 0 or after.open_leaks > 0
        if (leaking and quiet not in (NOTHING, UPKEEP, PRESENCE)) or not set(details) <= _ORDINARY:
            quiet = ()
        return Event(now, what, details, self.situation(now, after), quiet)

    def _headline(self, now: float, clock: int, before: Any, after: Any) -> tuple[str, Any]:
        sensors = int(L.FIRST_SOURCE + self.p.n_sources)
        leaks = sensors + int(self.p.n_sensors)
        if clock >= leaks:
            slot, what = divmod(clock - leaks, len(L.LEAK_CLOCKS))
            return self._leak_clock(what, slot, before, after), ()
        if clock >= sensors:
            name = self.sensors[clock - sensors]
            if after.sensor_ok[clock - sensors] == 1:
                return f"the dead sensor “{name}” is replaced", ()
            known = self.p.sensor_supervised[clock - sensors] == 1
            return f"sensor “{name}” dies" + (", detected" if known else ", undetected"), ()
        if clock >= L.FIRST_SOURCE:
            return self._source(clock - int(L.FIRST_SOURCE), before, after)
        return self._headlines[clock](Moment(now, before, after))

    def _weather(self, m: Moment) -> tuple[str, Any]:
        if m.after.spell == m.before.spell:
            return "no severe spell begins", NOTHING
        return (
            ("a severe spell begins", WEATHER) if m.after.spell == 1 else ("the spell ends", SEQUEL)
        )

    def _outage(self, m: Moment) -> tuple[str, Any]:
        if m.after.mains == m.before.mains:
            return "no outage begins", NOTHING
        if m.after.mains == 1:
            return "mains power returns", SEQUEL
        return "mains power fails", OUTAGE

    def _trip(self, m: Moment) -> tuple[str, Any]:
        if m.now == 0.0:
            return (
                f"commissioning; {'everybody is away' if m.after.trip else 'people are there'}",
                (),
            )
        if m.after.trip == 1:
            mode = ", away mode is set" if m.after.away_mode == 1 else ""
            by_hand = m.after.position == L.SHUT and m.before.position != L.SHUT
            shut = ", and they shut the valve by hand first" if by_hand else ""
            off = m.after.main_switch != L.SWITCH_ON_NOW
            cut = ", and they cut the power of the house" if off else ""
            return f"everybody leaves on a trip{mode}{shut}{cut}", TRIP
        return "people come back from the trip", SEQUEL

    def _presence(self, m: Moment) -> tuple[str, Any]:
        return f"people are now {L.PRESENCE_NAMES[int(m.after.presence)]}", PRESENCE

    def _stroke(self, m: Moment) -> tuple[str, Any]:
        tried = {int(L.EXERCISING): "exercise", int(L.TESTING): "test at an open tap"}
        exercise = tried.get(int(m.before.stroke))
        begun = m.after.demands > m.before.demands  # the next stroke began at once
        outcome = int(m.before.outcome if begun else m.after.outcome)
        if m.before.stroke == L.HOLDING_PRESSURE:
            return self._pressure_judged(m, outcome)
        if exercise:
            if outcome == L.MODE_NONE:
                return f"the {exercise} succeeds", EXERCISE
            due = m.after.repair_due != L.NO_REPAIR
            seen = "" if due else "; nothing that is fitted shows it"
            return f"the {exercise} fails: {L.MODES[outcome]}{seen}", ()
        if m.after.position == L.SHUT and m.before.position != L.SHUT:
            return "the valve is shut", ()
        if outcome == L.MODE_NONE:
            return "the valve has closed and is opened again", ()
        return f"the closing fails: {L.MODES[outcome]}", ()

    def _retry(self, m: Moment) -> tuple[str, Any]:
        if m.after.demands > m.before.demands:
            return "another attempt", ()
        return "no further attempt is needed or possible", ()

    def _policy(self, m: Moment) -> tuple[str, Any]:
        if m.after.demands > m.before.demands:
            return "the power stays out", ()
        return "the power stays out, but the valve cannot be shut", ()

    def _exercise(self, m: Moment) -> tuple[str, Any]:
        if m.after.demands > m.before.demands:
            return "an exercise begins", SEQUEL
        return "the exercise is postponed", NOTHING

    def _visit(self, m: Moment) -> tuple[str, Any]:
        finds = m.after.leak_found.sum() > m.before.leak_found.sum()
        if finds:
            return "the caretaker finds the leak", ()
        if m.after.battery_new_at > m.before.battery_new_at:
            return "the caretaker puts a new battery in", ()
        return "the caretaker sees nothing", UPKEEP

    def _owner_test(self, m: Moment) -> tuple[str, Any]:
        if m.after.demands > m.before.demands:
            return "people try it with a tap open", SEQUEL
        return "nobody tries it", NOTHING

    def _pressure_test(self, m: Moment) -> tuple[str, Any]:
        if m.after.demands > m.before.demands:
            return "the valve shuts for the pressure test", SEQUEL
        return "no pressure test this night", NOTHING

    def _pressure_judged(self, m: Moment, outcome: int) -> tuple[str, Any]:
        if outcome != L.MODE_NONE:
            return f"the valve does not shut for the pressure test: {L.MODES[outcome]}", ()
        if m.after.stuck_shut > m.before.stuck_shut:
            return "the valve has shut for the pressure test, and cannot be opened again", ()
        if m.after.position == L.SHUT:
            return "the pressure falls too fast: the valve stays shut", ()
        if m.after.open_leaks > 0:
            return "the pressure test finds nothing: too little is lost, or water was drawn", ()
        return "the pressure holds", EXERCISE

    def _retighten(self, m: Moment) -> tuple[str, Any]:
        if m.after.n_repairs > m.before.n_repairs:
            return "people tighten the mount", UPKEEP
        return "nobody tightens the mount", NOTHING

    def _pickup(self, m: Moment) -> tuple[str, Any]:
        if m.after.pickup_ok > m.before.pickup_ok:
            return "the pickup at the meter is replaced", ()
        if m.after.pickup_ok == m.before.pickup_ok:
            return "nobody is there yet to replace the pickup", NOTHING
        seen = "missed" if m.after.pickup_ordered == 1 else "undetected"
        return f"the pickup at the meter fails, {seen}", ()

    def _water_back(self, m: Moment) -> tuple[str, Any]:
        if m.after.position == L.OPEN and m.before.position == L.SHUT:
            who = "a plumber gives" if m.before.water_back == L.PLUMBER_COMES else "somebody gives"
            return f"{who} the water back", ()
        if m.after.water_back == L.PLUMBER_COMES:
            return "no hand can open the valve: a plumber is called", ()
        if m.after.water_back == L.AT_IT:
            return "somebody finds the taps dry", SEQUEL
        return "nobody is there yet to find the taps dry", NOTHING

    def _repair(self, m: Moment) -> tuple[str, Any]:
        if m.after.repair_due == L.REPAIR_WAITS:
            return "the repair waits until somebody is there", ()
        return "somebody comes to repair", ()

    def _nuisance(self, m: Moment) -> tuple[str, Any]:
        if m.after.demands > m.before.demands:
            return "a false alarm", ()
        return "a false alarm without effect", NOTHING

    def _failure(self, m: Moment) -> tuple[str, Any]:
        known = m.after.repair_due == 1 and m.before.repair_due == 0
        return "the actuator fails" + (", detected" if known else ", undetected"), ()

    def _controller(self, m: Moment) -> tuple[str, Any]:
        if m.after.controller == 1:
            return "the controller runs again", SEQUEL
        restarts = (
            f", restarts in {duration(self.p.controller_restart_time)}"
            if self.p.controller_watchdog == 1
            else ""
        )
        return f"the controller hangs{restarts}", HANG if self.p.controller_watchdog == 1 else ()

    def _supply(self, m: Moment) -> tuple[str, Any]:
        if m.after.supply_ok == 1:
            return "the power supply has been replaced", ()
        return "the power supply fails", ()

    def _battery_care(self, m: Moment) -> tuple[str, Any]:
        if m.after.battery_new_at == m.now:
            found = m.before.battery_ok == 0
            return "the battery is replaced" + (": it was dead" if found else ""), ()
        return "the battery passes its test", UPKEEP

    def _source(self, i: int, before: Any, after: Any) -> tuple[str, Any]:
        if after.leaks == before.leaks:
            return f"“{self.sources[i]}” does not leak after all", NOTHING
        if after.dropped > before.dropped:
            return f"“{self.sources[i]}” leaks too, while {L.SLOTS} leaks are open: left out", ()
        return f"“{self.sources[i]}” starts to leak", ()

    def _leak_clock(self, what: int, slot: int, before: Any, after: Any) -> str:
        if what == L.GROW:
            return f"the seep becomes a burst, {flow(after.leak_full[slot])}"
        if what == L.REPORT:
            return self._report(slot, before, after)
        if what == L.RULE:
            if before.pickup_ok == 0:
                return "the flow rule does not trip: nothing counts the meter's pulses"
            if after.leak_rule[slot] == 1:
                return "the flow rule trips"
            return "the flow rule would trip, but the controller is down"
        if what == L.BREAKER:
            if not power.house_is_live(before):
                return "the water reaches what would be live: no power when it returns"
            return "the water trips the earth-leakage breaker: no power in the house"
        if what == L.HOME:
            return "somebody at home notices the leak"
        if what == L.NEAR:
            return "the neighbour below notices and calls"
        if what == L.CALL:
            return "the notification is read"
        if before.leak_coming[slot] == L.TRAVELLING:
            return "somebody arrives"
        if before.leak_stopped[slot] == 1:
            return "the person at the valve finds it shut"
        return f"the water is shut off by {L.STOPPERS[int(before.leak_hands_by[slot])]}"

    def _report(self, slot: int, before: Any, after: Any) -> str:
        k = int(before.leak_next[slot])
        name = f"sensor “{self.sensors[k]}”"
        if before.sensor_ok[k] == 0:
            return f"water reaches {name}, which is dead"
        if after.leak_votes[slot] > before.leak_votes[slot]:
            return f"{name} reports water"
        why = "does not get through"
        if after.leak_mode[slot] > before.leak_mode[slot]:
            why += f": {L.MODES[int(after.leak_mode[slot])]}"
        if after.report[slot, k] == L.UNHEARD:
            why += "; it is asked again when somebody can listen"
        return f"the report of {name} {why}"

    def _consequences(
        self, now: float, clock: int, before: Any, after: Any, rows: Any
    ) -> Iterator[str]:
        if after.battery_ok == 1 and before.battery_ok == 0 and clock > L.FIRST_SOURCE:
            yield "the dead battery is replaced"
        lost = power.is_supplied(before) and not power.is_supplied(after)
        if lost and clock != L.SUPPLY and NUMBERED[self.p.element_kind].closes:
            on_battery = power.power_source(self.p, after) == power.ON_BATTERY
            yield "the battery takes over" if on_battery else "there is no power at all"
        for slot in range(L.SLOTS):
            yield from self._leak(slot, before, after)
        yield from self._strokes(now, before, after)
        if after.position != before.position and clock != L.STROKE:
            yield f"the valve is now {POSITIONS[int(after.position)]}"
        elif after.position == L.OPEN and before.position != L.OPEN:
            yield "the valve is opened again"
        yield from self._equipment(clock, before, after)
        for row in rows[int(before.n_rows) : int(after.n_rows)]:
            yield self.outcome(row)

    def _strokes(self, now: float, before: Any, after: Any) -> Iterator[str]:
        if after.demands <= before.demands or after.stroke in (L.EXERCISING, L.TESTING):
            return
        reason = _PURPOSES.get(int(after.stroke), "")
        yield f"the actuator is commanded to close {reason}".rstrip()
        if NUMBERED[self.p.element_kind].drive == "motor":
            source = power.power_source(self.p, after)
            if source == power.DARK or after.burnt or after.failed or after.stripped:
                return
            volts, ohms = self.p.supply_voltage, self.p.supply_resistance
            if source == power.ON_BATTERY:
                volts, ohms = self.p.battery_voltage, self.p.battery_resistance
            share = actuator.stroke_draw(after, actuator.SHARE)
            need = float(valve.closing_torque(self.p, after, now, share))
            have = float(motor.available_torque(self.p, after, now, volts, ohms))
            needed = "is seized" if math.isinf(need) else f"needs {torque(need)}"
            yield f"the valve {needed}; the actuator gives {torque(have)}"

    def _leak(self, slot: int, before: Any, after: Any) -> Iterator[str]:
        was, now_on = before.leak_on[slot] == 1, after.leak_on[slot] == 1
        if not was and not now_on:
            return
        if not was:
            yield from self._paths(slot, after)
            return
        if after.leak_demanded[slot] == 1 and before.leak_demanded[slot] == 0:
            yield "the controller orders the valve shut"
        if after.leak_siren[slot] == 1 and before.leak_siren[slot] == 0:
            sounds = detection.siren_sounds(self.p, after, slot)
            if self.p.siren_fitted == 1:
                yield "the siren sounds" if sounds else "the siren has no power"
        if after.leak_phone[slot] == 1 and before.leak_phone[slot] == 0:
            yield "a notification goes out"
        if after.leak_mode[slot] > before.leak_mode[slot]:
            yield f"broken link: {L.MODES[int(after.leak_mode[slot])]}"
        if after.leak_found[slot] == 1 and before.leak_found[slot] == 0:
            yield "a person now knows of the leak"
        if after.leak_coming[slot] != before.leak_coming[slot]:
            left = duration(float(after.leak_hands[slot]))
            if after.leak_coming[slot] == L.TRAVELLING:
                yield f"somebody sets off, arriving in {left}"
            elif after.leak_coming[slot] == L.WORKING:
                yield f"a person goes to the valve; expected to be shut in {left}"
        if after.leak_stopped[slot] == 1 and before.leak_stopped[slot] == 0:
            yield f"the flow stops; escaped so far: {volume(float(after.leak_volume[slot]))}"
            if after.leak_drain[slot] > 0.0:
                stored, slow = after.leak_drain[slot], after.leak_drain_flow[slot]
                yield f"{volume(float(stored))} in the pipes above run out at {flow(float(slow))}"
        elif after.leak_stopped[slot] == 0 and before.leak_stopped[slot] == 1:
            yield "the leak continues"

    def _paths(self, slot: int, after: Any) -> Iterator[str]:
        source = int(after.leak_source[slot])
        zone = self.zones[int(self.p.source_zone[source])] if self.zones else ""
        kind = "a burst" if after.leak_burst[slot] == 1 else "a seep"
        place = f" in “{zone}”" if zone else ""
        yield f"{kind}{place}, {flow(float(after.leak_first[slot]))} with the valve open"
        if after.leak_burst[slot] == 0 and math.isfinite(after.leak_grow[slot]):
            yield f"it would become a burst after {duration(float(after.leak_grow[slot]))}"
        reached = [
            f"“{self.sensors[k]}” after {volume(float(after.reach_volume[slot, k]))}"
            for k in range(int(self.p.n_sensors))
            if math.isfinite(after.reach_volume[slot, k])
        ]
        if self.fitted:
            yield (
                "in the water's path: sensor " + ", ".join(reached)
                if reached
                else ("no sensor is in the water's path")
            )
        if after.leak_stopped[slot] == 1:
            yield "the valve is shut already"

    def _equipment(self, clock: int, before: Any, after: Any) -> Iterator[str]:
        broken = (
            ("burnt", "the motor's winding burns"),
            ("stripped", "the gears strip"),
            ("slipped", "the mount slips"),
        )
        for field, text in broken:
            if after[field] == 1 and before[field] == 0:
                yield text
        if after.stuck_shut == 1 and before.stuck_shut == 0:
            yield "the actuator cannot open the valve again: it is stuck shut"
        if after.broken > before.broken:
            how = ": its stem has sheared" if after.broken == L.SHEARED else ""
            yield f"the valve can no longer be turned{how}"
        yield from self._repairs(before, after)
        if after.controller == 0 and before.controller == 1 and clock != L.CONTROLLER:
            yield "the controller loses its supply and restarts"
        if after.believed_shut == 1 and after.position != L.SHUT and before.believed_shut == 0:
            yield "everybody believes that the valve is shut"
        if after.switched_off == 1 and before.switched_off == 0:
            yield "people switch the automation off"
        if after.repair_due == 1 and before.repair_due == 0 and clock != L.ACTUATOR:
            yield "a repair is ordered"
        for k in range(int(self.p.n_sensors)):
            own = clock == L.FIRST_SOURCE + self.p.n_sources + k
            if after.sensor_ok[k] != before.sensor_ok[k] and not own:
                fate = "is replaced" if after.sensor_ok[k] == 1 else "dies"
                yield f"sensor “{self.sensors[k]}” {fate}"

    def _repairs(self, before: Any, after: Any) -> Iterator[str]:
        acts = [
            name
            for name, old, new in zip(L.REPAIRS, before.repairs, after.repairs, strict=True)
            if new > old
        ]
        cost = float(after.repair_cost - before.repair_cost)
        if acts:
            price = f" for {cost:,.0f} {self.currency}" if cost > 0.0 else ""
            by_hand = after.n_repairs == before.n_repairs  # sensors and batteries
            who = "owner" if by_hand else L.MENDERS[int(after.mended_by)]
            yield f"repaired by the {who}{price}: {', '.join(acts)}"

    def outcome(self, row: Any) -> str:
        """Return how an incident ended, in one sentence."""
        end = f"over: {volume(float(row['volume']))} escaped, loss {row['loss']:,.0f} "
        end += f"{self.currency}; stopped by {L.STOPPERS[int(row['stopped_by'])]}"
        if row["stopped_by"] == L.BY_NOBODY:
            end = end.replace("stopped by nobody", "still open at the end")
        mode = int(row["mode"])
        if mode > L.MODE_NO_AUTOMATION:
            end += f"; failure mode: {L.MODES[mode]}"
        return end
