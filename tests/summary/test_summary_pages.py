"""The file: two tagged pages, the same bytes every time, whatever the names."""

from __future__ import annotations

import sys
from dataclasses import replace

import pytest
from summary_pages import make, read, renamed, text, with_copies

from shutoffsim.errors import ModelError, OutputError
from shutoffsim.estimate.estimate import Estimate
from shutoffsim.report.summary.content import summary_content
from shutoffsim.report.summary.letters import missing_letters
from shutoffsim.report.summary.typeset import typeset


@pytest.fixture(scope="module")
def pdf(cottage_assessed) -> bytes:
    return make(cottage_assessed)


def elements(node, kind: str) -> list:
    """All elements of one kind in a tree of tags."""
    node = node.get_object()
    found = [node] if node.get("/S") == kind else []
    children = node.get("/K", [])
    for child in children if isinstance(children, list) else [children]:
        child = child.get_object()
        if hasattr(child, "get") and (child.get("/S") or child.get("/K") is not None):
            found += elements(child, kind)
    return found


def test_two_tagged_pages_with_title_and_language(pdf, cottage_assessed):
    reader = read(pdf)
    root = reader.trailer["/Root"]
    assert len(reader.pages) == 2
    assert bool(root["/MarkInfo"]["/Marked"])
    assert root["/Lang"] == "en"
    assert bool(root["/ViewerPreferences"]["/DisplayDocTitle"])
    assert reader.metadata.title == f"Water damage risk summary: {cottage_assessed.scenario}"
    assert b"<pdfuaid:part>1</pdfuaid:part>" in root["/Metadata"].get_object().get_data()


def test_tags_let_a_screen_reader_find_its_way(pdf):
    tree = read(pdf).trailer["/Root"]["/StructTreeRoot"]
    assert len(elements(tree, "/H1")) == 15
    assert len(elements(tree, "/Table")) >= 6
    assert len(elements(tree, "/TH")) >= 12
    assert len(elements(tree, "/L")) == 7
    figures = elements(tree, "/Figure")
    assert len(figures) == 1
    assert "Curves of the chance" in figures[0]["/Alt"]
    assert "once in 50 years" in figures[0]["/Alt"].replace("\N{NO-BREAK SPACE}", " ")


@pytest.mark.parametrize(("paper", "size"), [("a4", (595, 842)), ("us-letter", (612, 792))])
def test_both_papers_take_two_pages(cottage_assessed, paper, size):
    reader = read(make(cottage_assessed, paper=paper))
    assert len(reader.pages) == 2
    for page in reader.pages:
        box = page.mediabox
        assert (round(float(box.width)), round(float(box.height))) == size


def test_nothing_outside_is_needed(pdf):
    reader = read(pdf)
    for page in reader.pages:
        assert "/Annots" not in page  # no links
        for font in page["/Resources"]["/Font"].values():
            inner = font.get_object()["/DescendantFonts"][0].get_object()
            descriptor = inner["/FontDescriptor"].get_object()
            assert "/FontFile2" in descriptor or "/FontFile3" in descriptor
            # Fonts of the machine are none of these.
            assert str(inner["/BaseFont"]).split("+")[1].startswith(("Libertinus", "DejaVu"))
    assert b"http://" not in b"".join(p.get_contents().get_data() for p in reader.pages)
    assert reader.metadata.creation_date is None


def test_same_result_same_bytes(pdf, cottage_assessed):
    assert make(cottage_assessed) == pdf


def test_every_letter_of_a_usual_summary_has_a_font(cottage_assessed):
    assert missing_letters(summary_content(cottage_assessed)) == []


def test_letters_that_no_font_has_are_named(cottage_assessed):
    strange = renamed(cottage_assessed, lambda name: f"{name} 漏水"[-80:])
    assert missing_letters(summary_content(strange)) == ["漏", "水"]


HOSTILE = {
    "wide": lambda name: ("W" * 80)[: 80 - len(name)] + name,
    "markup": lambda name: f'#panic("x") $a_b$ *b* _i_ @r <t> \\u{{41}} [x] `c` // = {name}'[:80],
    "page": lambda name: f"<script>alert(1)</script> & <?xml {name}",
    "right to left": lambda name: ("مرحبا بالعالم " * 6)[: 80 - len(name)] + name,
    "double width": lambda name: ("漏水" * 40)[: 80 - len(name)] + name,
    "emoji": lambda name: ("💧" * 80)[: 80 - len(name)] + name,
    "words": lambda name: ("several long words " * 6)[: 80 - len(name)] + name,
}


@pytest.mark.parametrize(
    ("kind", "paper"), [*((kind, "a4") for kind in HOSTILE), ("wide", "us-letter")]
)
def test_hostile_names_still_take_two_pages(cottage_assessed, kind, paper):
    name = HOSTILE[kind]
    strange = with_copies(renamed(cottage_assessed, name, name("x") * 25), 30)
    assert len(read(make(strange, paper=paper)).pages) == 2


