"""The sentences that papers share: they follow from the design's values, and fit every design."""

from __future__ import annotations

import ast
import functools
import re
from collections.abc import Iterator
from pathlib import Path

import pytest

from shutoffsim.report import wording
from shutoffsim.report.summary.values import Values


class Ledger:
    """Values of a design by key, as papers look them up."""

    def __init__(self, values: dict[str, str]) -> None:
        self.values = values

    def text(self, key: str, default: str = "") -> str:
        return self.values.get(key, default)

    def says(self, key: str) -> bool:
        return self.values.get(key) == "yes"

    def often(self, key: str) -> str | None:
        found = self.values.get(key, "never")
        return None if found == "never" else found

    def each(self, section: str, field: str) -> dict[str, str]:
        keys = [key for key in self.values if key.startswith(f"{section}.")]
        return {key.split(".")[1]: self.values[key] for key in keys if key.endswith(f".{field}")}


CLAMPED = {
    "element.kind": "clamped actuator",
    "sensors.hall.kind": "radio",
    "sensors.hall.battery_life": "about 5 years",
    "exercise.interval": "30 days",
    "detection.test_interval": "1 year",
    "battery.fitted": "yes",
    "battery.test": "90 days",
    "battery.change": "4 years",
    "mount.fasteners": "4",
    "leaks.hose.replace_at": "15 years",
}


def told(tasks) -> str:
    return "\n".join(f"{task.what}: {task.when}" for task in tasks)


def test_intervals_are_those_of_the_design():
    upkeep = told(wording.upkeep(Ledger(CLAMPED)))
    for line in (
        "Exercise: close and open the valve by its drive: every 30 days",
        "Proof test: water on each sensor in turn, through to the shut valve: every year",
        "Test the battery under load: every 90 days",
        "Change the battery: every 4 years",
        "Change the sensors' batteries: before they run out (about 5 years)",
        "Replace flexible hoses: at an age of 15 years",
    ):
        assert line in upkeep
    never = told(wording.upkeep(Ledger(CLAMPED | {"exercise.interval": "never"})))
    assert "not scheduled in this design; it should be" in never


def test_what_is_not_fitted_is_not_tested():
    bare = Ledger(CLAMPED | {"battery.fitted": "no"})
    assert "battery under load" not in told(wording.upkeep(bare))
    assert "Pull the mains plug" not in told(wording.commissioning(bare))
    assert "Pull the mains plug" in told(wording.commissioning(Ledger(CLAMPED)))
    none = Ledger({"element.kind": "none", "sensors.hall.kind": "radio"})
    for tasks in (wording.upkeep(none), wording.commissioning(none)):
        assert "sensor" not in told(tasks)
        assert "by hand" in told(tasks) or "stop valve" in told(tasks)


@pytest.mark.parametrize(
    ("change", "step"),
    [
        ({}, "(undo the screws; keep the tool there)"),
        ({"mount.fasteners": "0"}, "(pull the release)"),
        ({"element.kind": "motorised valve"}, "the drive's own release"),
        ({"element.kind": "solenoid, powered open"}, "beside the solenoid valve"),
    ],
)
def test_how_the_hand_gets_to_the_valve(change, step):
    assert step in " ".join(wording.if_it_does_not_close(Ledger(CLAMPED | change)))


def test_without_automation_nothing_is_ordered_or_switched_off():
    steps = " ".join(wording.if_it_does_not_close(Ledger({"element.kind": "alarm only"})))
    assert "order it shut" not in steps
    assert "automation off" not in steps
    assert "by hand" in steps


def test_residual_risks_are_the_largest_modes_and_the_dependence_on_power():
    shares = {"none": 0.9, "late": 0.02, "not sensed": 0.05, "brown-out": 0.0, "no power": 0.01}
    risks = wording.residual_risks(Ledger(CLAMPED), shares, most=2)
    assert [what.split(":")[0] for what, _ in risks[:2]] == ["not sensed", "late"]
    assert "battery is empty" in risks[2][0]
    bare = wording.residual_risks(Ledger(CLAMPED | {"battery.fitted": "no"}), {})
    assert bare == (("it cannot close while the mains are out", "a battery"),)
    shut = Ledger(CLAMPED | {"policies.close_on_power_loss": "yes"})
    assert wording.residual_risks(shut, {}) == ()
    assert wording.residual_risks(Ledger({"element.kind": "none"}), {}) == ()


