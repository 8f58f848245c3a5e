"""The page under many people, and how long each kind of recompute takes on a V8.

Run `python -m tests.benchmarks.page`; `... page people 50 30` for the crowd alone (people, seconds). Times are those of
this machine now; the load average stands beside them. Processor time says what a recompute takes by itself. Of the two
V8 the one with many symptoms is no demo case but the load of these benchmarks (`cases/`).
May import: `diag.web`, httpx, threadpoolctl, `tests.support`, `tests.web`.
"""

from __future__ import annotations

import asyncio
import os
import random
import re
import sys
import tempfile
import time
from pathlib import Path

import httpx
from threadpoolctl import threadpool_limits

from diag.basics import keep_freed, search_seldom
from diag.casebook import Case, load_case, with_answer
from diag.knowledge_base import Knowledge, load_knowledge
from diag.web.reckoning import JOBS, Desk, slid
from tests.support.cases import MANY_SYMPTOMS, every_case
from tests.web.served import kept_at, server

__all__ = ["crowd", "main", "recomputes"]

V8 = ("whole_bank_silent", MANY_SYMPTOMS)
CROWD = ("one_blown_seal", "whole_bank_silent", "second_seal_weeping", "new_injector_not_coded")
THINKING_S = (2.0, 6.0)
CHECK, FINDING = "look_into_wells", "wet_joint"  # what the one tablet answers, cylinder by cylinder


def recomputes(knowledge: Knowledge, name: str, again: int = 5) -> list[str]:
    """Processor milliseconds of each kind, the best of several: a case with one more answer each time."""
    case = load_case(every_case()[name], knowledge)
    desk = Desk(knowledge)
    slid(desk, "warm", case)
    keep_freed()  # as the page's workers do
    search_seldom()
    lines = []
    kinds: tuple[tuple[str, dict[str, object]], ...] = (
        ("belief", {}),
        ("options", {}),
        ("slide", {"told": (("customer.horizon_months", 25.0),)}),
        ("checks", {}),
        ("why", {}),
        ("drawn", {}),
    )
    for kind, told in kinds:
        best = min(_once(desk, knowledge, case, kind, told, turn) for turn in range(again))
        lines.append(f"  {kind}: {best:.0f} ms")
    return [f"{name} ({case.engine_id}, processor time):", *lines]


def _once(desk: Desk, knowledge: Knowledge, case: Case, kind: str, told: dict[str, object], turn: int) -> float:
    """One recompute of a state that was not seen before. What comes before it on the page is done already."""
    place = case.engine.cylinders[turn % len(case.engine.cylinders)]
    changed = with_answer(case, knowledge, "wet_joint", place, "absent")
    key = f"{kind}{turn}"
    if kind != "belief":
        JOBS["belief"](desk, key, changed)
    if kind == "slide":
        slid(desk, key, changed)
    began = time.process_time()
    JOBS[kind](desk, key, changed, **told)
    return 1000 * (time.process_time() - began)


def requests(address: str, name: str, number: int, again: int = 7) -> list[str]:
    """Milliseconds from request to answer of one tablet that answers checks of a kept case in the bay: the middle of
    several, and the longest. What is asked for is new each time; between the answers it waits as a person would."""
    told: dict[str, list[float]] = {}
    with httpx.Client(base_url=address, timeout=120) as client:

        def ask(kind: str, method: str, path: str, **data: str) -> httpx.Response:
            began = time.perf_counter()
            answer = client.request(method, path, data=data or None)
            told.setdefault(kind, []).append(1000 * (time.perf_counter() - began))
            return answer

        token = _found(r'name="token" value="([^"]+)"', client.get("/").text)
        case = f"/case/{number}"
        for path in ("", "/next", "/options"):  # until all that it needs is there
            client.get(f"{case}{path}", params={"patient": "yes"})
        for turn in range(again):
            time.sleep(THINKING_S[0])
            on = _found(r'data-revision="(\d+)"', client.get(f"{case}/tried").text)
            start = time.perf_counter()
            answer = {"token": token, "on": on, f"{FINDING}:{turn + 1}:": "absent"}
            assert ask("an answer", "POST", f"{case}/check/{CHECK}/{turn + 1}", **answer).status_code == 303
            ask("the bay", "GET", case)
            ask("the checks ranked", "GET", f"{case}/next")
            told.setdefault("all three", []).append(1000 * (time.perf_counter() - start))
            time.sleep(THINKING_S[0])
            ask("the options", "GET", f"{case}/options?patient=yes")
            time.sleep(THINKING_S[0])
            ask("a slider's move", "GET", f"{case}/options?customer.horizon_months={25 + turn}")
    lines = [f"{name}, from request to answer ({again} answers):"]
    for kind, times in told.items():
        lines.append(f"  {kind}: middle {sorted(times)[len(times) // 2]:.0f} ms, longest {max(times):.0f} ms")
    return lines