@pytest.mark.parametrize("kind", ["markup", "page"])
def test_markup_in_names_is_printed_as_it_is(cottage_assessed, kind):
    name = HOSTILE[kind]
    told = text(make(renamed(cottage_assessed, name)))
    assert " ".join(name(cottage_assessed.scenario).split()) in told


def test_letters_that_reorder_a_line_are_left_out(cottage_assessed):
    strange = renamed(cottage_assessed, lambda name: f"\N{RIGHT-TO-LEFT OVERRIDE}{name}")
    content = summary_content(strange)
    assert content["name"] == cottage_assessed.scenario


def test_of_many_designs_the_best_few_are_listed(cottage_assessed):
    told = text(make(with_copies(cottage_assessed, 30)))
    assert "27 more were compared." in told
    assert told.count("copy number") == 4  # the best ones, and no other fits


def test_single_design(single_assessed):
    pdf = make(single_assessed)
    told = text(pdf)
    assert len(read(pdf).pages) == 2
    assert "Reduction a year" not in told
    assert "Alternatives" not in told
    assert "Failure on demand (PFD)" in told


def test_reference_without_automation(cottage_assessed):
    pdf = make(cottage_assessed, cottage_assessed.reference)
    told = text(pdf)
    assert len(read(pdf).pages) == 2
    assert "Closing element none: a person closes the water" in told
    assert "each leak runs until a person stops it" in told
    assert "Reduction a year" not in told
    assert "Failure on demand (PFD) no automation" in told


def test_no_leak_at_all_claims_nothing(dry_assessed):
    pdf = make(dry_assessed)
    told = text(pdf)
    assert len(read(pdf).pages) == 2
    assert "Failure on demand (PFD) unknown no leak was simulated" in told
    assert "No leak was simulated." in told
    assert "automation stopped every leak" not in told
    assert elements(read(pdf).trailer["/Root"]["/StructTreeRoot"], "/Figure") == []


def test_huge_amounts_still_take_two_pages(cottage_assessed):
    def grown(e: Estimate) -> Estimate:
        return Estimate(*(1e12 * x for x in (e.value, e.std_error, e.low, e.high)))

    told = cottage_assessed.comparison
    comparison = replace(
        told,
        designs=tuple(
            replace(
                d,
                expected_annual_damage=grown(d.expected_annual_damage),
                insured_annual_damage=grown(d.insured_annual_damage),
            )
            for d in told.designs
        ),
        differences=tuple(
            replace(d, expected_annual_damage=grown(d.expected_annual_damage))
            for d in told.differences
        ),
    )
    designs = tuple(
        replace(
            d,
            yearly_loss=replace(
                d.yearly_loss,
                periods=tuple(
                    replace(p, aggregate=grown(p.aggregate)) for p in d.yearly_loss.periods
                ),
            ),
        )
        for d in cottage_assessed.designs
    )
    pdf = make(replace(cottage_assessed, comparison=comparison, designs=designs))
    assert len(read(pdf).pages) == 2
    assert ",000,000,000" in text(pdf)


def test_one_history_admits_that_it_tells_little(cottage_assessed):
    told = cottage_assessed.comparison
    unsure = Estimate(-100.0, float("nan"), float("-inf"), float("inf"))
    comparison = replace(
        told, differences=tuple(replace(d, expected_annual_damage=unsure) for d in told.differences)
    )
    page = text(make(replace(cottage_assessed, comparison=comparison)))
    assert "The uncertainty of the effect" in page


@pytest.mark.parametrize(
    ("gap", "words"),
    [
        (Estimate(50.0, 2.0, 46.0, 54.0), "is 50 EUR a year more than with"),
        (Estimate(-1.0, 2.0, -5.0, 3.0), "is not clearly better than"),
        (Estimate(-50.0, 2.0, -54.0, -46.0), "a year (50 %) less than with"),
    ],
)
def test_answer_says_worse_unclear_or_better(gap, words):
    from shutoffsim.report.summary.money import answer

    before = Estimate(100.0, 1.0, 98.0, 102.0)
    assert words in answer("new", "old", gap, before, "EUR")


def test_unknown_design(cottage_assessed):
    with pytest.raises(ModelError, match="there is no such design in this result"):
        summary_content(cottage_assessed, "golden taps")


def test_text_that_cannot_fit_is_refused(cottage_assessed):
    content = summary_content(cottage_assessed)
    content["answer"] = "words " * 5000
    with pytest.raises(OutputError, match="the pages cannot be set"):
        typeset(content)


def test_missing_typesetter_is_told_with_the_remedy(cottage_assessed, monkeypatch):
    content = summary_content(cottage_assessed)
    monkeypatch.setitem(sys.modules, "typst", None)  # as if it were not installed
    with pytest.raises(OutputError, match=r'pip install "shutoffsim\[pdf\]"'):
        typeset(content)
