"""The page's form: it stands alone, can be read by a program, and hostile text does no harm."""

from __future__ import annotations

import math
import re
from dataclasses import replace
from itertools import pairwise

import pytest
from page_reading import Page

import shutoffsim
from shutoffsim.errors import OutputError
from shutoffsim.estimate.estimate import Estimate
from shutoffsim.report.page.drawing import canvas, embed
from shutoffsim.report.page.figures import Line, Range, bars, curves, ranges, tornado
from shutoffsim.report.page.page import page, write_page
from shutoffsim.report.page.render import Isolator, printable
from shutoffsim.report.page.theme import COLOURS, SERIES, letter
from shutoffsim.study.assessment.assess import assess


@pytest.fixture(scope="module")
def text(assessed):
    return page(assessed)


def test_the_same_assessment_gives_the_same_bytes(assessed, text):
    assert page(assessed) == text


def test_nothing_comes_from_outside_and_nothing_runs(text):
    read = Page(text)
    assert {"script", "iframe", "object", "embed", "form", "img", "base"} & set(read.tags) == set()
    outside = [(tag, to) for tag, to in read.links if not to.startswith(("#", "data:,"))]
    assert outside == []
    style = text[text.index("<style>") : text.index("</style>")]
    assert "url(" not in style
    assert "@import" not in style
    assert "default-src 'none'" in text
    assert re.search(r"\son[a-z]+=", text) is None


def test_every_name_is_unique_and_every_reference_has_its_target(text):
    read = Page(text)
    assert len(read.ids) == len(set(read.ids))
    targets = set(read.ids)
    for tag, to in read.links:
        if to.startswith("#"):
            assert to[1:] in targets, f"<{tag}> points to {to}"
    named = re.findall(r'aria-labelledby="([^"]*)"', text) + re.findall(r"url\(#([^)]*)\)", text)
    assert len(named) > 10
    assert {name for group in named for name in group.split()} <= targets


def test_headings_are_in_order_and_landmarks_are_there(text):
    read = Page(text)
    levels = [level for level, _ in read.headings]
    assert levels[0] == 1
    assert levels.count(1) == 1
    assert all(after - before <= 1 for before, after in pairwise(levels))
    for tag in ("header", "nav", "main", "footer"):
        assert read.tags.count(tag) == 1
    assert read.tags.index("a") < read.tags.index("header")  # the way past the contents
    assert read.tags.count("figure") == len(read.drawn) >= 7
    assert read.tags.count("figcaption") == read.tags.count("figure")


def test_the_parts_stand_in_the_order_of_the_questions(text):
    found = re.findall(r'<section id="([a-z]+)"', text)
    assert found == [
        "answer", "designs", "losses", "modes", "times", "incidents", "torque", "knows", "worth",
        "doubt", "upkeep", "cautions", "sources", "again",
    ]  # fmt: skip


def test_every_table_has_a_caption_and_full_rows(text):
    for table in Page(text).tables:
        assert table.caption.strip()
        assert {len(row) for row in table.rows} <= {len(table.heads)}


def test_hostile_names_are_text_and_nothing_else(hostile):
    text = page(hostile)
    read = Page(text)  # fails when a tag is left open or closed twice
    assert {"script", "img"} & set(read.tags) == set()
    assert read.tags.count("title") == 1 + len(read.drawn)  # the page's own, and each figure's
    assert text.count("</style>") == 1
    for name in (hostile.scenario, *(d.name for d in hostile.designs)):
        assert name in read.isolated
    for drawn in read.drawn.values():
        assert "shalom" not in drawn
    assert "alert(1)" in read.drawn["figure-losses"]  # told in the figure's description, as text
    assert "49" not in [item for item in read.isolated if "7*7" in item]
    assert "{{ 7*7 }}" in text


def test_a_scenario_title_with_markup_stays_text(hostile):
    text = page(hostile)
    title = text[text.index("<title>") + 7 : text.index("</title>")]
    assert title.startswith("&lt;script&gt;")


