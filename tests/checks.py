"""What statistical tests share: a perfect system to spoil, and judging by the standard error."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

import shutoffsim
from shutoffsim.engine.run import Setup, run_chunk, run_chunks
from shutoffsim.model import layout as L

#: Two results further apart than this many standard errors disagree. Chance does that to an honest
#: normal estimate about 7 times in a million.
TOLERANCE = 4.5

#: A system in which nothing fails, nobody is away and everything but a person is instant: a leak of
#: 6 L/min is stopped by the actuator within milliseconds, or else by a person after one minute.
#: Leaks are so rare that histories stay as they are; probes ask what a leak would do. A test spoils
#: one thing in a design.
PERFECT = """
name = "perfect"
currency = "EUR"
service_life = "{life}"

[dwelling]
floor_area = "1000 m2"
pressure = "3 bar"
full_bore_flow = "1000 m3/h"
full_bore_pressure = "3 bar"
drain_down = "0 L"
evaporation = "0 mm/h"
film = "2 mm"

[zones.room]
area = "1000 m2"

[weather]
spell_rate = "0 per year"

[leaks.hose]
rate = "1e-6 per year"
open_end_flow = "6 L/min"
open_end_pressure = "3 bar"
seep_share = 0
out_of_reach = 0

[sensors.a]
kind = "wired"
reach_chance = 1
reach_area = "1 mm2"
failure_rate = "0 per year"
supervised = false
attempt_success = 1
attempts = 1

[detection]
common_cause = 0
test_interval = "never"
report_repeats = 0
replacement = "0 s"

[flow_rule]
failure_rate = "0 per year"

[siren]
fitted = false

[neighbour]
notices = false

[gateway]
fitted = false

[people]
pattern = "always somebody"
trips = false
shut_on_leaving = 0
power_off_on_leaving = 0
notice_burst = "1 min"
notice_asleep = 1
notice_spread = 1

[people.week]
weekdays = {{wake = "00:00", sleep = "24:00"}}
saturday = {{wake = "00:00", sleep = "24:00"}}
sunday = {{wake = "00:00", sleep = "24:00"}}

[controller]
hang_rate = "0 per year"
shares_rail = false

[mains]
outage_rate = "0 per year"
major_rate = "0 per year"
dip_rate = "0 per year"
breaker_chance = 0

[supply]
voltage = "12 V"
resistance = "0 ohm"
failure_rate = "0 per year"

[valve]
breakaway = "1 mN*m"
age = "0 days"
age_factor = 1
idle_growth = 0
seize_time = "never"
closing_share = 1
opening_share = 0
turns = "0.25 turns"
seat_leak = "0 L/h"
stem_limit = "10000 N*m"

[actuator]
rated_voltage = "12 V"
stall_torque = "10 N*m"
stall_current = "1 A"
no_load_current = "0 A"
torque_exponent = 1
current_exponent = 1
no_load_speed = "10000 rpm"
unit_spread = 1
wear = 0
ambient = "20 degC"
temperature_derating = "0 per K"
retries = 0
failure_rate = "0 per h"
diagnostic = 0
stick_chance = 0
strip_chance = 0
short_chance = 0
end_of_travel = "at the stem"
repair = "0 s"

[commissioning]
test = "none"

[repairs]
next_class_after = 0

[reopening]
notice = "0 s"
urgent = "0 s"

[mount]
fasteners = 0
release_time = "0 s"
reaction = "form"

[exercise]
interval = "never"
coverage = 1
outage = "0 s"

[override]
find_known = "0 s"
knows_valve = 1
access = 1
grip = "lever"
hand_torque = "10000 N*m"
hand_turn = "1e-6 s"

[nuisance]
rate_per_sensor = "0 per year"
rule_rate = "0 per year"

