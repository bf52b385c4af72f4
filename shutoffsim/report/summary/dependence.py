"""What the protection needs in order to work: power, people, care."""

from __future__ import annotations

from collections.abc import Mapping

from shutoffsim.estimate.estimate import Estimate
from shutoffsim.report.summary.money import percent
from shutoffsim.report.summary.values import Values
from shutoffsim.report.text import plus_minus
from shutoffsim.report.wording import closes, traits

_CAPABLE = "probability that a person on site knows the valve"


def on_power(values: Values, modes: Mapping[str, Estimate], *, leaks: bool) -> list[str]:
    """Return what the page says of power.

    Parameters
    ----------
    values : Values
    modes : mapping of str to Estimate
        Shares of leaks by failure mode.
    leaks : bool
        Whether any leak was simulated.
    """
    if not traits(values).automated:
        return ["Nothing fitted needs power."]
    told = []
    if rate := values.text("mains.outage_rate"):
        told.append(
            f"Mains outages taken as {rate}, of {values.text('mains.outage_duration')}; major ones "
            f"{values.text('mains.major_rate')}, of {values.text('mains.major_duration')}."
        )
    told.append(_without_mains(values))
    if "no power" in modes:
        told.append(
            f"Lack of power is the first broken link in {percent(modes['no power'])} of leaks."
        )
    elif closes(values) and leaks:
        told.append("In the simulation no leak was left open for lack of power.")
    if values.says("controller.decides_via_gateway") or values.says("detection.via_gateway"):
        told.append("An alarm passes through the gateway, which must be up for the valve to close.")
    elif values.says("gateway.fitted"):
        lasts = "runs on" if values.says("gateway.backed_up") else "stops"
        told.append(f"Messages to telephones need the gateway, which {lasts} when the mains fail.")
    return told


def _without_mains(values: Values) -> str:
    if traits(values).unpowered == "falls shut":
        held = "once its battery is empty" if values.says("battery.fitted") else "at once"
        return f"Without mains the valve shuts {held}: it fails safe, and the water is off."
    if not values.says("battery.fitted"):
        what = "close the valve" if closes(values) else "warn"
        return f"There is no battery: during an outage the system cannot {what}."
    size = f"{values.text('battery.chemistry')} battery, {values.text('battery.capacity')}"
    test, change = values.often("battery.test"), values.often("battery.change")
    care = f"tested every {_per(test)}" if test else "not tested"
    renewed = f"changed every {_per(change)}" if change else "changed when it has failed"
    return f"During an outage it runs on a battery ({size}), {care} and {renewed}."


def _per(interval: str) -> str:
    return interval.removeprefix("1 ")


def on_people(values: Values, nuisance: Estimate | None) -> list[str]:
    """Return what the page says of people; ``nuisance`` is nuisance closings a year."""
    told = [_by_hand(values)]
    if traits(values).clamped:
        told.append(_freeing(values))
    if closes(values):
        if nuisance is not None:
            count = plus_minus("", [nuisance]).cells[0].strip() or "an unknown number"
            told.append(
                f"Nuisance closings a year: {count}. After a false alarm people switch the "
                f"automation off with probability {values.text('nuisance.switch_off_chance')}, for "
                f"{values.text('nuisance.switch_off_time')}."
            )
        if values.says("policies.close_when_away"):
            told.append(
                "Closing during a long absence works only when away mode is set: probability "
                f"{values.text('policies.away_mode')} on each trip."
            )
    if notice := values.text("people.notice_burst"):
        told.append(
            f"Awake and at home, people are taken to notice a burst within {notice} and a seep "
            f"within {values.text('people.notice_seep')} (medians)."
        )
    return told


def _by_hand(values: Values) -> str:
    start = (
        "Where automation fails, a person closes by hand"
        if closes(values)
        else "Only people close the water"
    )
    known = values.text("override.knows_valve", "unknown")
    text = f"{start}: {_CAPABLE} {known}; way home when out {values.text('override.travel_out')}"
    if holder := values.text("override.key_holder"):
        when = values.text("override.key_holder_time")
        text += f"; a key holder comes with probability {holder}, after {when}"
    return f"{text}."


def _freeing(values: Values) -> str:
    screws = values.text("mount.fasteners", "0")
    if screws == "0":
        return f"The handle is freed from the actuator in {values.text('mount.release_time')}."
    return (
        f"To free the handle, {screws} screws must be undone; the tool is at hand with probability "
        f"{values.text('mount.tool_at_hand')}."
    )
