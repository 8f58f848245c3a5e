"""Starts the page: opens the book, listens, tells the address, opens the browser. Heavy imports inside.

May import: uvicorn and within the room, inside functions only.
"""

from __future__ import annotations

import errno
import logging
import signal
import socket
import sys
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING

from diag.basics import UsageError
from diag.web.settings import Settings

if TYPE_CHECKING:
    from diag.web.shop import Shop

__all__ = ["hosts_of", "serve"]

LOOPBACK = ("127.0.0.1", "localhost", "[::1]")
EVERYWHERE = ("0.0.0.0", "::")
LATEST_WARM_S = 3.0  # the workers are started with the first screen, and by then where nobody asked for one


def serve(settings: Settings, tell: Callable[[str], None], open_browser: bool = True) -> None:
    """Serve the page until Ctrl-C. `tell` prints a line for whoever started it.

    Raises UsageError where the port is taken or the certificate cannot be used, and what book and knowledge raise.
    """
    from diag.knowledge_base import load_knowledge
    from diag.store import open_book
    from diag.web.kept_logs import clear_left_logs
    from diag.web.shop import Shop

    listening = _listen(settings)
    clear_left_logs()
    port = listening.getsockname()[1]
    with _ended_by_request(), open_book(settings.book) as book:
        knowledge = load_knowledge(settings.knowledge, settings.overlays)
        shop = Shop.of(settings, knowledge, book, tell)
        try:
            _tell_start(settings, shop, port, tell, open_browser)
            from diag.web.app import make_app  # while the browser starts, which takes it as long

            _run(make_app(shop, hosts_of(settings, port)), settings, shop, listening)
        finally:
            shop.close()
            listening.close()


@contextmanager
def _ended_by_request() -> Iterator[None]:
    """A request to end (SIGTERM: a service manager, a shutdown) lets go of book and workers, as Ctrl-C does; by itself
    it would end the process where it stands."""
    if threading.current_thread() is not threading.main_thread():
        yield
        return
    before = signal.signal(signal.SIGTERM, lambda number, _: sys.exit(128 + number))
    try:
        yield
    finally:
        signal.signal(signal.SIGTERM, before)


def _listen(settings: Settings) -> socket.socket:
    family = socket.AF_INET6 if ":" in settings.address else socket.AF_INET
    # the protocol by name: asyncio sends small packets at once only where it stands there, else each answer waits 40 ms
    made = socket.socket(family, socket.SOCK_STREAM, socket.IPPROTO_TCP)
    made.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        made.bind((settings.address, settings.port))
        made.listen(256)
    except OSError as error:
        made.close()
        elsewhere = isinstance(error, socket.gaierror) or error.errno == errno.EADDRNOTAVAIL
        raise UsageError(
            f"the page cannot be served at {settings.address}, port {settings.port}: {error.strerror or error}; "
            f"choose another with {'--address' if elsewhere else '--port'}"
        ) from None
    return made


def own_addresses(settings: Settings) -> tuple[str, ...]:
    """The addresses under which other machines reach this one. No packet is sent for it."""
    if settings.address not in EVERYWHERE:
        return (f"[{settings.address}]" if ":" in settings.address else settings.address,)
    found = []
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as asked:
        try:
            asked.connect(("192.0.2.1", 9))  # a documentation address (RFC 5737): says which interface would be used
            found.append(asked.getsockname()[0])
        except OSError:
            pass
    return tuple(address for address in found if address not in LOOPBACK)


def hosts_of(settings: Settings, port: int) -> frozenset[str]:
    """The values of the Host header that are answered to."""
    names = {*LOOPBACK, *(name.lower() for name in settings.names)}
    if settings.network:
        names |= {*own_addresses(settings), socket.gethostname().lower()}
    usual = 443 if settings.secure else 80
    return frozenset({f"{name}:{port}" for name in names} | (names if port == usual else set()))


def _tell_start(settings: Settings, shop: Shop, port: int, tell: Callable[[str], None], open_browser: bool) -> None:
    scheme = "https" if settings.secure else "http"
    here = f"{scheme}://127.0.0.1:{port}/"
    if settings.address not in (*EVERYWHERE, *LOOPBACK):
        here = f"{scheme}://{own_addresses(settings)[0]}:{port}/"
    tell(f"diag is served at {here}  (Ctrl-C ends it)")
    if shop.pairing is not None:
        for address in own_addresses(settings):
            tell(f"On the workshop's network: {scheme}://{address}:{port}/")
        if not settings.secure:
            tell("Without a certificate what is sent on the network can be read there; see --certificate.")
    if open_browser:
        _open_when_ready(f"{here}begin/{shop.pairing.start_key}" if shop.pairing is not None else here)


def _open_when_ready(address: str) -> None:
    """Open the browser beside the server; the socket listens already, so that nothing is asked too early."""
    import webbrowser

    threading.Thread(target=webbrowser.open, args=(address,), daemon=True).start()


def _run(app: object, settings: Settings, shop: Shop, listening: socket.socket) -> None:
    import ssl

    import uvicorn

    try:
        config = uvicorn.Config(
            app,  # type: ignore[arg-type]
            access_log=False,
            log_level="warning",
            server_header=False,
            proxy_headers=False,
            date_header=True,
            timeout_keep_alive=30,
            timeout_graceful_shutdown=3,
            limit_concurrency=500,
            h11_max_incomplete_event_size=32 * 1024,
            ssl_certfile=settings.certificate,
            ssl_keyfile=settings.key,
        )
        config.load()
    except (ssl.SSLError, OSError) as error:
        raise UsageError(f"the certificate or its key cannot be used: {error.strerror or error}") from None
    logging.getLogger("uvicorn.error").addFilter(_worth_telling)
    late = threading.Timer(LATEST_WARM_S, shop.reckoner.warm)
    late.daemon = True
    late.start()
    try:
        uvicorn.Server(config).run(sockets=[listening])
    finally:
        late.cancel()


def _worth_telling(record: logging.LogRecord) -> bool:
    """Whether a line of the server's log is one: what was being answered when the server was ended is given up, which
    is no fault that a trace would explain."""
    from asyncio import CancelledError

    error = record.exc_info[1] if record.exc_info else None
    return not isinstance(error, CancelledError) and not record.getMessage().startswith("Cancel ")