def test_letters_that_reorder_or_are_forbidden_are_left_out(assessed):
    odd = replace(assessed, scenario="a\u202eb\x00c\x1b[31m", description="\u2066x\ufffe")
    text = page(odd)
    assert "<bdi>abc[31m</bdi>" in text
    for letter_ in ("\u202e", "\x00", "\x1b", "\u2066", "\ufffe"):
        assert letter_ not in text


def test_names_are_set_apart_in_a_sentence():
    told = Isolator(["a", "a <b>", "ab"])("“a <b>” is not “a” nor “c”, <i>")
    assert told == "“<bdi>a &lt;b&gt;</bdi>” is not “<bdi>a</bdi>” nor “c”, &lt;i&gt;"
    assert printable("a\u200db") == "a\u200db"  # a joiner shapes letters and stays


def _small(**changes: str) -> str:
    parts = {
        "designs": '[designs."only"]\n',
        "rate": "0.02 per year",
        "more": "",
    } | changes
    return f"""
name = "Small"
currency = "EUR"
service_life = "10 years"
[dwelling]
floor_area = "60 m2"
pressure = "3 bar"
full_bore_flow = "20 L/min"
[zones.room]
area = "12 m2"
[leaks.hose]
kind = "flexible hose"
rate = "{parts["rate"]}"
[sensors.a]
zone = "room"
{parts["more"]}
{parts["designs"]}
"""


def _assess(text: str, **settings):
    settings = {"histories": 32, "removal_histories": 32, "swing_histories": 0} | settings
    return assess(shutoffsim.loads(text), **settings)


def test_one_design_without_cost():
    found = _assess(_small())
    text = page(found)
    read = Page(text)
    assert "reduction a year, EUR" not in read.table("Damage").heads
    assert "probability of improvement" not in text
    assert "There is no difference between two designs" in text
    assert re.search(r"\b(nan|None|inf)\b", _words(text)) is None


def test_no_leak_ever():
    text = page(_assess(_small(rate="0 per year"), removal_histories=0))
    assert "No leak of these designs causes a loss." in text
    assert "There is no leak to show." in text
    assert re.search(r"\b(nan|None|inf)\b", _words(text)) is None


def test_one_history_knows_no_interval():
    text = page(_assess(_small(), histories=1, removal_histories=1))
    assert "interval unknown" in text
    assert re.search(r"\b(nan|None|inf)\b", _words(text)) is None


def _words(text: str) -> str:
    body = re.sub(r"<svg.*?</svg>", "", text[text.index("<body>") :], flags=re.S)
    return re.sub(r"<[^>]*>", " ", body)


def test_huge_numbers_fit(assessed):
    first = assessed.comparison.designs[0]
    huge = Estimate(1.2345e15, 3e12, 1.2e15, 1.3e15)
    wrong = replace(first, expected_annual_damage=huge)
    gap, *gaps = assessed.comparison.differences
    less = replace(gap, expected_annual_damage=Estimate(-1.2345e15, 3e12, -1.3e15, -1.2e15))
    comparison = replace(
        assessed.comparison,
        designs=(wrong, *assessed.comparison.designs[1:]),
        differences=(less, *gaps),
    )
    read = Page(page(replace(assessed, comparison=comparison)))
    cell = read.table("Damage, and reduction").column("expected annual damage, EUR")[0]
    assert cell[0] == "1,234,500,000,000,000"
    assert "1,200 T" in read.drawn["figure-reduction"]


def test_more_designs_than_colours(assessed):
    """Designs that are not drawn stand in the tables, and the page says so."""
    names = [f"design {number}" for number in range(SERIES + 4)]
    extra = [replace(assessed.designs[1], name=name) for name in names]
    compared = [replace(assessed.comparison.designs[1], name=name) for name in names]
    gaps = [replace(assessed.comparison.differences[0], design=name) for name in names]
    many = replace(
        assessed,
        designs=(*assessed.designs, *extra),
        comparison=replace(
            assessed.comparison,
            designs=(*assessed.comparison.designs, *compared),
            differences=(*assessed.comparison.differences, *gaps),
        ),
        chosen=names[-1],
    )
    read = Page(page(many))
    assert len(read.table("Damage, and reduction").rows) == len(many.designs)
    assert "7 more designs are in the tables only" in page(many)
    assert all(name in read.drawn["figure-reduction"] for name in names)  # rows need no colours


