"""Tells open pages that a case has moved, as server-sent events, whoever wrote: another tablet or the command line.

One watcher asks the book for the revisions of the cases that are looked at, so that many tablets cost one question.
May import: fastapi, and the room below.
"""

from __future__ import annotations

import asyncio
import time
from collections.abc import AsyncIterator
from dataclasses import dataclass, field

from anyio import to_thread
from fastapi import APIRouter, Request
from starlette.responses import Response, StreamingResponse

from diag.basics import DiagError, UsageError
from diag.web.asking import Number, Visited
from diag.web.shop import Shop

__all__ = ["Watch", "router"]

router = APIRouter(include_in_schema=False)
EVERY_S = 0.4
HEARTBEAT_S = 15.0
MOST_OPEN = 300


@dataclass
class Watch:
    """The cases that are looked at now: how many look at each, and the revision that it has."""

    shop: Shop
    looking: dict[int, int] = field(default_factory=dict)
    revisions: dict[int, int] = field(default_factory=dict)
    _task: asyncio.Task[None] | None = None
    _news: asyncio.Event = field(default_factory=asyncio.Event)

    def begin(self, number: int) -> None:
        """Somebody looks at a case."""
        self.looking[number] = self.looking.get(number, 0) + 1
        if self._task is None or self._task.done():
            self._task = asyncio.get_running_loop().create_task(self._watch())

    def end(self, number: int) -> None:
        """Somebody looks at it no more."""
        self.looking[number] -= 1
        if self.looking[number] <= 0:
            del self.looking[number]
            self.revisions.pop(number, None)

    async def moved(self, number: int, told: int) -> int:
        """The revision of a case once it is another than the one that was told; that one again after a while in which
        nothing moved."""
        until = time.monotonic() + HEARTBEAT_S
        while (left := until - time.monotonic()) > 0:
            news = self._news
            if self.revisions.get(number, told) != told:
                return self.revisions[number]
            try:
                await asyncio.wait_for(news.wait(), left)
            except TimeoutError:
                break
        return told

    async def _watch(self) -> None:
        while self.looking:
            try:
                numbers = tuple(self.looking)
                found = await to_thread.run_sync(self.shop.keeping.revisions, numbers)
                if any(self.revisions.get(number) != revision for number, revision in found.items()):
                    self.revisions |= found
                    self._news, told = asyncio.Event(), self._news
                    told.set()
            except DiagError:
                pass  # a book that cannot be read for a moment is asked again; whoever writes is told by then
            await asyncio.sleep(EVERY_S)


@router.get("/case/{number}/live")
async def live(request: Request, visit: Visited, number: Number) -> Response:
    """A stream of the case's revisions: one event at once, and one whenever it has moved."""
    watch: Watch = request.app.state.watch
    if await to_thread.run_sync(visit.shop.keeping.revision, number) is None:
        raise UsageError(f"the book has no case {number}; 'diag book list' shows the cases it has")
    if sum(watch.looking.values()) >= MOST_OPEN:
        return Response(status_code=503, headers={"retry-after": "30"})
    return StreamingResponse(_events(request, watch, number), media_type="text/event-stream")


async def _events(request: Request, watch: Watch, number: int) -> AsyncIterator[str]:
    watch.begin(number)
    try:
        told = 0
        yield "retry: 1000\n\n"
        while not await request.is_disconnected():
            revision = await watch.moved(number, told)
            yield f"event: moved\ndata: {revision}\n\n" if revision != told else ": still here\n\n"
            told = revision
    finally:
        watch.end(number)
