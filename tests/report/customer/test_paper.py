"""The page on paper and screen: one side of A4, nothing cut or overlapping, contrast and sizes, one content in all."""

from __future__ import annotations

import re
from dataclasses import replace
from html.parser import HTMLParser

import pytest

from diag.basics import DiagError
from diag.pictures import ACCENT, INK, LINE, MUTED, PAPER, TINT
from diag.report import CustomerPage, page_blocks, page_html, page_pdf, render
from tests.report.customer.demo_pages import CASES, LANGUAGES, page, pdf
from tests.support.cases import MANY_SYMPTOMS
from tests.support.pages import A4_POINTS, letters_of, overlaps, pages_in, text_of

MARGIN_POINTS = 28.0  # 10 mm, more than office printers leave blank
SMALLEST_POINTS = 7.5

LONG = "Fathom estate of the harbour master's office shakes, smokes, smells, starts badly and chuffs on both sides"


def longest_page() -> CustomerPage:
    """The V8 with many symptoms, and names as long as people write them."""
    of = page(MANY_SYMPTOMS, "de")
    rows = tuple(replace(row, cells=tuple((*cell, "und noch eine lange Zeile Arbeit") for cell in row.cells[:3]))
                 if row is of.rows[0] else row for row in of.rows)  # fmt: skip
    return replace(of, case=LONG, vehicle=f"{of.vehicle}, Kennzeichen AB CD 1234", rows=rows)


@pytest.mark.parametrize("language", LANGUAGES)
@pytest.mark.parametrize("name", CASES)
def test_it_is_one_side_of_a4_with_nothing_cut_or_overlapping(name: str, language: str) -> None:
    """Measured on every letter of the PDF: within the margins (ISO 216 A4), none over another, none too small."""
    held(pdf(name, language))


def held(made: bytes, within: float = 0.1) -> None:
    assert pages_in(made) == 1
    letters = letters_of(made)
    assert (letters.width, letters.height) == pytest.approx(A4_POINTS, abs=within)
    assert letters.boxes[:, :2].min() >= MARGIN_POINTS
    assert letters.boxes[:, 2].max() <= letters.width - MARGIN_POINTS
    assert letters.boxes[:, 3].max() <= letters.height - MARGIN_POINTS
    assert overlaps(letters) == []


def test_long_names_on_a_v8_still_fit() -> None:
    held(page_pdf(longest_page()))
    assert "AB CD 1234" in text_of(page_pdf(longest_page()))


def test_what_cannot_fit_is_told_and_not_cut() -> None:
    with pytest.raises(DiagError, match="too long for one side of A4: shorten the case's title"):
        page_pdf(replace(page("one_blown_seal"), case=LONG * 40))


@pytest.mark.parametrize("name", CASES)
def test_letters_are_large_enough(name: str) -> None:
    """Small letters have an x-height about 0.43 of their size in this face; running text is at least 8.4 points."""
    letters = letters_of(pdf(name))
    heights = [box[3] - box[1] for letter, box in zip(letters.text, letters.boxes, strict=True) if letter in "xz"]
    assert min(heights) >= 0.42 * SMALLEST_POINTS


@pytest.mark.parametrize("name", ["one_blown_seal", MANY_SYMPTOMS])
def test_the_same_content_gives_the_same_bytes(name: str) -> None:
    assert page_pdf(page(name)) == pdf(name)
    assert page_html(page(name)) == page_html(page(name))


def texts(of: CustomerPage) -> list[str]:
    """All that the record says in words."""
    sections = (of.safety, of.wrong, of.advice, of.nothing, of.unknown, of.terms)
    said = [of.title, of.case, of.vehicle, of.invented, of.choose, of.choose_none, of.sign_date, of.sign_name]
    said += [line for section in sections if section.lines for line in (section.heading, *section.lines)]
    said += [line for row in of.rows for line in (row.label, *(each for cell in row.cells for each in cell))]
    return [*said, *(option.heading for option in of.options), of.footer]


class Reader(HTMLParser):
    """Collects what is seen, what tags there are, and what points outside."""

    def __init__(self) -> None:
        super().__init__()
        self.seen: list[str] = []
        self.tags: list[str] = []
        self.outside: list[str] = []
        self.hidden = 0

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append(tag)
        self.hidden += tag in ("style", "title", "desc")
        self.outside += [str(value) for name, value in attrs if name in ("src", "href") and value]

    def handle_endtag(self, tag: str) -> None:
        self.hidden -= tag in ("style", "title", "desc")

    def handle_data(self, data: str) -> None:
        if not self.hidden:
            self.seen.append(data)


@pytest.mark.parametrize("language", LANGUAGES)
@pytest.mark.parametrize("name", ["one_blown_seal", MANY_SYMPTOMS, "second_seal_weeping"])
def test_paper_screen_and_terminal_say_the_same(name: str, language: str) -> None:
    """Everything of the one record stands in the HTML, in the PDF and in the text, and nothing is fetched."""
    of = page(name, language)
    reader = Reader()
    reader.feed(page_html(of))
    screen, paper = " ".join(" ".join(reader.seen).split()), text_of(pdf(name, language))
    terminal = " ".join(render(page_blocks(of), 100).split())
    for text in texts(of):
        plain = " ".join(text.split())
        assert plain in screen
        assert plain.replace(" ", "").replace("-", "") in paper.replace(" ", "").replace("-", "")
        assert plain.replace(" ", "") in terminal.replace(" ", "")
    assert reader.outside == []
    assert f'<html lang="{language}" dir="ltr">' in page_html(of)


