"""Asks and tells, on a terminal or through a pipe. May import: the standard library."""

from __future__ import annotations

import sys
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterable

    from diag.report import Block

__all__ = ["Terminal"]


@dataclass
class Terminal:
    """Questions go to stdout and answers come from stdin. Where stdin is no terminal, answers are printed as well, so
    that what comes out reads like a conversation."""

    typed: bool = field(default_factory=lambda: sys.stdin.isatty())

    def __post_init__(self) -> None:
        if self.typed:
            import readline  # noqa: F401 - gives input() its editing and its history

    def ask(self, question: str) -> str | None:
        """Ask and return the line, without its end; none where nothing more will be typed."""
        self.tell(question)
        if self.typed:
            try:
                return input("> ")
            except EOFError:
                sys.stdout.write("\n")
                return None
        line = sys.stdin.readline()
        if not line:
            return None
        sys.stdout.write(f"> {line.rstrip()}\n")
        return line.rstrip("\n")

    def tell(self, text: str, strong: bool = False) -> None:
        """Print a sentence, wrapped to the terminal."""
        from diag.report import Sentence

        self.show([Sentence(line, strong=strong) for line in text.splitlines()])

    def show(self, blocks: Iterable[Block]) -> None:
        """Print blocks."""
        from diag.report import print_blocks

        print_blocks(blocks)
        sys.stdout.flush()
