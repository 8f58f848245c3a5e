"""What a handler gets: the shop, who asks, and what was sent, checked. May import: fastapi, and within the room `shop`.

A handler is written `def page(visit: Visited)`, and one that writes `def act(sent: Sent)`; see `routes_cases`.
"""

from __future__ import annotations

import hmac
from collections.abc import AsyncIterator, Mapping
from dataclasses import dataclass
from typing import Annotated

from fastapi import Depends, Path, Request
from starlette.datastructures import FormData, UploadFile

from diag.basics import Place, UsageError
from diag.web.guard import Refused
from diag.web.sessions import Session
from diag.web.shop import Shop

__all__ = ["Number", "Sent", "SentForm", "Visit", "Visited", "place_from", "place_to"]

LONGEST = 4000
Number = Annotated[int, Path(ge=1, le=999_999_999, description="the case's number in the book")]
MOST_FIELDS = 400


@dataclass(frozen=True)
class Visit:
    """One request: the shop, and who asks. `session` is none only on the pages before pairing."""

    request: Request
    shop: Shop
    session: Session | None

    @property
    def by(self) -> str:
        """The name that entries carry in the journal."""
        named = self.session.by if self.session is not None else ""
        return named or self.shop.settings.by


@dataclass(frozen=True)
class SentForm:
    """What a form sent; its token was checked. `files` are uploads by field."""

    visit: Visit
    fields: Mapping[str, tuple[str, ...]]
    files: Mapping[str, UploadFile]

    def word(self, name: str, default: str = "") -> str:
        """One field, trimmed."""
        return self.fields.get(name, (default,))[0].strip()

    def number(self, name: str) -> int:
        """A whole number from 1. Raises UsageError."""
        text = self.word(name)
        if not (text.isascii() and text.isdecimal() and len(text) <= 9 and int(text) > 0):
            raise UsageError(f"'{text[:40]}' is no whole number; the form was sent incompletely")
        return int(text)


def visited(request: Request) -> Visit:
    """The visit of a request."""
    return Visit(request, request.app.state.shop, request.state.session)


Visited = Annotated[Visit, Depends(visited)]


async def sent_form(request: Request) -> AsyncIterator[SentForm]:
    """What was sent, once its token is right; uploads are let go of when the answer is made. Raises Refused."""
    visit = visited(request)
    kind = request.headers.get("content-type", "").partition(";")[0].strip().lower()
    if kind not in ("application/x-www-form-urlencoded", "multipart/form-data"):
        raise Refused(415, "kind")
    async with request.form(max_files=1, max_fields=MOST_FIELDS, max_part_size=LONGEST * 4) as form:
        yield _checked(visit, form)


def _checked(visit: Visit, form: FormData) -> SentForm:
    fields: dict[str, list[str]] = {}
    files: dict[str, UploadFile] = {}
    for name, value in form.multi_items():
        if isinstance(value, UploadFile):
            files[name] = value
        elif len(value) > LONGEST or "\x00" in value:
            raise Refused(413, "large")
        else:
            fields.setdefault(name, []).append(value)
    token = fields.pop("token", [""])[0]
    shown = tuple((name, value) for name, values in fields.items() for value in values)
    held = visit.session.token if visit.session is not None else ""
    if not held or not hmac.compare_digest(token.encode(), held.encode()):
        fresh = visit.session is not None and not files
        raise Refused(403, "stale", again=shown if fresh else None)
    if not files:
        visit.request.state.sent = shown
    return SentForm(visit, {name: tuple(values) for name, values in fields.items()}, files)


Sent = Annotated[SentForm, Depends(sent_form)]


def place_from(text: str) -> Place:
    """A place as it stands in addresses: `2`, `A`, `vehicle`. Raises UsageError."""
    if text == "vehicle":
        return None
    if text.isascii() and text.isdecimal() and len(text) <= 2:
        return int(text)
    if len(text) == 1 and text.isascii() and text.isalpha():
        return text.upper()
    raise UsageError(f"'{text[:20]}' is no place; it is a cylinder, a bank or the vehicle")


def place_to(place: Place) -> str:
    """The other way round."""
    return "vehicle" if place is None else str(place)