def test_a_design_can_be_chosen_that_has_no_drive(assessed):
    read = Page(page(replace(assessed, chosen=assessed.reference)))
    assert read.table("When the work is done").rows
    assert [t for t in read.tables if t.caption.startswith("Limits that call")] == []


def _contrast(one: str, other: str) -> float:
    """Return the contrast of two colours after WCAG 2.2."""

    def light(colour: str) -> float:
        parts = [int(colour[at : at + 2], 16) / 255 for at in (1, 3, 5)]
        linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in parts]
        return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]

    low, high = sorted((light(one), light(other)))
    return (high + 0.05) / (low + 0.05)


@pytest.mark.parametrize("theme", ["light", "dark"])
def test_colours_stand_out(theme):
    assert _contrast("#000000", "#ffffff") == pytest.approx(21.0)
    for name, colour in COLOURS.items():
        for ground in ("ground", "panel"):
            contrast = _contrast(getattr(colour, theme), getattr(COLOURS[ground], theme))
            if name in ("ink", "soft", "accent"):
                assert contrast >= 4.5, (name, ground)
            elif name.startswith("series"):
                assert contrast >= 3.0, (name, ground)


def test_letters_of_designs_never_repeat():
    letters = [letter(number) for number in range(800)]
    assert len(set(letters)) == 800
    assert letters[26:28] == ["AA", "AB"]


def test_figures_bear_what_cannot_be_told():
    nan, inf = math.nan, math.inf
    drawn = [
        ranges([Range("A", nan, -inf, inf, "unknown", 0)], "x"),
        curves([Line("A", 0, [], []), Line("B", 1, [1.0, 10.0], [nan, 0.5])], "x", "y", y_log=True),
        bars([("not sensed", 0.0, nan, "0")], "x"),
        tornado([("1", nan, 5.0, "5")], 0.0, "x"),
    ]
    for number, figure in enumerate(drawn):
        svg = embed(figure, f"f{number}", "title", "told")
        assert "NaN" not in svg
        assert "nan" not in svg.split("<desc")[1].replace("told", "")
    assert "B" in re.findall(r">([A-Z])</text>", embed(drawn[1], "g", "", ""))


def test_a_figure_is_part_of_the_page():
    figure, axes = canvas()
    axes.set_xlabel("<b> & $x_1$")
    axes.plot([1, 2], [3, 4])
    svg = embed(figure, "one", "a <title>", "told & told")
    assert "&lt;b&gt; &amp; $x_1$" in svg
    assert "a &lt;title&gt;" in svg
    assert "var(--ink)" in svg or "var(--soft)" in svg
    assert re.search(r"(fill|stroke): #", svg.replace("#1f77b4", "")) is None
    assert "<style" not in svg
    assert all(name.startswith("one-") for name in re.findall(r' id="([^"]*)"', svg))


def test_the_page_is_written_in_full_or_not_at_all(assessed, tmp_path):
    target = tmp_path / "there" / "page.html"
    with pytest.raises(OutputError, match="there is no such folder"):
        write_page(assessed, target)
    assert list(tmp_path.iterdir()) == []
    write_page(assessed, tmp_path / "page.html")
    assert (tmp_path / "page.html").read_text(encoding="utf-8") == page(assessed)


def test_valves_that_have_all_seized(assessed):
    last = assessed.designs[-1]
    stuck = tuple(
        replace(at, needed_median_n_m=None, needed_p95_n_m=None, needed_p99_n_m=None, seized=1.0)
        for at in last.torque
    )
    found = replace(assessed, designs=(*assessed.designs[:-1], replace(last, torque=stuck)))
    text = page(replace(found, chosen=last.name))
    assert "no valve can be turned: all have seized" in text
    assert Page(text).table("Torque needed").rows[-1][1][0] == "–"
