"""Sensible behaviour: which way a change must move a result, checked on common random numbers."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Literal

import numpy as np

from makers import DOCS, Files
from makers.markdown import table
from shutoffsim.engine.run import Setup, run_chunk
from shutoffsim.model import layout as L
from shutoffsim.scenario import loads

HISTORIES = 384
PROBES = 16
SEED = 20

Level = Literal["leak by leak", "history by history", "on average"]

# A small dwelling; what a statement is not about is switched off, so that it stands alone. Leaks
# are so rare that none comes before the probe and moves the valve, or has a fault mended.
BASE = """
name = "directions"
currency = "EUR"
service_life = "10 years"
[dwelling]
units_below = 2
evaporation = "0 mm/h"
[zones.kitchen]
[leaks.hose]
kind = "appliance hose"
zone = "kitchen"
rate = "0.00002 per year"
seep_share = 0
[leaks.joint]
kind = "pipe joint"
zone = "kitchen"
rate = "0.00002 per year"
[sensors.kitchen]
zone = "kitchen"
[sensors.second]
zone = "kitchen"
fitted = false
[valve]
type = "lever ball DN15"
opening_share = 0
[actuator]
class = "geared motor, 10 N*m"
strip_chance = 0
[mount]
kind = "quick release, metal"
slip_torque = "200 N*m"
[mains]
breaker_chance = 0
[nuisance]
switch_off_chance = 0
[commissioning]
test = "none"
[repairs]
next_class_after = 0
[people]
shut_on_leaving = 0
power_off_on_leaving = 0
"""


@dataclass(frozen=True)
class Direction:
    """A change and what it must do.

    Attributes
    ----------
    change, effect : str
        In words.
    before, after : str
        The two designs as TOML, on top of the base.
    figure : str
        A field of the incident rows, a failure mode, ``"leaks"``, or a field of the summary.
    rises : bool
        Whether the figure must not fall (else must not rise).
    level : str
        How strictly: leak by leak and history by history are guaranteed by the model on the same
        draws; on average is a paired difference beyond two standard errors.
    """

    change: str
    effect: str
    before: str
    after: str
    figure: str
    rises: bool
    level: Level


@dataclass(frozen=True)
class Outcome:
    """What a run said of a direction.

    Attributes
    ----------
    before, after, difference, std_error : float
        Means over histories (of sums over leaks, weighted), and their paired difference.
    violations, cases : int
        At the level of the direction: cases that went the wrong way, of how many.
    """

    before: float
    after: float
    difference: float
    std_error: float
    violations: int
    cases: int
    holds: bool


CLAMP = 'element.kind = "clamped actuator"'
PERSON = 'element.kind = "none"'
EMPTY = 'people.trips = true\npeople.start_away = 1\npeople.trip = "30 years"'
# Unmoved but by leaks: what an earlier stall brought to light would be repaired meanwhile.
NO_EXERCISE = f'{CLAMP}\nexercise.interval = "never"\nnuisance.rate_per_sensor = "0 per year"'
# Stiff enough to slip in the course of years.
SLIPPING = f"{CLAMP}\nmount.slip_torque = '4 N*m'\nactuator.retries = 0"

# Nothing that closes by itself works: a person must.
DEAD = f"{CLAMP}\nactuator.stall_torque = '1 N*m'\nactuator.no_load_current = '0.01 A'"
RULE = f"{CLAMP}\nflow_rule.fitted = true\nnuisance.rule_rate = '0 per year'"
RELAXING = f"{NO_EXERCISE}\nmount.slip_torque = '10 N*m'\nmount.creep = 0.08"
SEEPS = f"{CLAMP}\nleaks.joint.seep_share = 1\nleaks.joint.out_of_reach = 1"

DIRECTIONS: tuple[Direction, ...] = (
    Direction(
        "more stall torque, mount and stem strong enough",
        "fewer closings end in undersized torque",
        NO_EXERCISE,
        f'{NO_EXERCISE}\nactuator.stall_torque = "20 N*m"\nvalve.stem_limit = "200 N*m"',
        "undersized torque",
        False,
        "leak by leak",
    ),
    Direction(
        "a floor that dries faster, and a person only",
        "leaks wet a smaller area",
        f'{PERSON}\ndwelling.evaporation = "0.01 mm/h"',
        f'{PERSON}\ndwelling.evaporation = "0.1 mm/h"',
        "wet_area",
        False,
        "on average",
    ),
    Direction(
        "people who shut the valve when they leave on a trip",
        "less water escapes",
        f"{PERSON}\npeople.shut_on_leaving = 0",
        f"{PERSON}\npeople.shut_on_leaving = 1",
        "volume",
        False,
        "on average",
    ),
    Direction(
        "an opening that takes as much torque as breakaway, not half of it",
        "people are without water for longer",
        f"{CLAMP}\nvalve.opening_share = 0.5",
        f"{CLAMP}\nvalve.opening_share = 1",
        "dry",
        True,
        "on average",
    ),
    Direction(
        "a fitting test that tries both ways, against none",
        "fewer closings end in undersized torque",
        NO_EXERCISE,
        f'{NO_EXERCISE}\ncommissioning.test = "close and reopen"',
        "undersized torque",
        False,
        "on average",
    ),
    Direction(
        "a higher column of water above the leak",
        "more escapes after closing",
        f'{CLAMP}\ndwelling.drain_head = "1 m"',
        f'{CLAMP}\ndwelling.drain_head = "6 m"',
        "volume",
        True,
        "on average",
    ),
    Direction(
        "more stall torque than the mount holds",
        "the mount slips more often",
        f'{NO_EXERCISE}\nmount.slip_torque = "6 N*m"\nactuator.stall_torque = "5 N*m"',
        f'{NO_EXERCISE}\nmount.slip_torque = "6 N*m"\nactuator.stall_torque = "20 N*m"',
        "mount slipped",
        True,
        "on average",
    ),
    Direction(
        "an older valve",
        "more closings end in undersized torque",
        f'{NO_EXERCISE}\nvalve.age = "2 years"',
        f'{NO_EXERCISE}\nvalve.age = "25 years"',
        "undersized torque",
        True,
        "on average",
    ),
    Direction(
        "exercise monthly instead of never",
        "fewer closings end in undersized torque",
        NO_EXERCISE,
        f'{CLAMP}\nexercise.interval = "30 days"',
        "undersized torque",
        False,
        "on average",
    ),
    Direction(
        "exercise weekly instead of monthly",
        "more strokes, so more wear",
        f'{CLAMP}\nexercise.interval = "30 days"',
        f'{CLAMP}\nexercise.interval = "7 days"',
        "strokes",
        True,
        "history by history",
    ),
    Direction(
        "longer outages, no battery",
        "more leaks meet an actuator without power",
        f'{CLAMP}\nmains.outage_rate = "6 per year"\nmains.outage_duration = "1 h"',
        f'{CLAMP}\nmains.outage_rate = "6 per year"\nmains.outage_duration = "48 h"',
        "no power",
        True,
        "on average",
    ),
    Direction(
        "a battery, in the same long outages",
        "fewer leaks meet an actuator without power",
        f'{CLAMP}\nmains.outage_rate = "6 per year"\nmains.outage_duration = "20 h"',
        f'{CLAMP}\nmains.outage_rate = "6 per year"\nmains.outage_duration = "20 h"\n'
        'battery.fitted = true\nbattery.capacity = "60 Ah"',
        "no power",
        False,
        "leak by leak",
    ),
    Direction(
        "a quick-release mount instead of four screws",
        "less loss where a person must close by hand",
        f'{CLAMP}\nmount.kind = "screwed, metal"\nmount.slip_torque = "200 N*m"\n'
        'actuator.stall_torque = "2 N*m"',
        f'{CLAMP}\nactuator.stall_torque = "2 N*m"',
        "loss",
        False,
        "on average",
    ),
    Direction(
        "more pressure, only the dwelling's own people to close",
        "more water escapes",
        f'{PERSON}\nneighbour.notices = false\ndwelling.pressure = "2 bar"',
        f'{PERSON}\nneighbour.notices = false\ndwelling.pressure = "5 bar"',
        "volume",
        True,
        "on average",
    ),
    Direction(
        "a second sensor in the room",
        "no leak is sensed later",
        CLAMP,
        f"{CLAMP}\nsensors.second.fitted = true",
        "sensed",
        False,
        "on average",
    ),
    Direction(
        "sensors that the water reaches sooner",
        "less water escapes",
        f'{CLAMP}\nsensors.kitchen.reach_area = "4 m2"',
        f'{CLAMP}\nsensors.kitchen.reach_area = "0.5 m2"',
        "volume",
        False,
        "on average",
    ),
    Direction(
        "supervised sensors",
        "fewer leaks meet a dead sensor",
        CLAMP,
        f'{CLAMP}\nsensors.kitchen.kind = "radio, supervised"',
        "sensor dead",
        False,
        "on average",
    ),
    Direction(
        "a flow rule as well, without nuisance",
        "less loss",
        CLAMP,
        f'{CLAMP}\nflow_rule.fitted = true\nnuisance.rule_rate = "0 per year"',
        "loss",
        False,
        "on average",
    ),
    Direction(
        "a longer way home",
        "more water escapes without automation",
        f'{PERSON}\noverride.travel_out = "10 min"\noverride.travel_away = "5 h"',
        f'{PERSON}\noverride.travel_out = "2 h"\noverride.travel_away = "50 h"',
        "volume",
        True,
        "leak by leak",
    ),
    Direction(
        "somebody always at home",
        "less loss without automation",
        f'{PERSON}\npeople.pattern = "often empty"',
        f'{PERSON}\npeople.pattern = "always somebody"',
        "loss",
        False,
        "on average",
    ),
    Direction(
        "more units below, whose people do not notice",
        "more loss",
        f"{PERSON}\nneighbour.notices = false\ndwelling.units_below = 1",
        f"{PERSON}\nneighbour.notices = false\ndwelling.units_below = 3",
        "loss",
        True,
        "leak by leak",
    ),
    Direction(
        "a higher deductible",
        "the policy pays less",
        f'{PERSON}\ninsurance.deductible = "300 EUR"',
        f'{PERSON}\ninsurance.deductible = "3000 EUR"',
        "insured",
        False,
        "leak by leak",
    ),
    Direction(
        "the end of travel sensed at the stem, on a mount that slips",
        "more is spent on repairs",
        f"{SLIPPING}\nactuator.end_of_travel = 'at the motor'",
        f"{SLIPPING}\nactuator.end_of_travel = 'at the stem'",
        "repair_cost",
        True,
        "on average",
    ),
    Direction(
        "a mount whose preload creeps more",
        "the mount slips more often",
        f"{SLIPPING}\nmount.creep = 0.02",
        f"{SLIPPING}\nmount.creep = 0.12",
        "mount slipped",
        True,
        "leak by leak",
    ),
    Direction(
        "a mount that grips by its form, not by friction",
        "the mount slips less often",
        f'{SLIPPING}\nmount.reaction = "friction"',
        f'{SLIPPING}\nmount.reaction = "form"',
        "mount slipped",
        False,
        "leak by leak",
    ),
    Direction(
        "a mount that people tighten every month",
        "the mount slips less often",
        f'{RELAXING}\nmount.retightening = "never"',
        f'{RELAXING}\nmount.retightening = "30 days"',
        "mount slipped",
        False,
        "on average",
    ),
    Direction(
        "a better tool for a bare stem, the actuator too weak",
        "less water escapes",
        f'{DEAD}\noverride.tool_torque = "3 N*m"',
        f'{DEAD}\noverride.tool_torque = "20 N*m"',
        "volume",
        False,
        "on average",
    ),
    Direction(
        "a lever instead of a bare stem, the actuator too weak",
        "less water escapes",
        f'{DEAD}\noverride.grip = "bare stem"\noverride.tool_torque = "3 N*m"',
        f'{DEAD}\noverride.grip = "lever"\noverride.tool_torque = "3 N*m"',
        "volume",
        False,
        "on average",
    ),
    Direction(
        "a pickup at the meter that fails more often",
        "more leaks meet a dead pickup",
        f'{RULE}\nflow_rule.failure_rate = "0.01 per year"',
        f'{RULE}\nflow_rule.failure_rate = "0.2 per year"',
        "sensor dead",
        True,
        "leak by leak",
    ),
    Direction(
        "a pickup whose silence is noticed",
        "fewer leaks meet a dead pickup",
        f'{RULE}\nflow_rule.failure_rate = "0.2 per year"',
        f'{RULE}\nflow_rule.failure_rate = "0.2 per year"\nflow_rule.supervised = true',
        "sensor dead",
        False,
        "leak by leak",
    ),
    Direction(
        "a siren that the mains feed, not a battery, where mains fail often",
        "leaks are found later",
        f'{PERSON.replace("none", "alarm only")}\nmains.outage_rate = "40 per year"\n'
        'mains.outage_duration = "20 h"\nsiren.power = "own battery"',
        f'{PERSON.replace("none", "alarm only")}\nmains.outage_rate = "40 per year"\n'
        'mains.outage_duration = "20 h"\nsiren.power = "mains"',
        "found",
        True,
        "on average",
    ),
    Direction(
        "leaks that trip the breaker, on mains alone",
        "more closings end without power",
        "mains.breaker_chance = 0.05",
        "mains.breaker_chance = 0.3",
        "no power",
        True,
        "leak by leak",
    ),
    Direction(
        "a battery where leaks trip the breaker",
        "fewer closings end without power",
        "mains.breaker_chance = 0.3",
        "mains.breaker_chance = 0.3\nbattery.fitted = true",
        "no power",
        False,
        "on average",
    ),
    Direction(
        "water that must come further before it trips the breaker",
        "fewer closings end without power",
        'mains.breaker_chance = 0.3\nmains.breaker_area = "1 m2"',
        'mains.breaker_chance = 0.3\nmains.breaker_area = "6 m2"',
        "no power",
        False,
        "leak by leak",
    ),
    Direction(
        "people who cut the power when they leave, on mains alone",
        "more closings end without power",
        "people.power_off_on_leaving = 0.05",
        "people.power_off_on_leaving = 0.3",
        "no power",
        True,
        "on average",
    ),
    Direction(
        "a battery that shuts the valve when they cut the power",
        "less water escapes",
        "people.power_off_on_leaving = 0.3\nbattery.fitted = true",
        "people.power_off_on_leaving = 0.3\nbattery.fitted = true\n"
        "policies.close_on_power_loss = true",
        "volume",
        False,
        "on average",
    ),
    Direction(
        "a test of the pressure every week, seeps that no sensor meets",
        "less water escapes",
        SEEPS,
        f"{SEEPS}\npressure_test.fitted = true",
        "volume",
        False,
        "on average",
    ),
    Direction(
        "a small actuator on 7.4 V instead of 6 V",
        "fewer closings end in undersized torque",
        f'{NO_EXERCISE}\nactuator.class = "30 kgf*cm class"\nsupply.voltage = "6 V"',
        f'{NO_EXERCISE}\nactuator.class = "30 kgf*cm class"\nsupply.voltage = "7.4 V"',
        "undersized torque",
        False,
        "leak by leak",
    ),
    Direction(
        "visits of a caretaker to an empty building, every week instead of every month",
        "leaks are found sooner",
        f'{PERSON}\n{EMPTY}\npeople.visits = "30 days"',
        f'{PERSON}\n{EMPTY}\npeople.visits = "7 days"',
        "found",
        False,
        "on average",
    ),
    Direction(
        "hoses replaced in time",
        "fewer leaks",
        f'{PERSON}\nleaks.old.kind = "flexible hose"\nleaks.old.zone = "kitchen"\n'
        'leaks.old.age = "12 years"',
        f'{PERSON}\nleaks.old.kind = "flexible hose"\nleaks.old.zone = "kitchen"\n'
        'leaks.old.age = "12 years"\nleaks.old.replace_at = "8 years"',
        "leaks",
        False,
        "on average",
    ),
)


def check_direction(direction: Direction, *, seed: int = SEED) -> Outcome:
    """Run both designs of a direction on the same draws and see which way the figure goes.

    Parameters
    ----------
    direction : Direction
    seed : int

    Returns
    -------
    Outcome
    """
    text = f"{BASE}[designs.before]\n{direction.before}\n[designs.after]\n{direction.after}\n"
    setup = Setup.of(loads(text, where="directions").parameters(), seed, probes=PROBES)
    chunk = run_chunk(setup, 0, HISTORIES)
    cases, sums = _figure(chunk, direction.figure)
    sign = 1.0 if direction.rises else -1.0
    difference = sums[1] - sums[0]
    mean = float(difference.mean())
    error = float(difference.std(ddof=1) / np.sqrt(len(difference)))
    each = {"leak by leak": cases, "history by history": sums, "on average": None}[direction.level]
    if each is None:
        return Outcome(*_means(sums), mean, error, 0, 0, sign * mean > 2.0 * error)
    slack = 1e-9 * np.abs(each).max(axis=0)
    wrong = int((sign * (each[1] - each[0]) < -slack).sum())
    return Outcome(*_means(sums), mean, error, wrong, each[0].size, wrong == 0 and sign * mean > 0)


def _means(sums: Any) -> tuple[float, float]:
    return float(sums[0].mean()), float(sums[1].mean())


def _figure(chunk: Any, figure: str) -> tuple[Any, Any]:
    """Return the figure per probe (2, n, m) and its weighted sum per history (2, n)."""
    rows = chunk.rows
    if figure == "dry":
        return None, np.asarray(chunk.summary["dry"]).sum(axis=2)
    if figure in L.SUMMARY_FIELDS and figure != "leaks":
        return None, np.asarray(chunk.summary[figure])
    if figure == "leaks":
        each = np.ones(rows.shape)
    elif figure in L.MODES:
        each = (rows["mode"] == L.MODES.index(figure)).astype(float)
    else:
        # A leak that is never sensed counts as sensed at the end of the service life.
        each = np.nan_to_num(rows[figure], nan=10.0 * L.YEAR)
    each = np.where(rows["weight"] > 0.0, each, 0.0)
    return each, (each * rows["weight"]).sum(axis=2)


def page(directions: Sequence[Direction] = DIRECTIONS) -> str:
    """Return the page of the docs: each direction, how strictly it was checked, and the verdict."""
    lines = [
        "# Sensible behaviour",
        "",
        "Which way a change must move a result. Each row was run as two designs on the same draws",
        f"({HISTORIES} histories, {PROBES} probes each). *Leak by leak* and *history by history*",
        "are guaranteed by the model on common random numbers, and checked case by case; *on",
        "average* is a paired difference beyond two standard errors. Written by",
        "`python docs/refresh.py directions`; a test fails when a direction does not hold or this",
        "page is out of date.",
        "",
    ]
    rows = []
    for direction in directions:
        outcome = check_direction(direction)
        strictly: str = direction.level
        if outcome.cases:
            strictly += f", {outcome.cases:,} of them"
        verdict = "yes" if outcome.holds else "**no**"
        rows.append((direction.change, direction.effect, strictly, verdict))
    lines += table(("change", "effect", "how strictly", "holds"), rows)
    return "\n".join(lines) + "\n"


def files() -> Files:
    """Yield the page."""
    yield DOCS / "behaviour.md", page().encode()
