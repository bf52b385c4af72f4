"""Plain words that more than one paper needs: limits, what can still go wrong, upkeep.

The sentences are this project's own, from common practice in the trade unless a source is named.
What depends on a design is worded from the values that the design rests on.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Final, NamedTuple, cast

from shutoffsim.model.elements import ELEMENTS, Element, Kind
from shutoffsim.report.elements import WORDS
from shutoffsim.report.modes import MODES
from shutoffsim.report.summary.values import Values

#: What the numbers leave out.
NOT_COVERED: Final = (
    "Only leaks that the main stop valve can stop are counted: no drains, no sewers, no rain, no "
    "failed seals of showers, nothing upstream of the valve.",
    "The intervals cover the chance in the simulation: leaks, outages, failures and people. They "
    "do not cover wrong inputs or a wrong model.",
    "Designs are compared under stated assumptions. This is not a prediction for one building.",
    "Many inputs are assumptions, for lack of data: above all the torque that an old valve needs, "
    "the share of valves that have seized, and how soon people notice a leak.",
    "Losses have a heavy tail: few large leaks carry much of a mean, and more of a rare year.",
    "Harm to health, interrupted business beyond the losses stated, water that is billed, and "
    "whether an insurer pays in a given case are not valued.",
)


class Task(NamedTuple):
    """One line of the upkeep sheet.

    Parameters
    ----------
    what : str
        What is done.
    who : str
        Who does it (common practice).
    when : str
        How often or when.
    passed : str
        What must be seen for the test to pass; empty where nothing is tested.
    """

    what: str
    who: str
    when: str
    passed: str = ""


def element_kind(values: Values) -> Kind:
    """Return the kind of closing element of a design."""
    return cast(Kind, values.text("element.kind", "none"))


def traits(values: Values) -> Element:
    """Return what is true of the closing element of a design."""
    return ELEMENTS[element_kind(values)]


def closes(values: Values) -> bool:
    """Whether something is fitted that closes the water by itself."""
    return traits(values).closes


def _per(interval: str | None, otherwise: str) -> str:
    if interval is None:
        return otherwise
    return f"every {interval.removeprefix('1 ')}"


def commissioning(values: Values) -> tuple[Task, ...]:
    """Return what is tested when the work is done, before anybody relies on it."""
    return tuple(_commissioning(values))


def _commissioning(values: Values) -> Iterator[Task]:
    now, fitter = "at installation", "fitter"
    free = "it moves without force, and the taps run dry when it is shut"
    yield Task("Close and reopen the stop valve by hand", fitter, "first of all", free)
    if closes(values):
        yield Task(
            "Open a tap and order the valve shut; take the time and the motor current",
            fitter,
            now,
            "the tap runs dry; both are recorded, to compare later tests with",
        )
        yield Task(
            "Shut it from a wet sensor: water on each sensor in turn",
            fitter,
            now,
            "the right sensor reports, and the valve shuts",
        )
    elif sensors(values):
        yield Task("Put water on each sensor in turn", fitter, now, "the right one reports")
    if traits(values).automated:
        if values.says("flow_rule.fitted"):
            yield Task(
                "Let a tap run beyond the flow rule's limits",
                fitter,
                now,
                "the rule reports; ordinary use in the first weeks does not",
            )
        if values.says("battery.fitted") and closes(values):
            pulled = "Pull the mains plug and order the valve shut"
            yield Task(pulled, fitter, now, "it shuts on the battery")
        elif traits(values).unpowered == "falls shut":
            yield Task("Pull the mains plug", fitter, now, "the valve shuts")
        if values.says("gateway.fitted"):
            elsewhere = "Set off an alarm with the telephone elsewhere"
            yield Task(elsewhere, fitter, now, "the message arrives")
    if closes(values):
        yield Task(
            "Free the valve from its drive and close it by hand",
            "occupant",
            now,
            "one person can do it without help and without power",
        )
    yield Task(
        "Show everybody in the building where the valve is and how to close it by hand",
        "owner",
        "at installation, and to whoever moves in",
        "each has done it once",
    )


def sensors(values: Values) -> int:
    """Return how many spot sensors are fitted."""
    return len(values.each("sensors", "kind")) if traits(values).automated else 0


def upkeep(values: Values) -> tuple[Task, ...]:
    """Return what is done how often afterwards; intervals are those the simulation used."""
    return tuple(_upkeep(values))


def _upkeep(values: Values) -> Iterator[Task]:
    if not traits(values).automated:
        yield Task("Close and reopen the stop valve", "occupant", "twice a year", "it moves freely")
    elif closes(values):
        yield Task(
            "Exercise: close and open the valve by its drive",
            "the controller",
            _per(values.often("exercise.interval"), "not scheduled in this design; it should be"),
            "it shuts fully, within the time and current of the first test",
        )
    if sensors(values):
        through = ", through to the shut valve" if closes(values) else ""
        yield Task(
            f"Proof test: water on each sensor in turn{through}",
            "occupant",
            _per(values.often("detection.test_interval"), "not scheduled; it should be"),
            "each one reports",
        )
        lives = sorted(set(values.each("sensors", "battery_life").values()) - {"never"})
        if lives:
            yield Task(
                "Change the sensors' batteries",
                "occupant",
                f"before they run out ({' or '.join(lives)})",
            )
    if traits(values).automated and values.says("battery.fitted"):
        yield Task(
            "Test the battery under load",
            "occupant",
            _per(values.often("battery.test"), "not scheduled; it should be"),
            "the valve shuts with the mains plug pulled",
        )
        often = _per(values.often("battery.change"), "when a test fails")
        yield Task("Change the battery", "fitter", often)
    if traits(values).clamped:
        yield Task(
            "Retighten the clamp; look for cracks and play",
            "fitter",
            "after the first month, then once a year",
            "it does not move on the valve while the valve turns",
        )
    ages = sorted(set(values.each("leaks", "replace_at").values()) - {"never"})
    by_kind = ", by kind" if len(ages) > 1 else ""
    stated = "at the age that the manufacturer states"
    when = f"at an age of {' or '.join(ages)}{by_kind}" if ages else stated
    yield Task("Replace flexible hoses", "plumber", when)


def if_it_does_not_close(values: Values) -> tuple[str, ...]:
    """Return what a person does when water runs and the valve has not shut, in order."""
    steps = []
    if closes(values):
        steps.append(
            "Order it shut once more, and go to the valve without waiting for the outcome."
        )
        if traits(values).clamped:
            quick = values.text("mount.fasteners", "0") == "0"
            steps.append(
                "Free the handle from the actuator "
                + ("(pull the release)." if quick else "(undo the screws; keep the tool there).")
            )
        else:
            steps.append(WORDS[element_kind(values)].by_hand)
    steps += [
        "Turn the stop valve shut by hand. If it is stiff, stop: do not force it.",
        "If it cannot be shut: have the next valve upstream shut, by the water utility or the "
        "caretaker.",
        "Keep off wet floors near electric appliances until their circuit is switched off.",
        "Warn the people below, take photographs, and call the insurer.",
    ]
    if closes(values):
        steps.append(
            "Leave the automation off, with a notice on it, until it has been repaired and tested."
        )
    return tuple(steps)


#: Whom to call, and for what.
WHOM_TO_CALL: Final = (
    ("licensed plumber", "a valve that is stiff, leaks or does not shut; any work on the pipe"),
    ("electrician", "supply, battery charger, wiring near water"),
    (
        "fitter of the automation",
        "longer closing time, higher current, dead sensors, a loose clamp",
    ),
    ("water utility or caretaker", "the next valve upstream"),
    ("insurer", "any damage at once; any change to the protection"),
)


def residual_risks(
    values: Values, modes: Mapping[str, float], most: int = 4
) -> tuple[tuple[str, str], ...]:
    """Return the residual risks, and what makes each rarer.

    Parameters
    ----------
    values : Values
        Values of the design.
    modes : mapping of str to float
        Share of all leaks by failure mode.
    most : int
        How many modes are listed, largest first.
    """
    told = [
        (f"{mode}: {MODES[mode].happened}", MODES[mode].remedy)
        for mode, share in sorted(modes.items(), key=lambda item: -item[1])
        if share > 0.0 and mode in MODES
    ][:most]
    if closes(values) and traits(values).unpowered != "falls shut":
        if not values.says("battery.fitted"):
            told.append(("it cannot close while the mains are out", "a battery"))
        elif not values.says("policies.close_on_power_loss"):
            told.append(
                (
                    "once the battery is empty in a long outage, the valve stays as it is",
                    "closing before the battery is empty, or a person who can shut it by hand",
                )
            )
    return tuple(told)
