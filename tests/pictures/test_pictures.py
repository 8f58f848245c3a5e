"""The pictures: the same each time, well-formed, described, within their frame, and readable without colour."""

from __future__ import annotations

import math
import re
from collections.abc import Callable
from xml.etree import ElementTree

import pytest
import typst

from diag.pictures import (
    ACCENT,
    INK,
    LINE,
    MUTED,
    PAPER,
    TINT,
    BeliefSeries,
    BeliefSteps,
    EngineMap,
    LifeCurve,
    MapBank,
    MapCylinder,
    OptionSpread,
    SpreadLine,
    belief_picture,
    engine_map,
    life_picture,
    spread_picture,
    wrapped,
)
from diag.pictures.drawing import text_width
from tests.support.pages import letters_of, overlaps, text_of

SVG = "{http://www.w3.org/2000/svg}"
LONGEST = "exceptionally unlikely (under\u00a01\u00a0%)"
MIDDLE = "about as likely as not (56\u00a0%)"


def bank(letter: str, *numbers: int) -> MapBank:
    cylinders = tuple(
        MapCylinder(number, MIDDLE if number == 2 else LONGEST, 0.56 if number == 2 else 0.004, number == 2, "3rd")
        for number in numbers
    )
    return MapBank(f"bank {letter}, under the air filter & <hose>", cylinders, "opened together: injectors, 1 h 30 min")


def map_of(*banks: MapBank) -> str:
    return engine_map(EngineMap("The engine", "Cylinder 2 stands out.", banks, "front", "Not to scale. " * 4))


def curve(k: float) -> tuple[tuple[float, float], ...]:
    """A Weibull curve of shape 2.5 (Weibull 1951)."""
    return tuple((10_000.0 * step, math.exp(-((10_000 * step / k) ** 2.5))) for step in range(41))


LIFE = LifeCurve(
    "Life of the seals",
    "Of 100 seals 95 still hold at 187,000 km.",
    curve(600_000),
    187_000,
    "today, 187,000 km: 95 % still hold",
    "kilometres driven",
    "share of seals that still hold",
    tuple((float(km), f"{km:,}") for km in range(0, 400_001, 100_000)),
    (("harsh stress on all seals", curve(300_000)),),
    "ordinary stress",
)
SPREAD = OptionSpread(
    "Options",
    "The advice costs least.",
    (
        SpreadLine("new seal, cylinder 2", 250, 323, 560, "250 to 560 EUR, 323 EUR on average", best=True),
        SpreadLine(
            "all seals of the engine, with new bolts, rings and washers " * 2, 600, 720, 1100, "600 to 1,100 EUR"
        ),
    ),
    "1,100 EUR",
    "advice",
)
BELIEF = BeliefSteps(
    "Belief",
    "The seal rises from 1 % to 75 %.",
    (
        "before any finding",
        "chuffing in time with this cylinder, engine cold",
        "black tar-like carbon around the injector",
    ),
    (
        BeliefSeries("combustion seal, cylinder 2", (0.01, 0.6, 0.75), (LONGEST, MIDDLE, "likely (75 %)")),
        BeliefSeries("clamp and bolt, cylinder 2", (0.0, 0.25, 0.13), (LONGEST, "unlikely (25 %)", "unlikely (13 %)")),
        BeliefSeries("something not listed", (0.9, 0.3, 0.1), ("very likely (90 %)", "unlikely (30 %)", LONGEST)),
    ),
)
PICTURES: dict[str, Callable[[], str]] = {
    "one cylinder bank": lambda: map_of(bank("A", 1, 2, 3, 4, 5, 6)),
    "V8": lambda: map_of(bank("A", 1, 2, 3, 4), bank("B", 5, 6, 7, 8)),
    "uneven banks": lambda: map_of(bank("A", 1, 2, 3), bank("B", 4, 5)),
    "single": lambda: map_of(bank("A", 1)),
    "spread": lambda: spread_picture(SPREAD),
    "life": lambda: life_picture(LIFE),
    "belief": lambda: belief_picture(BELIEF),
}


def printed(svg: str) -> bytes:
    """The picture alone on a page of its own size."""
    width, height = re.findall(r'viewBox="0 0 ([0-9.]+) ([0-9.]+)"', svg)[0]
    page = (
        f"#set page(width: {width}pt, height: {height}pt, margin: 0pt)\n#image(bytes(sys.inputs.it), width: {width}pt)"
    )
    return typst.compile(page.encode(), sys_inputs={"it": svg}, format="pdf", ignore_system_fonts=True)


@pytest.mark.parametrize("name", PICTURES)
def test_a_picture_is_the_same_each_time_and_says_what_it_shows(name: str) -> None:
    """Well-formed SVG with title and description for screen readers (WCAG 2, 1.1.1)."""
    svg = PICTURES[name]()
    assert svg == PICTURES[name]()
    root = ElementTree.fromstring(svg)
    title, description = root.find(f"{SVG}title"), root.find(f"{SVG}desc")
    assert title is not None and title.text
    assert description is not None and description.text
    assert root.get("role") == "img"
    assert root.get("aria-labelledby") == f"{title.get('id')} {description.get('id')}"


