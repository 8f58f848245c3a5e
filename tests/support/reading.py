"""How easy a text is to read, by published formulas.

Flesch-Kincaid grade (Kincaid, Fishburne, Rogers & Chissom 1975), and for German the first Wiener Sachtextformel
(Bamberger & Vanecek 1984). Both formulas from memory; syllables are counted by rules that err upwards a little.
"""

from __future__ import annotations

import re
from collections.abc import Iterable

__all__ = ["english_syllables", "flesch_kincaid", "flesch_kincaid_grade", "german_syllables", "vienna_grade"]

_WORD = re.compile(r"[^\W\d_]+(?:['’][^\W\d_]+)?|\d[\d.,]*")
_ENDS = re.compile(r"[.!?]+(?:\s|$)")
_DIPHTHONGS = re.compile(r"au|äu|eu|ei|ai|ie|aa|ee|oo")


def words_of(text: str) -> list[str]:
    """The words; a number counts as a word."""
    return _WORD.findall(text)


def english_syllables(word: str) -> int:
    """Groups of vowels, a silent e at the end left out; a number counts as one for each digit."""
    if word[0].isdigit():
        return sum(letter.isdigit() for letter in word)
    plain = re.sub(r"[^a-z]", "", word.lower())
    groups = len(re.findall(r"[aeiouy]+", plain)) + len(re.findall(r"i[ao](?!u)|eo|ua(?!r)", plain))
    if re.search(r"[^aeiouyl]e$|[^aeiouytd]ed$|[^aeiouyscxzg]es$|[aeiouy][^aeiouy]e(ly|ment|less|ness|ful)$", plain):
        groups -= 1
    return max(groups - len(re.findall(r"[cst]io|[cst]ia|giou", plain)), 1)


def german_syllables(word: str) -> int:
    """Vowels, a diphthong counting once."""
    if word[0].isdigit():
        return sum(letter.isdigit() for letter in word)
    return max(len(re.findall(r"[aeiouyäöü]", _DIPHTHONGS.sub("a", word.lower()))), 1)


def _sentences(lines: Iterable[str]) -> list[list[str]]:
    """Every line ends a sentence; so do full stop, question mark and exclamation mark."""
    found = [words_of(part) for line in lines for part in _ENDS.split(line)]
    return [words for words in found if words]


def flesch_kincaid_grade(lines: Iterable[str]) -> float:
    """The grade of a text: about the years at school (of the United States) that are needed to read it."""
    sentences = _sentences(lines)
    words = [word for sentence in sentences for word in sentence]
    syllables = sum(map(english_syllables, words))
    return flesch_kincaid(len(sentences), len(words), syllables)


def flesch_kincaid(sentences: int, words: int, syllables: int) -> float:
    """0.39 words per sentence + 11.8 syllables per word - 15.59."""
    return 0.39 * words / sentences + 11.8 * syllables / words - 15.59


def vienna_grade(lines: Iterable[str]) -> float:
    """0.1935 MS + 0.1672 SL + 0.1297 IW - 0.0327 ES - 0.875: shares in per cent of words of three and more syllables,
    of more than six letters and of one syllable, and words per sentence. 4 is very easy, 15 very hard: school years."""
    sentences = _sentences(lines)
    words = [word for sentence in sentences for word in sentence]
    counts = [german_syllables(word) for word in words]
    many = 100 * sum(count >= 3 for count in counts) / len(words)
    one = 100 * sum(count == 1 for count in counts) / len(words)
    long = 100 * sum(len(word) > 6 for word in words) / len(words)
    return 0.1935 * many + 0.1672 * len(words) / len(sentences) + 0.1297 * long - 0.0327 * one - 0.875
