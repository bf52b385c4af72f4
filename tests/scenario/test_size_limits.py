"""Texts that are valid letter by letter and would take minutes, or print megabytes."""

from __future__ import annotations

import pytest

import shutoffsim
from shutoffsim.errors import LISTED_PROBLEMS, ScenarioError
from shutoffsim.scenario import read, resolve

LEAK = '[leaks.hose]\nkind = "appliance hose"\n'
DESIGN = '[designs.a]\nelement.kind = "none"\n'
LONG_QUOTED = '"' + 300 * "b" + '"'


def refusal(text: str) -> ScenarioError:
    with pytest.raises(ScenarioError) as caught:
        shutoffsim.loads(text)
    return caught.value


@pytest.fixture
def unread(monkeypatch):
    """Reading TOML fails: what is refused has to be refused before."""

    def fail(_text):
        raise AssertionError("the text was parsed")

    monkeypatch.setattr(read.tomllib, "loads", fail)


@pytest.fixture
def unresolved(monkeypatch):
    """Filling in defaults fails: what is refused has to be refused before."""

    def fail(*_args):
        raise AssertionError("a design was resolved")

    monkeypatch.setattr(resolve, "fill", fail)


@pytest.mark.usefixtures("unread")
@pytest.mark.parametrize(
    "line",
    [
        ".".join(50_000 * ["a"]) + " = 1",
        "x = {" + " . ".join(50_000 * ["a"]) + " = 1}",
        "[" + ".".join(33_000 * ['"a"']) + "]",
        ".".join(2_000 * [*(31 * ["a"]), LONG_QUOTED]) + " = 1",
        "".join(400_000 * ['\\"']) + "\n" + ".".join(50 * ["'a'"]) + " = 1",
    ],
    ids=["bare", "inline table", "header", "long parts between", "after escaped quotes"],
)
def test_a_key_of_very_many_parts_is_refused_before_it_is_parsed(line):
    error = refusal(LEAK + DESIGN + line + "\n")
    assert f"a key of more than {read.DEEPEST} parts" in str(error)
    assert error.problems[0].line == 5 + line.count("\n")


@pytest.mark.parametrize(
    "text",
    [
        'description = "' + 900 * "a." + '"\n',
        'description = """\n' + 60 * "a.b.\n" + '"""\n',
        f"# {'a.' * 100}\n",
        f"description = '''\n{'a.' * 100}'''\n",
    ],
    ids=["text", "long text", "remark", "literal text"],
)
def test_dots_in_texts_and_remarks_are_no_keys(text):
    assert shutoffsim.loads(text + LEAK + DESIGN).designs == ("a",)


@pytest.mark.usefixtures("unresolved")
@pytest.mark.parametrize(
    ("text", "words"),
    [
        (
            LEAK + DESIGN + "".join(f"[designs.d{i}]\nlike = 'd{i - 1}'\n" for i in range(3000)),
            "too many designs",
        ),
        (
            "".join(f"[leaks.x{i}]\nkind = 'appliance hose'\n" for i in range(9000)) + DESIGN,
            "too many leaks",
        ),
        (
            LEAK + DESIGN + "".join(f"[designs.a.sensors.s{i}]\n" for i in range(9000)),
            "too many sensors",
        ),
    ],
    ids=["designs", "leaks", "sensors of a design"],
)
def test_a_refusal_of_size_comes_first_and_alone(text, words):
    error = refusal(text)
    assert [problem.message for problem in error.problems] == [error.message]
    assert words in error.message


def test_the_first_problems_are_printed_and_the_rest_is_counted():
    error = refusal(
        LEAK + DESIGN + "[dwelling]\n" + "".join(f"key{i} = 1\n" for i in range(20_000))
    )
    text = str(error)
    assert text.startswith("20,000 problems\n")
    assert text.count("there is no such key") == LISTED_PROBLEMS
    assert "dwelling.key19:" in text
    assert text.endswith("\nand 19,980 more")
    few = str(refusal(LEAK + DESIGN + "[dwelling]\n" + "".join(f"key{i} = 1\n" for i in range(3))))
    assert few.startswith("3 problems\n")
    assert "more" not in few


def test_a_long_circle_of_designs_is_cut_short():
    text = LEAK + "".join(f"[designs.{'d' * 50}{i}]\nlike = '{'d' * 50}{i - 1 if i else 99}'\n"
                          for i in range(100))  # fmt: skip
    problem = refusal(text).problems[0]
    assert "in a circle" in problem.message
    assert len(problem.found) < 300


@pytest.mark.parametrize("number", ["0x" + 50_000 * "f", "9" * 20, "-" + "9" * 20])
def test_whole_numbers_beyond_what_toml_promises_are_refused(number):
    assert "a whole number is too large" in str(
        refusal(f"{LEAK}{DESIGN}[dwelling]\nunits_below = {number}\n")
    )
