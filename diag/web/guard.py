"""Stands before every page: refuses what is not for this house, knows who asks, and says what a browser may do.

An ASGI middleware. In this order: the host that was named, the path, the size of what is sent, where the request comes
from (Fetch Metadata and Origin, https://www.w3.org/TR/fetch-metadata/), who asks, how often.
May import: starlette, and within the room `limits`, `sessions`, `settings`.
"""

from __future__ import annotations

import asyncio
import logging
import time
from collections.abc import Awaitable, Callable
from http.cookies import CookieError, SimpleCookie
from urllib.parse import quote

from starlette.datastructures import Headers, MutableHeaders
from starlette.formparsers import MultiPartException
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from diag.web.limits import Limit
from diag.web.sessions import COOKIE, Pairing, Session, Sessions
from diag.web.settings import Settings

__all__ = ["POLICY", "TOO_LARGE", "Guard", "Refused"]

LOG = logging.getLogger("diag.web")
POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self'; font-src 'self'; connect-src 'self'; "
    "form-action 'self'; frame-ancestors 'none'; base-uri 'none'; object-src 'none'; manifest-src 'self'"
)
_HEADERS = {
    "content-security-policy": POLICY,
    "x-content-type-options": "nosniff",
    "x-frame-options": "DENY",
    "referrer-policy": "same-origin",
    "cross-origin-opener-policy": "same-origin",
    "cross-origin-resource-policy": "same-origin",
    "permissions-policy": "camera=(), microphone=(), geolocation=(), payment=(), usb=()",
}
_READS = ("GET", "HEAD")
_METHODS = (*_READS, "POST")
_OPEN_TO_ALL = ("/pair", "/begin", "/static/")
_TRICKS = ("\\", "%5c", "%2f", "%00", "//", "/../", "/./", "%2e", "\x00")
TOO_LARGE = "large"
_LONGEST_PATH = 400
_LONGEST_QUERY = 2000


class Refused(Exception):  # noqa: N818  named by what it is
    """A request that is not served: its status, why (a name among the words), and the seconds to wait, if any.

    `again`: the fields of a form that may be sent once more, by whoever sent it, after a look at it.
    """

    def __init__(
        self, status: int, why: str, wait_s: float = 0.0, again: tuple[tuple[str, str], ...] | None = None
    ) -> None:
        super().__init__(why)
        self.status, self.why, self.wait_s, self.again = status, why, wait_s, again


