"""A log as text: its encoding, and its lines in portions of bounded size.

May import: `diag.basics`.
"""

from __future__ import annotations

import codecs
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from diag.basics import LogError, Problem

__all__ = ["LogText", "encoding_of", "open_log"]

SAMPLE_BYTES = 400_000
PORTION_CHARACTERS = 4_000_000
LONGEST_LINE = 100_000
_MARKS = (
    (codecs.BOM_UTF8, "utf-8-sig"),
    (codecs.BOM_UTF32_LE, "utf-32"),
    (codecs.BOM_UTF32_BE, "utf-32"),
    (codecs.BOM_UTF16_LE, "utf-16"),
    (codecs.BOM_UTF16_BE, "utf-16"),
)
_NOT_TEXT = {
    b"PK\x03\x04": ("this is a spreadsheet or a packed file, not a text file", "export the sheet as CSV"),
    b"\xd0\xcf\x11\xe0": ("this is a spreadsheet of an old kind, not a text file", "export the sheet as CSV"),
    b"\x1f\x8b": ("this is a packed file (gzip), not a text file", "unpack it first"),
    b"%PDF": ("this is a PDF, not a text file", "export the log as CSV"),
}
_STRANGE = frozenset(range(32)) - {9, 10, 11, 12, 13, 26, 27}


@dataclass(frozen=True)
class LogText:
    """A readable log: where it is, in which encoding, and its first lines without their ends."""

    path: Path
    encoding: str
    first_lines: tuple[str, ...]

    def portions(self, after: int) -> Iterator[list[str]]:
        """The lines after the first `after`, in portions; each line without its end.

        Bytes that the encoding does not have become U+FFFD. Raises LogError for a line that no log has.
        """
        read = after
        try:
            with self.path.open(encoding=self.encoding, errors="replace", newline=None) as stream:
                for _ in range(after):
                    stream.readline()
                while text := stream.read(PORTION_CHARACTERS):
                    text += stream.readline(LONGEST_LINE)
                    lines = text.split("\n")
                    if lines[-1] == "":
                        lines.pop()
                    self._refuse_long(lines, read)
                    read += len(lines)
                    yield lines
        except OSError as cause:
            raise LogError([Problem(str(self.path), 0, 0, f"reading stopped: {cause.strerror or cause}")]) from cause

    def _refuse_long(self, lines: list[str], before: int) -> None:
        if len(lines) < 100 and (longest := max(map(len, lines))) >= LONGEST_LINE:
            line = before + 1 + next(index for index, each in enumerate(lines) if len(each) == longest)
            message = f"this line is longer than {LONGEST_LINE:,} characters, which no row of a log is"
            raise LogError([Problem(str(self.path), line, 1, message, "export the log with a line for each row")])


def open_log(path: Path | str, encoding: str | None = None) -> LogText:
    """Look at the head of a log. `encoding` is what the mapping file says, else it is found out.

    Raises LogError where there is no such file, or it is no text.
    """
    path = Path(path)
    raw = _head(path)
    if not raw.strip():
        raise LogError([Problem(str(path), 1, 1, "this file is empty", "export the log again")])
    for begin, (message, hint) in _NOT_TEXT.items():
        if raw.startswith(begin):
            raise LogError([Problem(str(path), 1, 1, message, hint)])
    encoding = encoding or encoding_of(raw)
    text = codecs.getincrementaldecoder(encoding)("replace").decode(raw)
    _refuse_binary(path, text)
    lines = text.replace("\r\n", "\n").replace("\r", "\n").split("\n")
    whole = len(raw) < SAMPLE_BYTES
    return LogText(path, encoding, tuple(lines if whole or len(lines) == 1 else lines[:-1]))


def _head(path: Path) -> bytes:
    try:
        with path.open("rb") as stream:
            return stream.read(SAMPLE_BYTES)
    except FileNotFoundError:
        raise LogError([Problem(str(path), 0, 0, "there is no such file")]) from None
    except IsADirectoryError:
        raise LogError([Problem(str(path), 0, 0, "this is a folder, not a file")]) from None
    except (OSError, ValueError) as cause:
        reason = cause.strerror if isinstance(cause, OSError) and cause.strerror else str(cause)
        raise LogError([Problem(str(path), 0, 0, f"this file cannot be read: {reason}")]) from cause


def encoding_of(raw: bytes) -> str:
    """By the mark at the beginning, else UTF-16 by its zero bytes, else UTF-8 where it is that, else Windows-1252."""
    for mark, name in _MARKS:
        if raw.startswith(mark):
            return name
    even, odd = raw[0:2000:2].count(0), raw[1:2000:2].count(0)
    half = max(len(raw[:2000]) // 2, 1)
    if odd > 0.4 * half and even < 0.1 * half:
        return "utf-16-le"
    if even > 0.4 * half and odd < 0.1 * half:
        return "utf-16-be"
    try:
        codecs.getincrementaldecoder("utf-8")().decode(raw)  # a character cut off at the end is no error
    except UnicodeDecodeError:
        return "cp1252"
    return "utf-8"


def _refuse_binary(path: Path, text: str) -> None:
    strange = sum(ord(character) in _STRANGE for character in text[:20_000])
    if strange > 0.02 * len(text[:20_000]):
        message = "this is not a text file: it is full of characters that no text has"
        raise LogError([Problem(str(path), 1, 1, message, "export the log as CSV")])
