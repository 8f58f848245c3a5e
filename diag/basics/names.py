"""Names that were nearly right. May import: the standard library only."""

from __future__ import annotations

import difflib
from collections.abc import Iterable

__all__ = ["did_you_mean", "listed", "near_miss"]


def near_miss(name: str, candidates: Iterable[str]) -> str | None:
    """The candidate that is most like `name`, or None where none is near. Case, spaces, - and _ do not count."""
    by_plain: dict[str, str] = {}
    for candidate in candidates:
        by_plain.setdefault(_plain(candidate), candidate)
    plain = _plain(name)
    beginnings = [candidate for begin, candidate in by_plain.items() if len(plain) > 2 and begin.startswith(plain)]
    if len(beginnings) == 1:
        return beginnings[0]
    nearest = difflib.get_close_matches(plain, list(by_plain), n=1, cutoff=0.6)
    return by_plain[nearest[0]] if nearest else None


def did_you_mean(name: str, candidates: Iterable[str], most: int = 8) -> str:
    """A hint: "did you mean 'x'?", else what is allowed where that is at most `most` names, else nothing."""
    known = list(candidates)
    nearest = near_miss(name, known)
    if nearest is not None:
        return f"did you mean '{nearest}'?"
    return f"it can be {listed(known)}" if 0 < len(known) <= most else ""


def listed(names: Iterable[str], word: str = "or") -> str:
    """Names for a sentence: `a`, `a or b`, `a, b or c`."""
    known = list(names)
    if len(known) < 2:
        return "".join(known)
    return f"{', '.join(known[:-1])} {word} {known[-1]}"


def _plain(name: str) -> str:
    return "".join(character for character in name.lower() if character not in " -_")
