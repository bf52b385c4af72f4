"""The page in a real browser: every width and theme, print, keyboard, and accessibility rules."""

from __future__ import annotations

import io
import unicodedata
from dataclasses import replace
from pathlib import Path

import pytest

from shutoffsim.report.archive import load_assessment
from shutoffsim.report.page.page import write_page

WIDTHS = {"phone": 360, "desk": 1280}
THEMES = ("light", "dark")


@pytest.fixture(scope="module", params=["plain", "hostile"])
def file(request, tmp_path_factory):
    found = request.getfixturevalue("assessed" if request.param == "plain" else "hostile")
    path = tmp_path_factory.mktemp("page") / "page.html"
    write_page(found, path)
    return path


@pytest.fixture
def opened(browser):
    """Open pages; afterwards nothing may have been asked for or complained of."""
    contexts = []
    said, asked = [], []

    def opener(file, width, theme="light"):
        context = browser.new_context(
            viewport={"width": width, "height": 900}, color_scheme=theme, offline=True
        )
        contexts.append(context)
        page = context.new_page()
        page.on("console", lambda message: said.append(message.text))
        page.on("pageerror", lambda error: said.append(str(error)))
        page.on("dialog", lambda dialog: (said.append(dialog.message), dialog.dismiss()))
        page.on("request", lambda request: asked.append(request.url))
        page.goto(file.as_uri())
        return page

    yield opener
    for context in contexts:
        context.close()
    assert said == []
    assert [url for url in asked if not url.startswith(("file:", "data:"))] == []


@pytest.mark.parametrize("theme", THEMES)
@pytest.mark.parametrize("width", WIDTHS.values(), ids=WIDTHS)
def test_nothing_sticks_out(opened, file, width, theme):
    page = opened(file, width, theme)
    for details in (False, True):
        page.evaluate(
            "open => document.querySelectorAll('details').forEach(d => { d.open = open })", details
        )
        wide = page.evaluate("document.documentElement.scrollWidth")
        assert wide <= width
    # Whatever is wider than its place scrolls in a place of its own.
    out = page.evaluate(
        """() => [...document.querySelectorAll('main *')].filter(e =>
            !e.closest('.scroll') && !e.closest('svg') && !e.closest('.unseen') &&
            e.getBoundingClientRect().right > document.documentElement.clientWidth + 1
        ).map(e => e.tagName + ' ' + e.className)"""
    )
    assert out == []


def test_the_check_for_what_sticks_out_can_fail(opened, file):
    page = opened(file, 360)
    page.evaluate("document.querySelector('h1').style.width = '2000px'")
    assert page.evaluate("document.documentElement.scrollWidth") > 360


def test_themes_differ_and_figures_follow(opened, file):
    colours = {}
    for theme in THEMES:
        page = opened(file, 1280, theme)
        colours[theme] = page.evaluate(
            """() => [getComputedStyle(document.documentElement).backgroundColor,
                      getComputedStyle(document.querySelector('svg text')).fill]"""
        )
    assert colours["light"][0] != colours["dark"][0]
    assert colours["light"][1] != colours["dark"][1]
    assert colours["dark"][0] != colours["dark"][1]


def test_the_keyboard_reaches_what_folds_and_scrolls(opened, file):
    page = opened(file, 360)
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.className") == "skip"
    assert page.evaluate("document.activeElement.getBoundingClientRect().left") >= 0
    page.keyboard.press("Enter")
    assert page.evaluate("location.hash") == "#main"
    fold = page.locator("summary").first
    fold.focus()
    page.keyboard.press("Enter")
    assert page.evaluate("document.querySelector('details').open") is True
    assert page.evaluate("[...document.querySelectorAll('.scroll')].every(e => e.tabIndex === 0)")