def test_words_fit_every_design_that_comes_with_the_program(scenario):
    kinds = set()
    for name in scenario.designs:
        values = Values(scenario.design(name).entries.values())
        kinds.add(wording.element_kind(values))
        tasks = (*wording.commissioning(values), *wording.upkeep(values))
        assert len(tasks) >= 4
        for task in tasks:
            assert task.what[0].isupper()
            assert "None" not in f"{task}"
        assert wording.closes(values) == scenario.design(name).system.element.traits.closes
    assert "none" in kinds
    assert len(kinds) > 1


ROOT = Path(__file__).parents[2]
#: Where people read what the program says; the rules and the engines have no such sentences.
SPEAKING = ("cli", "report", "study", "scenario", "records", "units", "estimate")
#: Pages that people write; the others are made, or keep what was measured or said at a time.
MADE = {"behaviour", "benchmarks", "calibration", "changes", "defaults", "scenario-reference"}
MADE |= {"validation", "what-nobody-knows"}
#: Words that stood where the field has a word of its own, and what to write instead.
INSTEAD = {
    r"\b(tells?|told)\b": "shows, says, reports; what cannot be told is unknown",
    r"\b(stem|mount|supply) bears\b": "maximum allowable stem torque, slip torque, brown-out limit",
    r"\btorque headroom\b|\bheadroom \d|\bheadroom:": "torque margin",
    r"nothing came of it": "without consequence",
    r"\bin earnest\b": "say what is meant",
    r"\bas believed\b|was believed|\bbelieved before\b": "prior, posterior",
    r"avoided if cured|less damage a year without": "risk reduction worth",
    r"\babove the least\b": "above the minimum",
    r"one seed and one question": "the same seed and inputs",
    r"\bput in for repair\b": "a repair is ordered",
}


def said_by_program() -> Iterator[tuple[str, str]]:
    """Yield texts of several words that the program can print, and help texts, with their place."""
    for folder in SPEAKING:
        for file in sorted((ROOT / "shutoffsim" / folder).rglob("*.py")):
            tree = ast.parse(file.read_text(encoding="utf-8"))
            silent = {
                id(node.value)
                for node in ast.walk(tree)
                if isinstance(node, ast.Expr) and isinstance(node.value, ast.Constant)
            }
            if folder in ("cli", "scenario"):  # docstrings are help texts, meanings of keys
                silent = set()
            for node in ast.walk(tree):
                text = node.value if isinstance(node, ast.Constant) else None
                if isinstance(text, str) and " " in text.strip() and id(node) not in silent:
                    yield f"{file.relative_to(ROOT)}:{node.lineno}", text


def written_by_hand() -> Iterator[tuple[str, str]]:
    """Yield the pages that people write, without what is made in them."""
    pages = [ROOT / "README.md", ROOT / "DEVELOPERS.md", *sorted((ROOT / "docs").glob("*.md"))]
    for page in pages:
        if page.stem not in MADE:
            text = page.read_text(encoding="utf-8")
            text = re.sub(r"<!-- output of.*?\n```\n", "", text, flags=re.DOTALL)
            text = re.sub(r"<!-- list: .*?<!-- end of list -->", "", text, flags=re.DOTALL)
            yield page.name, text


@functools.cache
def read_by_people() -> tuple[tuple[str, str], ...]:
    """Return all of it, each text in one line."""
    texts = (*said_by_program(), *written_by_hand())
    return tuple((place, " ".join(text.split())) for place, text in texts)


@pytest.mark.parametrize("instead", INSTEAD)
def test_the_words_of_the_field_are_used(instead):
    found = [
        f"{place}: {match[0]!r}, in {text[:80]!r}"
        for place, text in read_by_people()
        for match in re.finditer(instead, text, re.IGNORECASE)
    ]
    assert not found, f"write: {INSTEAD[instead]}"


def test_a_word_that_is_to_be_avoided_is_found():
    """The control: both sources hold sentences, and pages are read as far as people write them."""
    program = dict(said_by_program())
    assert "simulated, not proven" in program.values()
    assert any(place.startswith("shutoffsim/cli/pfd.py") for place in program)
    pages = dict(written_by_hand())
    assert "torque margin" in pages["glossary.md"]
    assert "── " not in pages["sizing.md"]
    assert "changes.md" not in pages
