"""Parts of pages that are the same in many cases, made once: what is of one case and one browser is put in afterwards.

May import: markupsafe, jinja2's templates through `pages`, and within the room `questions`.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from functools import lru_cache
from types import SimpleNamespace

from markupsafe import Markup

from diag.web.pages import templates
from diag.web.questions import Asked, SoftAnswer

__all__ = ["questions_of"]

TOKEN, REVISION, NUMBER = "\ue000token\ue001", "\ue000revision\ue001", "\ue000number\ue001"
"""Characters of private use, which no form can send as printable text, stand where a case's own go."""
MOST_KEPT = 8192


@lru_cache(MOST_KEPT)
def _made(asked: Asked, soft: tuple[SoftAnswer, ...], dangers: tuple[str, ...], is_open: bool) -> str:
    macro = templates().get_template("question.html").module.question  # type: ignore[attr-defined]
    return str(macro(SimpleNamespace(token=TOKEN), REVISION, NUMBER, asked, soft, dangers, is_open))


def questions_of(
    token: str,
    number: int,
    revision: int,
    soft: tuple[SoftAnswer, ...],
    dangers: Mapping[str, tuple[str, ...]],
    is_open: bool,
) -> Callable[[Asked], Markup]:
    """What lays out a question of this case for this browser. The token is of letters that need no escape."""

    def question(asked: Asked) -> Markup:
        text = _made(asked, soft, dangers.get(asked.item, ()), is_open)
        return Markup(text.replace(TOKEN, token).replace(REVISION, str(revision)).replace(NUMBER, str(number)))

    return question