class Guard:
    """The middleware. `refuse` makes the page (or JSON) of a refusal, `fault` that of a fault of diag itself."""

    def __init__(
        self,
        app: ASGIApp,
        settings: Settings,
        sessions: Sessions,
        pairing: Pairing | None,
        hosts: frozenset[str],
        refuse: Callable[[Request, Refused], Response],
        fault: Callable[[Request, Exception], Response],
    ) -> None:
        self.app, self.settings, self.sessions, self.pairing = app, settings, sessions, pairing
        self.hosts, self.refuse, self.fault = hosts, refuse, fault
        self.pages = Limit(settings.pages_per_second, settings.pages_at_once)
        self.newcomers = Limit(5.0, 200.0)
        self.uploads = Limit(10 / 60, 6)

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Serve or refuse one request."""
        if scope["type"] == "lifespan":
            await self.app(scope, receive, send)
            return
        if scope["type"] != "http":
            await send({"type": "websocket.close", "code": 1008})
            return
        began = time.perf_counter()
        request = Request(scope, receive)
        scope["state"] = {**scope.get("state", {}), "session": None}
        seal = _Sealed(send, request, self.settings)
        try:
            seal.session, fresh = self._admitted(request)
            scope["state"]["session"] = seal.session
            seal.fresh = fresh
            limited = self._counted(request, receive)
            await self.app(scope, limited, seal)
        except Refused as refusal:
            if seal.started:
                raise
            answer = (
                RedirectResponse("/pair", 303) if self._may_pair(request, refusal) else self.refuse(request, refusal)
            )
            await answer(scope, receive, seal)
        except asyncio.CancelledError:  # the server ends, and has waited for this as long as it does
            if seal.started:
                raise
            await self.refuse(request, Refused(503, "ended"))(scope, receive, seal)
        except Exception as error:  # the outermost frame: a bug is told as a bug, in words
            if seal.started:
                raise
            await self.fault(request, error)(scope, receive, seal)
        finally:
            spent = 1000 * (time.perf_counter() - began)
            path = request.url.path if not request.url.path.startswith("/begin/") else "/begin/..."  # no key in a log
            LOG.info("%s %s %s %.0f ms", request.method, quote(path), seal.status, spent)

    def _may_pair(self, request: Request, refusal: Refused) -> bool:
        """Whether the page for the code is shown instead; a part of a page that asks for itself is told in words."""
        whole = request.method == "GET" and "hx-request" not in request.headers
        return refusal.why == "unpaired" and whole and not request.url.path.startswith("/api")

    def _admitted(self, request: Request) -> tuple[Session | None, bool]:
        """Who asks, and whether that session is new. Raises Refused."""
        self._check_address(request)
        self._check_origin(request)
        session = self.sessions.of(_cookie(request))
        fresh = False
        path = request.url.path
        if session is None and self.pairing is None and not path.startswith("/static/"):
            self._wait(self.newcomers.take(_address(request)))
            session, fresh = self.sessions.begin(), True
        if session is None and not path.startswith(_OPEN_TO_ALL):
            raise Refused(401, "unpaired")
        self._wait(self.pages.take(session.key if session is not None and not fresh else _address(request)))
        return session, fresh

    def _check_address(self, request: Request) -> None:
        host = request.headers.get("host", "").lower()
        if len(request.headers.getlist("host")) != 1 or host not in self.hosts:
            raise Refused(421, "host")
        raw = request.scope.get("raw_path", b"").decode("latin-1").split("?", 1)[0]
        tricks = any(trick in raw.lower() for trick in _TRICKS) or raw.endswith(("/..", "/."))
        if tricks or len(raw) > _LONGEST_PATH or len(request.scope["query_string"]) > _LONGEST_QUERY:
            raise Refused(400, "path")
        if request.method not in _METHODS:
            raise Refused(405, "method")

    def _check_origin(self, request: Request) -> None:
        """Nothing that another site brings about: no writing, no embedding; a plain link to a page may be followed."""
        site = request.headers.get("sec-fetch-site", "")
        reads, path = request.method in _READS, request.url.path
        if site in ("cross-site", "same-site"):
            followed = request.headers.get("sec-fetch-mode") == "navigate"
            whole = request.headers.get("sec-fetch-dest") in ("document", None)
            if not (reads and followed and whole) or path.startswith("/api"):
                raise Refused(403, "foreign")
        origin = request.headers.get("origin")
        if origin is not None and (not reads or path.startswith("/api")) and origin.lower() != self._own(request):
            raise Refused(403, "foreign")

    def _own(self, request: Request) -> str:
        return f"{'https' if self.settings.secure else 'http'}://{request.headers['host'].lower()}"

    def _wait(self, wait_s: float) -> None:
        if wait_s > 0:
            raise Refused(429, "often", wait_s)

    def _counted(self, request: Request, receive: Receive) -> Receive:
        """What is sent, as long as it is not too much. Raises Refused before anything of it is read where that is
        told."""
        kind = request.headers.get("content-type", "").partition(";")[0].strip().lower()
        upload = kind == "multipart/form-data"
        if request.method == "POST" and request.url.path.startswith("/api") and kind != "application/json":
            raise Refused(415, "kind")
        most = self.settings.upload_most if upload else self.settings.form_most
        told = request.headers.get("content-length", "0")
        if not told.isascii() or not told.isdecimal() or int(told) > most:
            raise Refused(413, "large")
        if upload and request.method == "POST":
            self._wait(self.uploads.take(_cookie(request) or _address(request)))
        got = 0

        async def limited() -> Message:
            nonlocal got
            message = await receive()
            got += len(message.get("body", b""))
            if got > most:
                raise MultiPartException(TOO_LARGE)  # the one error at which starlette closes what it has begun
            return message

        return limited


class _Sealed:
    """Sends an answer on, with the headers that hold for all of them and the cookie of a new session."""

    def __init__(self, send: Send, request: Request, settings: Settings) -> None:
        self.send, self.request, self.settings = send, request, settings
        self.session: Session | None = None
        self.fresh, self.started, self.status = False, False, 0

    def __call__(self, message: Message) -> Awaitable[None]:
        if message["type"] == "http.response.start":
            self.started, self.status = True, message["status"]
            headers = MutableHeaders(scope=message)
            for name, value in _HEADERS.items():
                headers.setdefault(name, value)
            if not self.request.url.path.startswith("/static/"):
                headers.setdefault("cache-control", "no-store")
            if self.settings.secure:
                headers["strict-transport-security"] = "max-age=86400"
            if self.fresh and self.session is not None:
                headers.append("set-cookie", cookie_line(self.session, self.settings.secure))
        return self.send(message)


def cookie_line(session: Session, secure: bool) -> str:
    """The cookie of a session: for this site alone, not for scripts."""
    return f"{COOKIE}={session.key}; Path=/; HttpOnly; SameSite=Strict{'; Secure' if secure else ''}"


def _cookie(request: Request) -> str:
    """The session that is named. Cookies of other programs on this host may be badly written, and are passed over."""
    for line in Headers(scope=request.scope).getlist("cookie"):
        try:
            found = SimpleCookie(line).get(COOKIE)
        except CookieError:
            continue
        if found is not None:
            return found.value
    return ""


def _address(request: Request) -> str:
    return request.client.host if request.client is not None else "nobody"