async def crowd(address: str, people: int, seconds: float) -> list[tuple[str, float, int]]:
    """What so many people ask, each at a case of its own: kind, seconds, status."""
    asked: list[tuple[str, float, int]] = []
    async with asyncio.TaskGroup() as group:
        for person in range(people):
            group.create_task(_person(address, person, seconds, asked))
    return asked


async def _person(address: str, person: int, seconds: float, asked: list[tuple[str, float, int]]) -> None:
    draw = random.Random(person)
    async with httpx.AsyncClient(base_url=address, timeout=60, follow_redirects=True) as client:

        async def ask(kind: str, method: str, path: str, **data: str) -> httpx.Response:
            began = time.perf_counter()
            answer = await client.request(method, path, data=data or None)
            asked.append((kind, time.perf_counter() - began, answer.status_code))
            return answer

        await asyncio.sleep(draw.uniform(0, THINKING_S[1]))
        token = _found(r'name="token" value="([^"]+)"', (await ask("cases", "GET", "/")).text)
        began = await ask("begin", "POST", "/cases/demo", token=token, demo=CROWD[person % len(CROWD)])
        number = _found(r"/case/(\d+)", str(began.url))
        until = time.monotonic() + seconds
        while time.monotonic() < until:
            await asyncio.sleep(draw.uniform(*THINKING_S))
            place = draw.choice("1234")
            page = await ask("look at a cylinder", "GET", f"/case/{number}/at/{place}")
            await asyncio.sleep(draw.uniform(*THINKING_S))
            on = _found(r'data-revision="(\d+)"', page.text)
            told = {"item": draw.choice(("wet_joint", "bubbles", "tar")), "answer": draw.choice(("absent", "not_sure"))}
            await ask("tell", "POST", f"/case/{number}/tell", token=token, on=on, place=place, under="", **told)
            if draw.random() < 0.5:
                await asyncio.sleep(draw.uniform(*THINKING_S))
                await ask("bay", "GET", f"/case/{number}")


def _found(pattern: str, text: str) -> str:
    found = re.search(pattern, text)
    assert found is not None, text[:2000]
    return found.group(1)


def told(asked: list[tuple[str, float, int]], people: int) -> list[str]:
    """Middle and 95th percentile of all, and of each kind."""
    lines = [f"{people} people at once, each thinking {THINKING_S[0]:g} to {THINKING_S[1]:g} s between two touches:"]
    for kind in ("all", *dict.fromkeys(kind for kind, _, _ in asked)):
        times = sorted(spent for each, spent, _ in asked if kind in ("all", each))
        middle, late = times[len(times) // 2], times[min(len(times) - 1, int(0.95 * len(times)))]
        lines.append(f"  {kind}: {len(times)} asked, middle {1000 * middle:.0f} ms, 95th {1000 * late:.0f} ms")
    wrong = sorted({status for _, _, status in asked if status >= 400})
    return [*lines, f"  refused or failed: {wrong or 'none'}"]


def _load() -> str:
    return "load average " + ", ".join(f"{each:.1f}" for each in os.getloadavg()) + f" on {os.cpu_count()} cores"


def main(arguments: list[str]) -> None:
    """Print the figures."""
    print(_load(), flush=True)
    if arguments[:1] != ["people"]:
        knowledge = load_knowledge()
        with threadpool_limits(1, "blas"):  # as those have it that reckon for the page
            for name in V8:
                print("\n".join(recomputes(knowledge, name)), flush=True)
        for name in V8:
            with tempfile.TemporaryDirectory() as folder, server(Path(folder)) as running:
                number = kept_at(Path(folder), every_case()[name])
                print("\n".join(requests(running.address, name, number)), flush=True)
    people = int(arguments[1]) if len(arguments) > 1 else 50
    seconds = float(arguments[2]) if len(arguments) > 2 else 30.0
    with tempfile.TemporaryDirectory() as folder, server(Path(folder)) as running:
        time.sleep(3)
        asked = asyncio.run(crowd(running.address, people, seconds))
        print("\n".join(told(asked, people)), flush=True)
    print(_load())


if __name__ == "__main__":
    main(sys.argv[1:])
