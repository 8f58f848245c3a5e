"""Reads a PDF back: where every letter stands, and how large it is."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

import numpy as np
import pypdfium2

__all__ = ["Letters", "letters_of", "overlaps", "pages_in", "text_of"]

A4_POINTS = (595.276, 841.890)  # ISO 216: 210 mm x 297 mm


@dataclass(frozen=True)
class Letters:
    """The letters of a page with their boxes, `[letter, (left, bottom, right, top)]` in points, and the page's size."""

    text: str
    boxes: np.ndarray
    width: float
    height: float


def pages_in(pdf: bytes) -> int:
    return len(pypdfium2.PdfDocument(pdf))


def text_of(pdf: bytes) -> str:
    """The text of the first page, with one space for any break."""
    return " ".join(pypdfium2.PdfDocument(pdf)[0].get_textpage().get_text_range().split())


@cache
def letters_of(pdf: bytes) -> Letters:
    """The visible letters of the first page."""
    page = pypdfium2.PdfDocument(pdf)[0]
    read = page.get_textpage()
    found = [(read.get_text_range(index, 1), read.get_charbox(index)) for index in range(read.count_chars())]
    seen = [(letter, box) for letter, box in found if letter.strip() and box[2] > box[0] and box[3] > box[1]]
    width, height = page.get_size()
    return Letters("".join(letter for letter, _ in seen), np.array([box for _, box in seen]), width, height)


def overlaps(letters: Letters, share: float = 0.3) -> list[str]:
    """Pairs of letters of which more than `share` of the smaller is covered by the other; a ligature's are one box."""
    left, bottom, right, top = letters.boxes.T
    wide = np.minimum(right[:, None], right) - np.maximum(left[:, None], left)
    high = np.minimum(top[:, None], top) - np.maximum(bottom[:, None], bottom)
    area = (right - left) * (top - bottom)
    covered = np.clip(wide, 0, None) * np.clip(high, 0, None) / np.minimum(area[:, None], area)
    pairs = np.argwhere(np.triu(covered > share, 1))
    return [
        f"{letters.text[one]} and {letters.text[other]} in '{letters.text[max(one - 12, 0) : one + 12]}'"
        for one, other in pairs
        if not (other - one <= 2 and np.allclose(letters.boxes[one], letters.boxes[other]))
    ]
