"""The interactive session. May import: typer; the other rooms only inside functions."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from diag.basics import UsageError
from diag.cli.inputs import engine_case, own_file, read_case, read_knowledge
from diag.cli.options import EngineName, KnowledgeFolder, Overlays, offered_cases
from diag.cli.pasting import WorkedWith
from diag.cli.talk_answers import Word, read_order

if TYPE_CHECKING:
    from diag.casebook import Case
    from diag.cli.talk_terminal import Terminal
    from diag.knowledge_base import Knowledge

__all__ = ["add_to"]


def add_to(app: typer.Typer) -> None:
    """Add `talk`."""
    app.command()(talk)


def talk(
    case: Annotated[
        str | None,
        typer.Argument(
            metavar="[CASE]", help="A case to go on with; else a new one is begun.", autocompletion=offered_cases
        ),
    ] = None,
    engine: EngineName = None,
    overlay: Overlays = None,
    knowledge: KnowledgeFolder = None,
) -> None:
    """Work through a case together: asks what is worth most, takes the answers, saves and resumes."""
    from diag.cli.talk_session import converse
    from diag.cli.talk_state import Talk
    from diag.cli.talk_terminal import Terminal

    known, terminal, given = read_knowledge(knowledge, overlay), Terminal(), WorkedWith(overlay, knowledge)
    if case is not None:
        if engine is not None:
            raise UsageError("the case names its engine already; leave --engine out")
        converse(Talk(known, read_case(case, known), own_file(case), given=given), terminal)
        return
    begun = _new_case(known, engine, terminal)
    if begun is not None:
        converse(Talk(known, begun, given=given), terminal)


def _new_case(knowledge: Knowledge, engine: str | None, terminal: Terminal) -> Case | None:
    """A case begun from three questions; none where the input ends before there is an engine, or at a 'quit'."""
    from diag.report import TALK, Items

    names = list(knowledge.engines)
    case = engine_case(engine, knowledge, _title()) if engine is not None else None
    if case is None:
        terminal.show([Items("", tuple(f"{name}: {knowledge.engines[name].name}" for name in names), numbered=True)])
    while case is None:
        line = terminal.ask(TALK["which_engine"])
        if line is None or _is(line, Word.QUIT):
            terminal.tell(TALK["not_saved"])
            return None
        word = line.strip()
        chosen = names[int(word) - 1] if word.isdecimal() and 1 <= int(word) <= len(names) else word
        case = _tried(knowledge, terminal, f"engine: {_quoted(chosen)}\n")
    for what, question in (("distance", TALK["which_distance"]), ("age", TALK["which_age"])):
        told = _with(knowledge, terminal, case, what, question)
        if told is None:
            terminal.tell(TALK["not_saved"])
            return None
        case = told
    return case


def _is(line: str, word: Word) -> bool:
    order = read_order(line)
    return order is not None and order.word is word


def _with(knowledge: Knowledge, terminal: Terminal, case: Case, what: str, question: str) -> Case | None:
    """The case with its distance or age, asked until it makes sense or is left out; none at a 'quit'."""
    while True:
        line = terminal.ask(question)
        if line is None or not line.strip() or _is(line, Word.SKIP):
            return case
        if _is(line, Word.QUIT):
            return None
        text = f"engine: {_quoted(case.engine_id)}\n{what}: {_quoted(line.strip())}\n"
        read = _tried(knowledge, terminal, text)
        if read is not None:
            return replace(
                case, distance_km=read.distance_km or case.distance_km, age_years=read.age_years or case.age_years
            )


def _tried(knowledge: Knowledge, terminal: Terminal, text: str) -> Case | None:
    """A case from a few lines in the words of a case file; none, and the reason told, where they make no sense."""
    from diag.basics import InvalidFile
    from diag.casebook import read_case as read

    try:
        return replace(read(Path("talk"), knowledge, text), title=_title())
    except InvalidFile as error:
        for problem in error.problems:
            bare = f"{problem.message}; {problem.hint}" if problem.hint else problem.message
            terminal.tell(bare if problem.file == "talk" else str(problem))
        return None


def _quoted(text: str) -> str:
    """Text between the single quotes of YAML."""
    doubled = text.replace("'", "''")
    return f"'{doubled}'"


def _title() -> str:
    from diag.report import TALK

    return TALK["title"]
