"""What stands there and what is fitted, in short rows of words."""

from __future__ import annotations

from collections import Counter

from shutoffsim.report.elements import WORDS
from shutoffsim.report.summary.letters import listed, short
from shutoffsim.report.summary.values import Values
from shutoffsim.report.wording import closes, element_kind, traits

Row = tuple[str, str]

_LONGEST = 150


def site_rows(values: Values) -> list[Row]:
    """Return what the page says of the building, its water and its people."""
    rows = [("Dwelling", _dwelling(values))]
    if pattern := values.text("people.pattern"):
        rows.append(("In use by", pattern))
    rows.append(("Water", _water(values)))
    parts = values.each("leaks", "parts")
    if parts:
        counted = [f"{name} ({number})" for name, number in parts.items()]
        kinds = f"{len(parts)} {'kind' if len(parts) == 1 else 'kinds'}"
        rows.append(("Leak sources", f"{kinds}: {listed(counted, 5, 26)}"))
    if kind := values.text("valve.type"):
        rows.append(("Stop valve", f"{kind}, {values.text('valve.age')} old"))
    if deductible := values.text("insurance.deductible"):
        limit = values.text("insurance.limit", "no limit")
        covered = limit if limit == "no limit" else f"limit {limit}"
        rows.append(("Policy assumed", f"deductible {deductible}, {covered}"))
    return _shortened(rows)


def _dwelling(values: Values) -> str:
    parts = [f"{values.text('dwelling.floor_area')} floor area"]
    below = values.text("dwelling.units_below", "0")
    if below != "0":
        parts.append(f"{below} {'unit' if below == '1' else 'units'} below")
    if life := values.text("service_life"):
        parts.append(f"{life} considered")
    return ", ".join(parts)


def _water(values: Values) -> str:
    parts = [f"pressure {values.text('dwelling.pressure')}"]
    if flow := values.text("dwelling.full_bore_flow"):
        parts.append(f"full-bore flow {flow}")
    elif bore := values.text("dwelling.supply_pipe.bore"):
        parts.append(f"supply pipe {values.text('dwelling.supply_pipe.length')} of {bore} bore")
    return ", ".join(parts)


def protection_rows(values: Values) -> list[Row]:
    """Return what is fitted, and when it closes the water."""
    element = traits(values)
    rows = [("Closing element", WORDS[element_kind(values)].fitted)]
    if element.section == "actuator":
        rows += [("Actuator", _motor(values, "actuator")), ("Mount", values.text("mount.kind"))]
    elif element.section == "motorised_valve":
        valve = values.text("motorised_valve.valve.type", "new valve")
        drive = _motor(values, "motorised_valve.drive")
        rows.append(("Valve and drive", f"{valve}; {drive}"))
    if not element.automated:
        return _shortened(rows)
    rows.append(("Leak sensors", _sensors(values)))
    if values.says("flow_rule.fitted"):
        rows.append(("Flow rule", _flow_rule(values)))
    if closes(values):
        rows.append(("Closes on", _occasions(values)))
    rows.append(("Power", _power(values)))
    rows.append(("Warns by", _warnings(values)))
    return _shortened(rows)


def _motor(values: Values, key: str) -> str:
    torque, voltage = values.text(f"{key}.stall_torque"), values.text(f"{key}.rated_voltage")
    said = values.text(f"{key}.end_of_travel")
    said = said if said == "not sensed" else f"sensed {said}"
    kind = values.text(f"{key}.class")
    # The torque of a class that is named after it is not repeated.
    stall = "" if kind.startswith(torque) else f"stall torque {torque} "
    return f"{kind or 'own data sheet'}, {stall}at {voltage}; end of travel {said}"


def _sensors(values: Values) -> str:
    kinds = values.each("sensors", "kind")
    if not kinds:
        return "none"
    counted = Counter(kinds.values())
    told = [f"{number} × {kind}" for kind, number in counted.items()]
    zones = sorted(set(values.each("sensors", "zone").values()))
    return f"{listed(told, 3, 40)} ({listed(zones, 4, 18)})"


def _flow_rule(values: Values) -> str:
    flow, time = values.text("flow_rule.flow"), values.text("flow_rule.time")
    return f"above {flow} for {time}, or {values.text('flow_rule.volume')} in one use"


def _occasions(values: Values) -> str:
    told = ["leak alarm"]
    if values.says("policies.close_when_away"):
        told.append("long absence")
    if values.says("policies.remote_command"):
        told.append("order by telephone")
    # What falls shut without power needs no order to do so.
    if values.says("policies.close_on_power_loss") or traits(values).unpowered == "falls shut":
        told.append("loss of power")
    return ", ".join(told)


def _power(values: Values) -> str:
    supply = f"mains supply, {values.text('supply.voltage')}"
    if not values.says("battery.fitted"):
        return f"{supply}; no battery"
    size = f"{values.text('battery.capacity')}, {values.text('battery.voltage')}"
    return f"{supply}; {values.text('battery.chemistry')} battery {size}"


def _warnings(values: Values) -> str:
    told = []
    if values.says("siren.fitted"):
        told.append("siren")
    if values.says("gateway.fitted"):
        told.append("message to a telephone")
    return " and ".join(told) or "nothing"


def _shortened(rows: list[Row]) -> list[Row]:
    return [(label, short(text, _LONGEST)) for label, text in rows if text.strip(" ,")]
