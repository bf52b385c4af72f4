"""No list misses a member: elements, failure modes, clocks and commands stand where they must."""

from __future__ import annotations

import inspect
import re
from pathlib import Path
from typing import get_args

import pytest

from makers import lists
from shutoffsim.cli import COMMANDS, app
from shutoffsim.model import actuator, elements, modes
from shutoffsim.model import layout as L
from shutoffsim.report.elements import WORDS
from shutoffsim.report.modes import MODES
from shutoffsim.scenario.schema import System
from shutoffsim.study import failures
from shutoffsim.study.size import shortfall, worth

ROOT = Path(__file__).resolve().parent.parent
PACKAGE = ROOT / "shutoffsim"
MODEL_PAGE = (ROOT / "docs" / "model.md").read_text("utf-8")


def table_after(page: str, heading: str) -> list[list[str]]:
    """Return the rows of the first table whose head begins so."""
    body = page.split(f"| {heading}", 1)[1].split("\n\n", 1)[0]
    return [[cell.strip() for cell in row.split("|")[1:-1]] for row in body.splitlines()[2:]]


# --- pages ------------------------------------------------------------------------------------


@pytest.mark.parametrize("page", lists.pages(), ids=lambda page: page.name)
def test_lists_on_pages_are_those_of_the_program(page):
    text = page.read_text("utf-8")
    assert lists.renew(text) == text, "stale: run python docs/refresh.py lists"


def test_every_list_stands_on_a_page():
    asked = [lists.listed(page.read_text("utf-8")) for page in lists.pages()]
    assert set.union(*asked) == set(lists.LISTS)


def test_a_list_that_misses_a_member_is_found():
    page = (ROOT / "docs" / "glossary.md").read_text("utf-8")
    row = next(line for line in page.splitlines(keepends=True) if line.startswith("| brown-out"))
    assert lists.renew(page.replace(row, "")) == page


def test_the_model_page_has_the_clocks_in_their_order():
    told = [
        name for row in table_after(MODEL_PAGE, "clocks, in order") for name in row[0].split(", ")
    ]
    own = [*L.CLOCK_NAMES, "each source", "each sensor", *L.LEAK_CLOCKS]
    assert [name.removeprefix("per open leak: ") for name in told] == own


def test_the_model_page_has_the_links_of_a_stroke_in_their_order():
    told = re.findall(
        r"\*([a-z -]+)\*", "\n".join(row[0] for row in table_after(MODEL_PAGE, "link | condition"))
    )
    source = inspect.getsource(actuator.begin_stroke.py_func)
    source = source[source.index("source = power_source") :]
    found = [L.MODES[int(getattr(L, name))] for name in re.findall(r"return L\.(MODE_\w+)", source)]
    assert told == found[:-1]
    assert found[-1] == "none"


# --- closing elements -----------------------------------------------------------------------------


def test_every_element_has_traits_and_words():
    assert list(elements.ELEMENTS) == list(get_args(elements.Kind)) == list(WORDS)
    assert len({words.fitted for words in WORDS.values()}) == len(WORDS)


def test_the_section_of_an_element_is_one_of_the_scenario():
    for kind, element in elements.ELEMENTS.items():
        assert (element.section in System.model_fields) == element.closes, kind


def test_who_must_close_by_hand_is_told_how():
    """A clamp is told from its mount; what else closes by itself has words of its own."""
    for kind, element in elements.ELEMENTS.items():
        assert bool(WORDS[kind].by_hand) == (element.closes and not element.clamped), kind


# --- failure modes --------------------------------------------------------------------------------


def test_every_mode_has_a_number_that_the_model_uses():
    numbers = {name: int(value) for name, value in vars(modes).items() if name.startswith("MODE_")}
    assert sorted(numbers.values()) == list(range(len(L.MODES)))
    sources = "\n".join(
        path.read_text("utf-8")
        for path in (PACKAGE / "model").glob("*.py")
        if path.stem not in ("modes", "layout")
    )
    assert [name for name in numbers if not re.search(rf"\b{name}\b", sources)] == []


def test_every_mode_has_words():
    assert list(MODES) == list(modes.FAILURE_MODES)
    assert len({meaning.happened for meaning in MODES.values()}) == len(MODES)
    assert all(meaning.remedy for meaning in MODES.values())


def test_every_mode_can_be_taken_out_or_says_why_not():
    for name, mode in modes.FAILURE_MODES.items():
        told = mode.without if isinstance(mode.without, str) else mode.without.how
        assert told, name


def test_stages_follow_the_chain():
    """Sensing, logic and power, the element; time comes last. Each is of one subsystem."""
    stages = [mode.stage for mode in modes.FAILURE_MODES.values()]
    before = ["not fitted", "sensing", "logic"]
    firsts = [stages.index(stage) for stage in (*before, "element", "time")]
    assert firsts == sorted(firsts)
    assert {"element", "torque"}.isdisjoint(stages[: firsts[3]])
    assert set(before).isdisjoint(stages[firsts[3] :])
    assert firsts[-1] == len(stages) - 1
    split = [stage for stages in failures.SUBSYSTEMS.values() for stage in stages]
    assert sorted(split) == sorted(get_args(modes.Stage))


def test_sizing_tells_every_way_that_torque_fails():
    """What broke at an earlier stroke is no way of its own to fail at this one."""
    earlier_stroke = {int(L.MODE_MOTOR_BURNT), int(L.MODE_GEARS_STRIPPED)}
    assert set(worth.TORQUE) == (set(shortfall._MODES) & set(worth.TORQUE)) | earlier_stroke
    assert set(worth.TORQUE).isdisjoint(worth.EARLIER)


# --- commands -------------------------------------------------------------------------------------


def test_every_module_with_a_command_is_listed():
    with_commands = [
        path.stem
        for path in sorted((PACKAGE / "cli").glob("*.py"))
        if "@app.command" in path.read_text("utf-8")
    ]
    assert with_commands == sorted(COMMANDS)


def test_every_command_stands_on_the_page_of_commands():
    page = (ROOT / "docs" / "commands.md").read_text("utf-8")
    for command in app.registered_commands:
        name = command.name or command.callback.__name__
        assert f"\n## {name}\n" in page