@pytest.mark.parametrize("name", PICTURES)
def test_no_letter_is_cut_off_or_lies_over_another(name: str) -> None:
    """Measured on the letters as drawn: all within the picture, none over another, and none missing."""
    svg = PICTURES[name]()
    letters = letters_of(printed(svg))
    assert letters.boxes[:, :2].min() >= 0
    assert letters.boxes[:, 2].max() <= letters.width
    assert letters.boxes[:, 3].max() <= letters.height
    assert overlaps(letters) == []
    written = "".join(element.text or "" for element in ElementTree.fromstring(svg).iter(f"{SVG}text"))
    assert sorted("".join(written.split())) == sorted(letters.text)


@pytest.mark.parametrize("name", PICTURES)
def test_a_picture_uses_no_colour_but_the_palette(name: str) -> None:
    assert set(re.findall(r"#[0-9a-fA-F]{3,8}", PICTURES[name]())) <= {PAPER, INK, MUTED, LINE, ACCENT, TINT}


def test_words_and_length_tell_the_chance_and_a_frame_what_stands_out() -> None:
    """Without colour: the chance is there in words and as a length, and what stands out has another line width."""
    svg = map_of(bank("A", 1, 2))
    words = " ".join(element.text or "" for element in ElementTree.fromstring(svg).iter(f"{SVG}text"))
    assert "about as likely as not" in words and "(56\u00a0%)" in words
    frames = [float(width) for width in re.findall(rf'stroke="(?:{INK}|{LINE})" stroke-width="([0-9.]+)"/>', svg)]
    assert max(frames) >= 2 * sorted(set(frames))[-2]
    fields = re.findall(rf'width="([0-9.]+)" height="4.5" fill="{ACCENT}"', svg)
    whole = re.findall(rf'width="([0-9.]+)" height="4.5" fill="none" stroke="{LINE}"', svg)
    assert [float(bar) / float(whole[0]) for bar in fields] == pytest.approx([0.004, 0.56], abs=0.001)


@pytest.mark.parametrize("name", ["V8", "spread", "life", "belief"])
def test_every_text_is_narrower_than_was_reckoned(name: str) -> None:
    """The estimate of a text's width is from above: held against the letters of the font that is in the PDF."""
    svg = PICTURES[name]()
    letters = letters_of(printed(svg))
    for element in ElementTree.fromstring(svg).iter(f"{SVG}text"):
        text, size = element.text or "", float(element.get("font-size", 0))
        start = letters.text.find("".join(text.split()))
        if start >= 0 and len(text) > 3:
            boxes = letters.boxes[start : start + len("".join(text.split()))]
            same_line = boxes[:, 1].max() - boxes[:, 1].min() < size
            assert not same_line or boxes[:, 2].max() - boxes[:, 0].min() <= text_width(text, size)


def test_words_are_wrapped_and_only_a_word_too_wide_is_cut() -> None:
    assert wrapped("about as likely as not", 10, 70) == ("about as likely", "as not")
    assert wrapped("", 10, 70) == ()
    cut = wrapped("Donaudampfschifffahrtsgesellschaft", 10, 70)
    assert len(cut) == 1 and cut[0].endswith("…")


def test_the_life_curve_marks_what_share_still_holds_today() -> None:
    """Weibull (1951), shape 2.5, scale 600,000 km: 1/e of 100 hold at the scale; at 187,000 km exp(-0.0543) = 0.947."""
    drawn = re.findall(rf'<circle cx="([0-9.]+)" cy="([0-9.]+)" r="5" fill="{INK}"/>', life_picture(LIFE))
    top, foot = 48.0, 252.0
    assert (foot - float(drawn[0][1])) / (foot - top) == pytest.approx(0.947, abs=0.002)


@pytest.mark.parametrize(
    ("draw", "said"),
    [
        (lambda: spread_picture(OptionSpread("o", "d", (SpreadLine("x", 3, 2, 4, ""),), "EUR")), "do not rise"),
        (lambda: belief_picture(BeliefSteps("b", "d", ("a", "b"), (BeliefSeries("x", (0.1,), ("y",)),))), "2 steps"),
        (lambda: life_picture(LifeCurve("l", "d", ((0, 1), (5, 0.5)), 6, "t", "", "", ())), "outside the curve"),
    ],
)
def test_what_cannot_be_drawn_is_refused(draw: Callable[[], str], said: str) -> None:
    with pytest.raises(ValueError, match=said):
        draw()


def test_the_text_of_a_picture_can_be_read_in_the_pdf() -> None:
    assert "opened together" in text_of(printed(PICTURES["V8"]()))
