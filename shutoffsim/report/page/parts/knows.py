"""What the hardware of each design can know of its own faults."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from shutoffsim.model.elements import ELEMENTS, Element
from shutoffsim.model.modes import FAILURE_MODES, Sense
from shutoffsim.report.page.blocks import Block, Cell, Section, Table, Words
from shutoffsim.report.page.cells import Designs
from shutoffsim.report.summary.values import Values

if TYPE_CHECKING:
    from shutoffsim.study.assessment.result import Assessment

_TITLE = "What this hardware can know"
_KEYS: Final = {
    "actuator": "actuator",
    "motorised_valve": "motorised_valve.drive",
    "solenoid": "solenoid",
}
_ENDS: Final[dict[str, Sense]] = {
    "at the motor": "end at the motor",
    "at the stem": "end at the stem",
}


def knows(found: Assessment, _designs: Designs) -> Section:
    """Return, for each design that closes by itself, which of its faults show."""
    closing = [design for design in found.designs if ELEMENTS[design.element].closes]
    if not closing:
        return Section("knows", _TITLE, [Words("Nothing closes by itself in these designs.")])
    blocks: list[Block] = [
        Words(
            "An exercise, and a closing before water runs, show only faults that something senses; "
            "a time limit protects the motor and shows nothing. What does not show is taken for a "
            "shut valve. Where water runs on past a pulse pickup, every fault shows, as it "
            "does to a person at a test with a tap open."
        )
    ]
    alike: dict[tuple[str, ...], list[str]] = {}
    for design in closing:
        element = ELEMENTS[design.element]
        values = Values(found.ledger(design.name, used=True))
        senses = senses_of(values, element)
        told, untold = faults_told(element, senses)
        flow = "yes, while water runs" if values.says("flow_rule.fitted") else "no"
        row = (
            ", ".join(senses[1:]) or "nothing",
            ", ".join(told),
            ", ".join(untold) or "none",
            flow,
        )
        alike.setdefault(row, []).append(design.name)
    rows = [[Cell(", ".join(names)), *(Cell(text) for text in row)] for row, names in alike.items()]
    heads = [
        "design",
        "sensed",
        "faults that show",
        "faults taken for a shut valve",
        "pulse pickup",
    ]
    return Section(
        "knows", _TITLE, [*blocks, Table("Faults by what is sensed", heads, rows, wide=True)]
    )


def senses_of(values: Values, element: Element) -> tuple[Sense, ...]:
    """Return what senses a closing element; the controller itself comes first."""
    key = _KEYS[element.section]
    senses: list[Sense] = ["controller"]
    if values.says(f"{key}.current_sensed"):
        senses.append("motor current")
    end = _ENDS.get(values.text(f"{key}.end_of_travel"))
    return (*senses, end) if end else tuple(senses)


def faults_told(element: Element, senses: tuple[Sense, ...]) -> tuple[list[str], list[str]]:
    """Return the faults that a closing element can have: those told, and those not."""
    told: list[str] = []
    untold: list[str] = []
    for name, mode in FAILURE_MODES.items():
        of_motor = mode.stage == "torque" or name == "closed short"
        never = (of_motor and element.drive != "motor") or (
            name == "mount slipped" and not element.clamped
        )
        if mode.told_by and not never:
            (told if set(mode.told_by) & set(senses) else untold).append(name)
    return told, untold
