"""The way in: pairing a device, the start link, the look, the name. May import: fastapi, and the room below."""

from __future__ import annotations

from fastapi import APIRouter
from starlette.responses import RedirectResponse, Response

from diag.web.asking import Sent, Visited
from diag.web.guard import Refused, cookie_line
from diag.web.pages import back_to, page
from diag.web.sessions import Session
from diag.web.words import SAY

__all__ = ["router"]

router = APIRouter(include_in_schema=False)
LOOKS = ("", "light", "dark")
LONGEST_NAME = 60


@router.get("/pair")
def pair_page(visit: Visited) -> Response:
    """Where a device types the code."""
    if visit.session is not None:
        return back_to("/")
    return page(visit, "pair.html", SAY["pair_title"], wrong="")


@router.post("/pair")
async def pair(visit: Visited) -> Response:
    """Let a device in whose code is right. There is no session yet, so no token; the origin was checked."""
    pairing = visit.shop.pairing
    if pairing is None or visit.session is not None:
        return back_to("/")
    client = visit.request.client
    wait_s = pairing.wait_s(client.host if client is not None else "nobody")
    if wait_s > 0:
        return page(visit, "pair.html", SAY["pair_title"], 429, wrong=SAY["pair_wait"].format(seconds=int(wait_s) + 1))
    form = await visit.request.form(max_files=0, max_fields=5)
    if not pairing.fits(str(form.get("code", ""))[:40]):
        return page(visit, "pair.html", SAY["pair_title"], 403, wrong=SAY["pair_wrong"])
    return _let_in(visit.shop.sessions.begin(), visit.shop.settings.secure)


@router.get("/begin/{key}")
def begin(visit: Visited, key: str) -> Response:
    """The link that opens the first browser; it works once."""
    if visit.session is not None:
        return back_to("/")
    if visit.shop.pairing is None or not visit.shop.pairing.starts(key):
        raise Refused(401, "unpaired")
    return _let_in(visit.shop.sessions.begin(), visit.shop.settings.secure)


def _let_in(session: Session, secure: bool) -> Response:
    answer = RedirectResponse("/", 303)
    answer.headers.append("set-cookie", cookie_line(session, secure))
    return answer


@router.post("/look")
def look(sent: Sent) -> Response:
    """Light, dark, or as the device has it."""
    wanted, session = sent.word("look"), sent.visit.session
    if session is not None and wanted in LOOKS:
        sent.visit.shop.sessions.change(session, look=wanted)
    return back_to(_here(sent.word("here")))


@router.post("/name")
def name(sent: Sent) -> Response:
    """The name that entries carry in the journal."""
    if sent.visit.session is not None:
        told = "".join(character for character in sent.word("by") if character.isprintable())[:LONGEST_NAME]
        sent.visit.shop.sessions.change(sent.visit.session, by=told)
    return back_to("/", "named")


def _here(path: str) -> str:
    """A page of this house to go back to."""
    return path if path.startswith("/") and not path.startswith(("//", "/\\")) and path.isprintable() else "/"