@pytest.mark.parametrize("language", LANGUAGES)
def test_a_danger_is_told_on_the_terminal_in_the_words_of_the_language_alone(language: str) -> None:
    """The heading of the language file stands before it; the workshop's own word 'CAUTION' is English."""
    of = page("second_seal_weeping", language)
    told = render(page_blocks(of), 100).partition(of.safety.heading)[2]
    assert " ".join(told.split()).startswith(f"! {of.safety.lines[0]}")
    assert "CAUTION" not in told


@pytest.mark.parametrize("sign", ["\N{MINIBUS}", "\N{KATAKANA LETTER SI}"])
def test_a_sign_that_the_paper_cannot_show_is_told_by_itself(sign: str) -> None:
    """A tablet's picture in a title, or a language whose letters do not come along: told, and never left blank."""
    with pytest.raises(
        DiagError, match=f"the letters of this PDF have no '{sign}'; write another sign, or make the page"
    ):
        page_pdf(replace(page("one_blown_seal"), case=f"Van {sign}"))


def test_markup_in_a_name_stays_text() -> None:
    of = replace(page("one_blown_seal"), case='<b>*Van*</b> & #strong[co] "x" $1$')
    assert "&lt;b&gt;*Van*&lt;/b&gt; &amp; #strong[co]" in page_html(of)
    assert "<b>*Van*</b> & #strong[co]" in text_of(page_pdf(of))


def luminance(colour: str) -> float:
    """Relative luminance of WCAG 2.2 (W3C 2023)."""
    parts = [int(colour[index : index + 2], 16) / 255 for index in (1, 3, 5)]
    linear = [part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4 for part in parts]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def contrast(one: str, other: str) -> float:
    """Contrast ratio of WCAG 2.2 (W3C 2023)."""
    light, dark = sorted((luminance(one), luminance(other)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


@pytest.mark.parametrize(("one", "ratio"), [("#000000", 21.0), ("#767676", 4.54), ("#ffffff", 1.0), ("#ff0000", 4.0)])
def test_contrast_agrees_with_known_values(one: str, ratio: float) -> None:
    """On white: black 21, the lightest grey that passes 4.54, red 4.00 (widely published; from memory)."""
    assert contrast(one, "#ffffff") == pytest.approx(ratio, abs=0.01)


def test_text_and_frames_have_the_contrast_of_wcag_aa() -> None:
    """WCAG 2.2, 1.4.3: text at least 4.5 to 1; 1.4.11: frames and bars at least 3 to 1; on paper and on the tint."""
    for ground in (PAPER, TINT):
        assert all(contrast(colour, ground) >= 4.5 for colour in (INK, MUTED, ACCENT))
        assert contrast(LINE, ground) >= 3


def test_the_style_uses_only_those_colours_and_sizes_that_grow() -> None:
    """All colours are the palette's; on screen all sizes are relative, none below 14 px (WCAG 2.2, 1.4.4)."""
    html = page_html(page("second_seal_weeping"))
    style = html[html.index("<style>") : html.index("</style>")]
    assert set(re.findall(r"#[0-9a-f]{6}", style)) <= {PAPER, INK, MUTED, LINE, ACCENT, TINT}
    text_colours = set(re.findall(r"[^-]color: (#[0-9a-f]{6})", style))
    assert text_colours <= {INK, MUTED, ACCENT}
    screen = style[: style.index("@media print")]
    sizes = re.findall(r"font-size: ([0-9.]+)([a-z%]+)", screen)
    assert sizes and all(unit == "rem" and float(size) >= 0.875 for size, unit in sizes)


def test_the_html_is_built_of_headings_and_a_table_with_headers() -> None:
    reader = Reader()
    reader.feed(page_html(page("second_seal_weeping")))
    assert reader.tags.count("h1") == 1
    assert {"main", "header", "footer", "table", "thead", "tbody", "th", "svg"} <= set(reader.tags)
    assert page_html(page("second_seal_weeping")).count('scope="row"') == 8


def test_the_pdf_is_tagged_for_screen_readers() -> None:
    """PDF/UA-1 (ISO 14289-1) asks for tags, a language and a title."""
    raw = pdf("one_blown_seal")
    assert b"/MarkInfo" in raw or b"StructTreeRoot" in raw
    assert b"pdfuaid" in raw


@pytest.mark.parametrize(("language", "way"), [("ar", "rtl"), ("he", "rtl"), ("fa", "rtl"), ("cs", "ltr")])
def test_a_language_is_laid_out_the_way_it_is_written(language: str, way: str) -> None:
    """A language file of one's own: Arabic had stood ragged at the left, its full stops at the wrong end."""
    made = page_html(replace(page("one_blown_seal"), language=language))
    assert f'<html lang="{language}" dir="{way}">' in made
    assert "text-align: left" not in made
    assert 'direction="ltr" width=' in made  # the picture's letters stand where they were measured
