"""Makes pages from templates. May import: jinja2, starlette, the report room, and within the room what is below.

A page is `page(visit, "name.html", title, **what)`; templates extend `layout.html` and read their words from `say`.
"""

from __future__ import annotations

import re
from functools import cache
from pathlib import Path
from types import SimpleNamespace
from typing import Any
from urllib.parse import quote

from jinja2 import Environment, FileSystemLoader, StrictUndefined
from markupsafe import Markup
from starlette.responses import HTMLResponse, RedirectResponse, Response

import diag
from diag.basics import DiagError, ImpossibleEvidence, InvalidFile, TooLarge, UsageError, counted
from diag.web.asking import Visit, place_to
from diag.web.words import DONE, SAY

__all__ = ["FOLDER", "UNFIT", "back_to", "lines_of", "page", "templates"]

FOLDER = Path(__file__).parent
UNFIT = (UsageError, InvalidFile, ImpossibleEvidence, TooLarge)
"""What is the matter with an entry: its form comes again with what was typed (`lines_of` says why)."""
MOST_LINES = 20
LONGEST_WORD = 40  # letters
_OF_TERMINAL = re.compile(r"(^|[\s(])--[a-z]|['`:]\s*diag [a-z]")  # sentences about the command line


@cache
def templates() -> Environment:
    """The templates: everything escaped, nothing left undefined."""
    from diag.report import at_place, chance_words, direction, duration, money, per_cent, place_words

    made = Environment(
        loader=FileSystemLoader(FOLDER / "templates"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    made.globals.update(say=SimpleNamespace(**SAY), done=DONE, version=diag.__version__)
    made.filters.update(
        at_place=at_place,
        chance_words=chance_words,
        counted=counted,
        direction=direction,
        duration=duration,
        money=lambda amount, currency: money(amount, currency).replace(" ", "\u00a0"),
        per_cent=lambda chance: per_cent(chance).replace(" ", "\u00a0"),
        place_words=place_words,
        place=place_to,
        kind=lambda block: type(block).__name__,
        gapless=_gapless,
        when=_when,
        drawn=_drawn,
        for_page=for_page,
        of_terminal=lambda text: bool(_OF_TERMINAL.search(text)),
        part=lambda text: quote(str(text), safe=""),
    )
    return made


def page(visit: Visit, template: str, title: str, status: int = 200, **what: Any) -> HTMLResponse:
    """A page. `what` is what the template shows."""
    text = templates().get_template(template).render(title=title, visit=visit, session=visit.session, **what)
    return HTMLResponse(text, status)


def back_to(address: str, said: str = "") -> Response:
    """Go on to a page after something was written; `said` names the word that is then told at its top."""
    told = f"{'&' if '?' in address else '?'}said={quote(said)}" if said else ""
    return RedirectResponse(address + told, 303)


def for_page(message: str) -> str:
    """An error's message without what it advises to type at the command line."""
    kept = [part for part in message.split("; ") if not _OF_TERMINAL.search(f" {part}") and "'diag " not in part]
    return "; ".join(kept) or message


def lines_of(error: DiagError) -> tuple[str, ...]:
    """What a page says of an error."""
    if isinstance(error, InvalidFile):
        problems = error.problems[:MOST_LINES]
        return tuple(for_page(f"{each.message}; {each.hint}" if each.hint else each.message) for each in problems)
    return (for_page(error.message.splitlines()[0] if error.message else ""),)


def _gapless(text: str) -> bool:
    """Whether a word is longer than any of a language, such as an address that was pasted: it may break anywhere."""
    return any(len(word) > LONGEST_WORD for word in text.split())


def _when(text: str) -> str:
    """`2026-03-01 14:05` of a time as the book keeps it (UTC)."""
    return text[:16].replace("T", " ")


def _drawn(svg: str) -> Markup:
    """A picture of the pictures room inside a page: its text is escaped there; white paper and fixed size are left
    out, so that it follows the page."""
    shown = re.sub(r'(<svg [^>]*?) width="[^"]*" height="[^"]*"', r"\1", svg, count=1)
    shown = re.sub(r'(<svg [^>]*?) style="[^"]*"', r"\1", shown, count=1)  # the style sheet says it
    return Markup(shown)
