"""The kinds of table whose columns are known beforehand: a meter's record, readings of torque."""

from __future__ import annotations

from collections.abc import Sequence
from functools import partial

from shutoffsim.errors import Problem
from shutoffsim.records.header import Choice, Kind, Role, match_roles, nearly_known, shown


def _words(text: str) -> dict[str, str | None]:
    return dict.fromkeys(text.split())


_WATER = _words("volume vol water consumption quantity")
METER_ROLES = (
    Role(
        "time",
        _words(
            "time timestamp time_stamp datetime date_time date unix unix_time unix_s unix_seconds "
            "epoch epoch_s time_s time_utc time_local time_unix timestamp_utc"
        ),
    ),
    Role(
        "start",
        _words("start starttime start_time start_utc start_unix start_s started begin begin_time"),
    ),
    Role("end", _words("end endtime end_time end_utc end_unix end_s ended stop stop_time")),
    Role("count", _words("pulses pulse count counts pulse_count number_of_pulses")),
    Role("label", _words("label fixture appliance event use")),
    Role("per pulse", _WATER, "volume", alone=True, suffix="_per_pulse"),
    Role("flow", _words("flow flowrate flow_rate rate"), "flow", alone=True),
    Role("volume", _WATER, "volume", alone=True),
    Role("duration", _words("duration dur length lasted"), "time", alone=True),
)

READING_ROLES = (
    *(Role(name, {name: None}) for name in ("date", "valve", "direction", "outcome")),
    Role("torque", {"torque": None}, "torque"),
    Role("torque to", {"torque_to": None}, "torque"),
    Role("force", {"force": None}, "force"),
    Role("force to", {"force_to": None}, "force"),
    Role("lever", _words("lever lever_arm"), "length"),
    Role("current", _words("current supply_current"), "current"),
    Role("current to", {"current_to": None}, "current"),
    Role("voltage", _words("voltage supply_voltage"), "voltage"),
    Role(
        "idle",
        _words("idle since_last_moved time_since_last_moved")
        | dict.fromkeys(["days_since_last_moved", "idle_days", "days_idle"], "days"),
        "time",
    ),
    Role("age", _words("age valve_age"), "time"),
)


def _choose_meter(roles: set[str], names: Sequence[str]) -> Choice:
    """Find the form of a meter's record: pulses, flow samples or runs."""
    if "start" in roles:
        length = "duration" if "duration" in roles else "end"
        lacking = [word for role, word in _RUNS.items() if role in {length, "volume"} - roles]
        problem = Problem(
            f"a record of runs lacks a column: {' and '.join(lacking)}",
            found=shown(names),
            expected="start, seconds (or end) and litres",
        )
        return "runs", ("start", length, "volume", "label"), problem if lacking else None
    if "time" in roles and {"flow", "volume"} <= roles:
        problem = Problem(
            "both a flow and a volume are given for each time",
            found=shown(names),
            expected="one of them",
            hint="keep the one that the meter counts and leave out the other",
        )
        return "", (), problem
    if "time" in roles and roles & {"flow", "volume"}:
        return "flow samples", ("time", "volume", "flow"), None
    if "time" in roles and ("count" in roles or len(names) == 1):
        return "pulses", ("time", "count", "per pulse"), None
    expected = METER.expected
    return "", (), Problem("the columns are not known", found=shown(names), expected=expected)


_RUNS = {"end": "seconds (or end)", "volume": "litres"}


def _choose_reading(roles: set[str], names: Sequence[str]) -> Choice:
    lacking = [f'"{role}"' for role in ("date", "direction") if role not in roles]
    if not {"torque", "force", "current", "voltage"} & roles:
        lacking.append('"torque" (or "force" and "lever", or "current")')
    if "force" in roles and "lever" not in roles:
        lacking.append('"lever": the length of the arm on which the force acts')
    message = f"a column is missing: {' and '.join(lacking)}"
    problem = Problem(message, found=shown(names), expected=READINGS.expected)
    return "readings", roles, problem if lacking else None


METER = Kind(
    described="a record of a meter, such as meter.csv or meter.csv.gz",
    row="row",
    expected="a header with one of these: time and pulses; time and a flow (flow_l_per_min) or the "
    "water in each interval (litres); start, seconds (or end) and litres",
    match=partial(match_roles, METER_ROLES, strict=False),
    choose=_choose_meter,
    units=True,
    by_hand=False,
)

READINGS = Kind(
    described="readings of a valve's torque (CSV)",
    row="reading",
    expected="a header such as: date, valve, direction, torque, idle, age, outcome (or force and "
    "lever, or current and voltage, in the place of torque)",
    match=partial(match_roles, READING_ROLES, strict=True),
    choose=_choose_reading,
    unknown=partial(nearly_known, READING_ROLES),
    comments=True,
    most_bytes=1_000_000,
    most_rows=1000,
)
