"""Spoils good input: cells, lines, words and bytes are exchanged, doubled, cut, swapped and replaced by nasty ones.

Everything is drawn from one `random.Random`, so a number names an input for good. May import: the standard library.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from random import Random

__all__ = ["NASTY", "spoilt"]

NASTY: tuple[bytes, ...] = (
    b"",
    b" ",
    b"\n",
    b"\r\n",
    b"\t",
    b"\x00",
    b"\xff",
    b"\xef\xbb\xbf",
    b"\xed\xa0\x80",
    "\u202e".encode(),
    "١".encode(),
    "²".encode(),
    "ⅷ".encode(),
    b"-1",
    b"0",
    b"1e309",
    b"-1e-320",
    b"nan",
    b"inf",
    b"-inf",
    b"1_000",
    b"0x10",
    b"0o17",
    b"9" * 25,
    b"9" * 5000,
    b"1." + b"0" * 400,
    b"true",
    b"null",
    b"~",
    b"no",
    b"{}",
    b"[]",
    b"[[",
    b"{{",
    b"- ",
    b": ",
    b"? ",
    b"&a",
    b"*a",
    b"!!python/name:os.system",
    b"<<: ",
    b"---\n",
    b"...\n",
    b"'",
    b'"',
    b"\\",
    b"%",
    b"#",
    b"|",
    b">",
    b",",
    b";",
    b"[" * 2000,
    b'{"a":' * 2000,
    b"a" * 3000,
    b"..",
    b"/",
    b"../../x",
    b"$",
    b"{x}",
    b"%00",
    b"\\u0000",
    b"\\ud800",
    b"2026-02-30",
    b"9999-12-31T23:59:59",
    b"inf bar",
    b"5 parsec",
    b"above",
    b"+/-",
)
"""What has broken readers elsewhere: control and wide characters, huge and odd numbers, marks of YAML, JSON and CSV."""
PIECE = re.compile(rb"[A-Za-z_]+|[0-9.]+|\s+|.", re.DOTALL)
LONGEST = 300_000
MOST_AT_ONCE = 6


def spoilt(corpus: Sequence[bytes], words: Sequence[bytes], draw: Random) -> bytes:
    """One input: a good one with one to six things done to it. `words`: such as the reader knows."""
    content = draw.choice(corpus)
    for _ in range(draw.choice((1, 1, 1, 2, 3, MOST_AT_ONCE))):
        content = draw.choice(WAYS)(content, corpus, (*words, *NASTY) if draw.random() < 0.5 else NASTY, draw)
    return content[:LONGEST]


def _piece_replaced(content: bytes, _: Sequence[bytes], words: Sequence[bytes], draw: Random) -> bytes:
    start, end = _span(content, draw)
    return content[:start] + draw.choice(words) + content[end:]


def _word_put_in(content: bytes, _: Sequence[bytes], words: Sequence[bytes], draw: Random) -> bytes:
    start, _end = _span(content, draw)
    return content[:start] + draw.choice(words) + content[start:]


def _piece_cut(content: bytes, _: Sequence[bytes], _words: Sequence[bytes], draw: Random) -> bytes:
    start, end = _span(content, draw)
    return content[:start] + content[end:]


def _byte_changed(content: bytes, _: Sequence[bytes], _words: Sequence[bytes], draw: Random) -> bytes:
    place = draw.randrange(len(content)) if content else 0
    return content[:place] + bytes([draw.randrange(256)]) + content[place + 1 :]


def _bytes_changed(content: bytes, _: Sequence[bytes], _words: Sequence[bytes], draw: Random) -> bytes:
    place = draw.randrange(len(content)) if content else 0
    size = draw.choice((1, 2, 4, 8, 64))
    return content[:place] + draw.randbytes(size) + content[place + size :]


def _end_cut(content: bytes, _: Sequence[bytes], _words: Sequence[bytes], draw: Random) -> bytes:
    return content[: draw.randrange(len(content) + 1)]


def _lines_moved(content: bytes, _: Sequence[bytes], _words: Sequence[bytes], draw: Random) -> bytes:
    lines = content.split(b"\n")
    first, second = draw.randrange(len(lines)), draw.randrange(len(lines))
    way = draw.randrange(4)
    if way == 0:
        lines[first], lines[second] = lines[second], lines[first]
    elif way == 1:
        lines.insert(first, lines[second])
    elif way == 2:
        del lines[first]
    else:
        lines[first] = draw.choice((b" ", b"  ", b"\t", b"- ")) + lines[first]
    return b"\n".join(lines)


def _joined_with_another(content: bytes, corpus: Sequence[bytes], _words: Sequence[bytes], draw: Random) -> bytes:
    other = draw.choice(corpus)
    return content[: draw.randrange(len(content) + 1)] + other[draw.randrange(len(other) + 1) :]


def _piece_of_another(content: bytes, corpus: Sequence[bytes], _words: Sequence[bytes], draw: Random) -> bytes:
    other = draw.choice(corpus)
    from_start, from_end = _span(other, draw)
    start, end = _span(content, draw)
    return content[:start] + other[from_start:from_end] + content[end:]


def _many_times(content: bytes, _: Sequence[bytes], _words: Sequence[bytes], draw: Random) -> bytes:
    start, end = _span(content, draw)
    return content[:start] + content[start:end] * draw.choice((2, 3, 200)) + content[end:]


Way = Callable[[bytes, Sequence[bytes], Sequence[bytes], Random], bytes]
WAYS: tuple[Way, ...] = (
    _piece_replaced,
    _piece_replaced,
    _piece_replaced,
    _word_put_in,
    _piece_cut,
    _byte_changed,
    _bytes_changed,
    _end_cut,
    _lines_moved,
    _joined_with_another,
    _piece_of_another,
    _many_times,
)


def _span(content: bytes, draw: Random) -> tuple[int, int]:
    """Where a word, a number, a blank or a mark stands, near a place drawn."""
    if not content:
        return 0, 0
    place = draw.randrange(len(content))
    start = max(content.rfind(b"\n", 0, place), place - 60) + 1
    inside = [found.span() for found in PIECE.finditer(content, start, min(len(content), place + 60))]
    return next(((a, b) for a, b in inside if b > place), (place, place + 1))