def test_it_prints(opened, file):
    pypdf = pytest.importorskip("pypdf", reason="needs the package pypdf")
    page = opened(file, 1280, "dark")
    read = pypdf.PdfReader(io.BytesIO(page.pdf(format="A4", print_background=False)))
    words = " ".join(" ".join(p.extract_text() for p in read.pages).split())
    for heading in ("The question and the answer", "Cautions and limits", "How to reproduce this"):
        assert heading in words
    assert len(read.pages) <= 12
    page.emulate_media(media="print")
    ground, ink = page.evaluate(
        """() => { const of = name => getComputedStyle(document.documentElement)
                       .getPropertyValue(name).trim();
                   return [of('--ground'), of('--ink')]; }"""
    )
    assert (ground, ink) == ("#fcfcfa", "#1c2226")  # light, whatever the screen prefers


REPORTS = Path(__file__).resolve().parents[2] / "reports"
SHEET, LAST_LINE = "Commissioning and maintenance sheet", "until the water is off"


def _printed(opened, found, path) -> list[str]:
    """Return the words of each printed page of an assessment."""
    pypdf = pytest.importorskip("pypdf", reason="needs the package pypdf")
    write_page(found, path)
    pdf = opened(path, 1280).pdf(format="A4", print_background=False)
    sheets = pypdf.PdfReader(io.BytesIO(pdf)).pages
    # Fonts write "ff" as one letter.
    texts = [unicodedata.normalize("NFKC", sheet.extract_text()) for sheet in sheets]
    return [" ".join(text.split()) for text in texts]


@pytest.mark.parametrize("demo", ["terraced_house", "clinic_above_shop", "holiday_cottage"])
def test_a_demo_prints_on_twelve_pages_its_sheet_on_one(opened, tmp_path, demo):
    """The stored results, set anew: nothing but the sheet stands on the page beside the valve."""
    found = load_assessment(REPORTS / demo)
    pages = _printed(opened, found, tmp_path / "page.html")
    assert len(pages) <= 12
    (sheet,) = [words for words in pages if SHEET in words]
    assert sheet.split(SHEET)[0].strip().isdigit()  # only its number stands before it
    for part in ("When water runs", "Whom to call", "insurer", "From then on", LAST_LINE):
        assert part in sheet
    assert "Cautions and limits" not in sheet


def test_a_sheet_too_long_for_its_page_would_be_noticed(opened, tmp_path):
    found = load_assessment(REPORTS / "terraced_house")
    long = tuple(
        replace(
            design,
            maintenance=replace(design.maintenance, override=design.maintenance.override * 12),
        )
        if design.name == found.chosen
        else design
        for design in found.designs
    )
    pages = _printed(opened, replace(found, designs=long), tmp_path / "page.html")
    (first,) = [at for at, words in enumerate(pages) if SHEET in words]
    assert LAST_LINE not in pages[first]
    assert LAST_LINE in pages[first + 1]


@pytest.mark.parametrize("theme", THEMES)
@pytest.mark.parametrize("width", WIDTHS.values(), ids=WIDTHS)
def test_accessibility_rules(opened, file, axe, width, theme):
    page = opened(file, width, theme)
    page.evaluate("document.querySelectorAll('details').forEach(d => { d.open = true })")
    serious = _violations(page, axe)
    assert serious == []


def test_the_accessibility_check_can_fail(opened, file, axe):
    page = opened(file, 1280)
    page.evaluate("document.documentElement.removeAttribute('lang')")
    page.evaluate("document.querySelector('.answer').style.color = '#ddd'")
    assert {"html-has-lang", "color-contrast"} <= {rule for rule, _ in _violations(page, axe)}


def _violations(page, axe: str) -> list[tuple[str, str]]:
    page.evaluate(axe)
    found = page.evaluate("axe.run(document, {resultTypes: ['violations']})")
    assert found["passes"], "no rule was applied"
    return [
        (rule["id"], rule["nodes"][0]["html"][:120])
        for rule in found["violations"]
        if rule["impact"] in ("serious", "critical", "moderate")
    ]
