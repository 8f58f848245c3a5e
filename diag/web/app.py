"""Puts the page together: routes, the guard before them, and what is told when something is refused or fails.

May import: fastapi, starlette, and every module of the room.
"""

from __future__ import annotations

import logging
from collections.abc import AsyncIterator, Callable
from contextlib import asynccontextmanager

from fastapi import FastAPI, Request
from fastapi.exceptions import RequestValidationError
from fastapi.staticfiles import StaticFiles
from starlette.exceptions import HTTPException
from starlette.formparsers import MultiPartException
from starlette.responses import JSONResponse, Response

import diag
from diag.basics import BookError, BookMoved, DiagError, ImpossibleEvidence, TooLarge, UsageError
from diag.report import journal_words
from diag.web import (
    routes_api,
    routes_bay,
    routes_cases,
    routes_check,
    routes_classroom,
    routes_closing,
    routes_counter,
    routes_entry,
    routes_live,
    routes_log,
    routes_options,
    routes_tell,
    routes_vehicle,
    routes_why,
)
from diag.web.asking import Visit
from diag.web.guard import TOO_LARGE, Guard, Refused
from diag.web.keeping import Clash
from diag.web.pages import FOLDER, lines_of, page
from diag.web.reckoner import Busy
from diag.web.schooling import School
from diag.web.sent_again import entry_words
from diag.web.shop import Shop
from diag.web.words import PROBLEMS

__all__ = ["ROUTES", "make_app"]

LOG = logging.getLogger("diag.web")
ROUTES = (
    routes_entry,
    routes_cases,
    routes_bay,
    routes_tell,
    routes_vehicle,
    routes_check,
    routes_log,
    routes_options,
    routes_counter,
    routes_closing,
    routes_classroom,
    routes_why,
    routes_live,
    routes_api,
)
THREADS = 120
OPEN_WAIT_S = 4.0  # how long the trainer waits for the cases of a class before the page says that they are being made


def make_app(shop: Shop, hosts: frozenset[str]) -> FastAPI:
    """The page of a shop, answering to these hosts (with their ports)."""

    @asynccontextmanager
    async def lifespan(_: FastAPI) -> AsyncIterator[None]:
        from anyio.to_thread import current_default_thread_limiter

        current_default_thread_limiter().total_tokens = THREADS
        yield

    app = FastAPI(
        title="diag",
        version=diag.__version__,
        description=PROBLEMS["api"],
        openapi_url="/api/openapi.json",
        docs_url=None,
        redoc_url=None,
        redirect_slashes=False,
        lifespan=lifespan,
    )
    app.state.shop = shop
    open_wait_s = max(OPEN_WAIT_S, shop.settings.entry_wait_s)
    app.state.school = School(shop.knowledge, shop.settings.book, shop.reckoner, open_wait_s, shop.tell)
    shop.keeping.withheld = app.state.school.practised
    app.state.watch = routes_live.Watch(shop)
    for routes in ROUTES:
        app.include_router(routes.router)
    app.mount("/static", StaticFiles(directory=FOLDER / "static"), name="static")
    app.add_exception_handler(Refused, _handler(lambda request, error: refusal(request, error)))
    app.add_exception_handler(
        MultiPartException, _handler(lambda request, _: refusal(request, Refused(413, TOO_LARGE)))
    )
    app.add_exception_handler(DiagError, _handler(trouble))
    app.add_exception_handler(HTTPException, _handler(_http))
    app.add_exception_handler(RequestValidationError, _handler(_unfit))
    app.add_middleware(
        Guard,
        settings=shop.settings,
        sessions=shop.sessions,
        pairing=shop.pairing,
        hosts=hosts,
        refuse=lambda request, error: refusal(request, error, shop),
        fault=lambda request, error: fault(request, error, shop),
    )
    return app


def _handler(tell: Callable[..., Response]) -> Callable[[Request, Exception], Response]:
    def handle(request: Request, error: Exception) -> Response:
        return tell(request, error)

    return handle


def told(
    request: Request, status: int, kind: str, lines: tuple[str, ...], shop: Shop | None = None, **more: object
) -> Response:
    """A trouble as a page with words, or as JSON where a program asks."""
    if request.url.path.startswith("/api"):
        return JSONResponse({"error": kind, "message": " ".join(lines)}, status)
    visit = Visit(request, shop or request.app.state.shop, getattr(request.state, "session", None))
    return page(visit, "trouble.html", PROBLEMS["title"], status, lines=lines, kind=kind, **more)


def refusal(request: Request, error: Refused, shop: Shop | None = None) -> Response:
    """What is told of a refusal."""
    at, again = shop or request.app.state.shop, error.again
    entry = entry_words(at.knowledge, request.url.path, again) if again else ()
    answer = told(request, error.status, error.why, (PROBLEMS[error.why],), at, again=again, entry=entry)
    if error.wait_s:
        answer.headers["retry-after"] = str(int(error.wait_s) + 1)
    if error.status == 413 or error.why == "ended":
        answer.headers["connection"] = "close"
    return answer


_STATUS: tuple[tuple[type[DiagError], int, str], ...] = (
    (Busy, 503, "busy"),
    (BookMoved, 409, "book moved"),
    (BookError, 503, "book"),
    (ImpossibleEvidence, 422, "impossible"),
    (TooLarge, 422, "too large"),
    (UsageError, 422, "usage"),
    (DiagError, 422, "case"),
)


NOT_AGAIN = ("/undo", "/reopen")
"""What takes back whatever is last: sent once more it would take back what somebody else wrote."""


def trouble(request: Request, error: DiagError) -> Response:
    """An error of a known kind, in its own words."""
    status, kind = next((status, kind) for known, status, kind in _STATUS if isinstance(error, known))
    if isinstance(error, UsageError) and error.message.startswith("the book has no case"):
        status, kind = 404, "no case"
    if not isinstance(error, Clash):
        return told(request, status, kind, lines_of(error))
    knowledge, path = request.app.state.shop.knowledge, request.url.path
    sent = getattr(request.state, "sent", ()) if not path.endswith(NOT_AGAIN) else ()
    again = tuple((name, str(error.now.revision) if name == "on" else value) for name, value in sent)
    theirs = tuple(zip(error.theirs, journal_words(knowledge, error.theirs), strict=True))
    entry = entry_words(knowledge, path, again)
    return told(request, status, kind, lines_of(error), clash=error, theirs=theirs, again=again, entry=entry)


def _too_large(request: Request, _: Exception) -> Response:
    return refusal(request, Refused(413, TOO_LARGE))


def _http(request: Request, error: HTTPException) -> Response:
    if error.detail == TOO_LARGE:
        return refusal(request, Refused(413, TOO_LARGE))
    known = {404: "missing", 405: "method", 413: "large", 400: "unfit"}
    return told(
        request,
        error.status_code,
        known.get(error.status_code, "unfit"),
        (PROBLEMS[known.get(error.status_code, "unfit")],),
    )


def _unfit(request: Request, error: RequestValidationError) -> Response:
    where = ", ".join(sorted({str(each["loc"][-1]) for each in error.errors() if each.get("loc")}))
    return told(request, 422, "unfit", (PROBLEMS["unfit"], where) if where else (PROBLEMS["unfit"],))


def fault(request: Request, error: Exception, shop: Shop) -> Response:
    """A fault of diag itself: words on the page; the lines that its developers need go to the terminal."""
    LOG.error("a fault of diag itself", exc_info=error)
    return told(request, 500, "fault", (PROBLEMS["fault"],), shop)