[damage]
severity = 1
late_volume = "1e9 L"
"""

Values = Callable[[Any], Any]
Observe = Callable[[Any], tuple[Any, Any]]
Change = Callable[[Any], None]


def perfect(*designs: str, life: str = "87600 h") -> shutoffsim.Scenario:
    """Return the perfect system with one design per text of changes (TOML lines)."""
    text = PERFECT.format(life=life)
    for number, changes in enumerate(designs or ("",)):
        text += f'\n[designs."{number}"]\n{changes}\n'
    return shutoffsim.loads(text)


def leaking(params: Any, per_year: float) -> Any:
    """Return parameters whose first design leaks so often, by scaling all sources of all designs.

    For checks that need many leaks, or leaks that meet each other, whatever a scenario's own rates.
    """
    params = params.copy()
    rows = run_chunk(Setup.of(params[:1], 1, probes=16), 0, 100).rows
    now = rows["weight"].sum() / 100 / (params["service_life"][0] / L.YEAR)
    for name in ("source_rate", "source_parts"):
        params[name] *= per_year / now
    return params


@dataclass(frozen=True)
class Finding:
    """A simulated value beside what it should be."""

    value: float
    std_error: float
    expected: float
    expected_error: float = 0.0

    @property
    def apart(self) -> float:
        """How many standard errors lie between them."""
        error = math.hypot(self.std_error, self.expected_error)
        gap = abs(self.value - self.expected)
        return gap / error if error > 0.0 else (0.0 if gap == 0.0 else math.inf)

    @property
    def agrees(self) -> bool:
        return self.apart <= TOLERANCE

    def sharpness(self) -> float:
        """Return the joint standard error as a share of the expected value."""
        return math.hypot(self.std_error, self.expected_error) / abs(self.expected)

    def __str__(self) -> str:
        return (
            f"{self.value:.6g} +- {self.std_error:.2g}, expected {self.expected:.6g}"
            + (f" +- {self.expected_error:.2g}" if self.expected_error else "")
            + f": {self.apart:.2f} standard errors apart, sharp to {self.sharpness():.2%}"
        )


def assert_agrees(found: Finding, relative: float) -> None:
    """Fail when a value is off, or known so vaguely that the comparison would mean little."""
    assert found.agrees, str(found)
    assert found.sharpness() <= relative, f"too vague to be a check: {found}"


def ratio(top: Any, bottom: Any) -> tuple[float, float]:
    """Return sum(top) / sum(bottom) over histories with its standard error (linearised)."""
    top, bottom = np.asarray(top, float), np.asarray(bottom, float)
    value = top.sum() / bottom.sum()
    spread = np.std(top - value * bottom, ddof=1) / math.sqrt(len(top))
    return float(value), float(spread / bottom.mean())


def over_leaks(values: Values) -> Observe:
    """Observe the mean over leaks of a function of the probes' rows, design 0."""

    def observe(chunk: Any) -> tuple[Any, Any]:
        rows = chunk.rows[0]
        weight = rows["weight"]
        return (weight * values(rows)).sum(axis=1), weight.sum(axis=1)

    return observe


def per_history(values: Observe | Values) -> Observe:
    """Observe a mean per history of a function of the chunk, design 0."""

    def observe(chunk: Any) -> tuple[Any, Any]:
        top = values(chunk)
        return top, np.ones(len(top))

    return observe


#: Share of leaks that automation does not stop in time.
FAILED = over_leaks(lambda rows: rows["mode"] > L.MODE_NONE)
VOLUME = over_leaks(lambda rows: rows["volume"])


@dataclass(frozen=True)
class Case:
    """A system whose answer is known exactly.

    Attributes
    ----------
    name : str
    changes : str
        What is changed in the perfect system, as TOML.
    expected : float
    observe : callable
        From a chunk of histories to numerators and denominators per history.
    histories, probes : int
    relative : float
        Largest standard error, as a share of the expected value, at which this is a check.
    """

    name: str
    changes: str
    expected: float
    observe: Observe = FAILED
    histories: int = 4000
    probes: int = 16
    relative: float = 0.02
    life: str = "87600 h"
    seed: int = 1

    def find(self, change: Change | None = None, rows: Change | None = None, **how: Any) -> Finding:
        """Simulate.

        ``change`` may spoil the parameters, and ``rows`` the incidents, first; ``how`` are other
        settings of the run.
        """
        params = perfect(self.changes, life=self.life).parameters()
        if change is not None:
            change(params)
        setup = replace(Setup.of(params, self.seed, probes=self.probes), **how)
        pairs = []
        for chunk in run_chunks(setup, 0, self.histories):
            if rows is not None:
                rows(chunk.rows)
            pairs.append(self.observe(chunk))
        value, error = ratio(*(np.concatenate(part) for part in zip(*pairs, strict=True)))
        return Finding(value, error, self.expected)

    def __str__(self) -> str:
        return self.name


def mean_and_error(values: Iterable[float]) -> tuple[float, float]:
    """Return the mean of independent values and its standard error."""
    data = np.asarray(list(values), float)
    return float(data.mean()), float(data.std(ddof=1) / math.sqrt(len(data)))
