"""The commands of the trainer: case studies, cases by wish, playing them, the debrief, the class.

May import: typer; the other rooms only inside functions, so that a command starts fast.
"""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from diag.cli.inputs import read_knowledge
from diag.cli.options import Json, KnowledgeFolder, Overlays, offering
from diag.cli.output import show

if TYPE_CHECKING:
    from diag.training import Made

__all__ = ["add_to"]


def _studies() -> list[str]:
    from diag.training import studies

    return list(studies())


def _engines() -> list[str]:
    from diag.knowledge_base import load_knowledge

    return list(load_knowledge().engines)


JournalFile = Annotated[Path, typer.Argument(metavar="JOURNAL", help="The journal of a practice case.")]
NewJournal = Annotated[Path, typer.Option("--journal", metavar="FILE", help="The journal to begin.")]
MaybeJournal = Annotated[Path | None, typer.Option("--journal", metavar="FILE", help="Begin it, with this journal.")]
Trainee = Annotated[str, typer.Option("--name", metavar="NAME", help="Who plays it.")]
KeyFile = Annotated[Path, typer.Option("--key", metavar="FILE", help="The trainer's secret key.")]
MaybeKey = Annotated[
    Path | None,
    typer.Option("--key", metavar="FILE", help="The trainer's secret key; without it a key is drawn and forgotten."),
]
EngineId = Annotated[str, typer.Argument(metavar="ENGINE", help="Id of an engine.", autocompletion=offering(_engines))]
StudyName = Annotated[
    str,
    typer.Argument(
        metavar="STUDY",
        help="A case study that ships, the path of one, a closed case of the book (book:17), or a made case such as "
        "ostrel_4#3,fault=seal.",
        autocompletion=offering(_studies),
    ),
]


CaseNames = Annotated[
    list[str] | None,
    typer.Option(
        "--case",
        metavar="CASE",
        help="A study, the path of one, a closed case (book:17), or a made one such as ostrel_4#3,fault=seal,faults=2,"
        "misleading=much,grade=3,history=yes,complaint=rough_idle; once for each, in the order of the course.",
    ),
]


def add_to(app: typer.Typer) -> None:
    """Add the group and its commands."""
    from diag.cli import commands_practice_class, commands_practice_play

    group = typer.Typer(help="Practice cases with a hidden fault: make, play, look back, teach.", no_args_is_help=True)
    for command in (studies, key, make, begin):
        group.command()(command)
    group.command(name="set")(keep_set)
    group.command(name="hand-out")(hand_out)
    commands_practice_play.add_to(group)
    commands_practice_class.add_to(group)
    app.add_typer(group, name="practice", rich_help_panel=None)


def studies(
    about: Annotated[bool, typer.Option("--about", help="Say what each is about, too: for the trainer.")] = False,
    as_json: Json = False,
    overlay: Overlays = None,
    knowledge: KnowledgeFolder = None,
) -> None:
    """List the case studies that ship, easy ones first."""
    from diag.casebook import load_study
    from diag.report import studies_blocks, studies_sheet
    from diag.training import studies as every

    known = read_knowledge(knowledge, overlay)
    files = {name: load_study(path, known) for name, path in every().items()}
    show(studies_sheet(files, about), studies_blocks, as_json)


def key(file: Annotated[Path, typer.Argument(metavar="FILE", help="The file to write.")]) -> None:
    """Write a new secret key, from which cases are made. The same key and number make the same case."""
    import secrets

    from diag.basics import write_whole
    from diag.report import PRACTICE, Sentence, print_blocks

    write_whole(file, secrets.token_hex(32) + "\n")
    file.chmod(0o600)
    print_blocks([Sentence(PRACTICE["key"].format(path=file))])


def make(
    engine: EngineId,
    key_file: KeyFile,
    number: Annotated[int, typer.Option("--number", metavar="N", min=1, help="Which case of this wish.")] = 1,
    fault: Annotated[str, typer.Option("--fault", metavar="ID", help="With this component at fault.")] = "",
    state: Annotated[str, typer.Option("--state", metavar="ID", help="In this state.")] = "",
    place: Annotated[str, typer.Option("--place", metavar="WHERE", help="At this cylinder or bank.")] = "",
    faults: Annotated[
        int, typer.Option("--faults", metavar="N", min=0, help="So many faults; 0: as many as come with a complaint.")
    ] = 1,
    complaint: Annotated[str, typer.Option("--complaint", metavar="ID", help="With this symptom.")] = "",
    history: Annotated[bool, typer.Option("--history", help="On a vehicle with earlier work.")] = False,
    grade: Annotated[
        int | None, typer.Option("--grade", metavar="1..5", help="As hard as this (takes a while).")
    ] = None,
    misleading: Annotated[
        str, typer.Option("--misleading", metavar="HOW", help="little: the obvious guess is right; much: it is wrong.")
    ] = "",
    measure: Annotated[bool, typer.Option("--measure", help="Measure how hard it is.")] = False,
    reveal: Annotated[bool, typer.Option("--reveal", help="Show the truth.")] = False,
    journal: MaybeJournal = None,
    name: Trainee = "",
    as_json: Json = False,
    overlay: Overlays = None,
    knowledge: KnowledgeFolder = None,
) -> None:
    """Make a case by wish; with --journal it is begun."""
    from diag.basics import UsageError
    from diag.report import made_blocks, made_sheet
    from diag.training import Wish, made

    known = read_knowledge(knowledge, overlay)
    if misleading not in ("", "little", "much"):
        raise UsageError(f"'{misleading}' does not say how misleading; it can be little or much")
    where = int(place) if place.isdecimal() else place.upper() or None
    wish = Wish(engine, fault, state, where, faults or None, complaint, history, grade, misleading)  # type: ignore[arg-type]
    _free(journal)
    case = made(known, wish, number, _key(key_file), measure)
    if journal is not None:
        _begin(journal, case, name)
    show(made_sheet(known, case, number, reveal, journal), made_blocks, as_json)


def begin(
    study: StudyName,
    journal: NewJournal,
    name: Trainee = "",
    key_file: MaybeKey = None,
    as_json: Json = False,
    overlay: Overlays = None,
    knowledge: KnowledgeFolder = None,
) -> None:
    """Begin a case study, a closed case of the book, or a made case; its journal keeps every step."""
    from diag.cli.practice import show_state
    from diag.report import PRACTICE, Sentence, print_blocks
    from diag.training import Journal, case_named, save_journal

    known = read_knowledge(knowledge, overlay)
    _free(journal)
    begun = Journal(name, _now(), case_named(known, study, _maybe(key_file)))
    save_journal(journal, begun, overwrite=False)
    show_state(known, begun, as_json)
    if not as_json:
        print_blocks([Sentence(PRACTICE["written"].format(path=journal)), Sentence(PRACTICE["alone"])])


def keep_set(
    folder: Annotated[Path, typer.Argument(metavar="FOLDER", help="The folder of the set; it must be new.")],
    cases: CaseNames = None,
    key_file: MaybeKey = None,
    overlay: Overlays = None,
    knowledge: KnowledgeFolder = None,
) -> None:
    """Keep a set of cases in a folder, to be handed out as often as wanted: the same vehicles every time."""
    from diag.basics import counted
    from diag.report import PRACTICE, Sentence, print_blocks
    from diag.training import case_named, save_set

    known, secret = read_knowledge(knowledge, overlay), _maybe(key_file)
    _new(folder)
    made = [case_named(known, each, secret) for each in dict.fromkeys(cases or ())]
    save_set(folder, made, _now())
    print_blocks([Sentence(PRACTICE["set_kept"].format(count=counted(len(made)), folder=folder))])


def hand_out(
    folder: Annotated[
        Path, typer.Argument(metavar="FOLDER", help="The folder of the class; made where there is none.")
    ],
    names: Annotated[list[str], typer.Option("--name", metavar="NAME", help="A trainee; once for each.")],
    cases: CaseNames = None,
    cases_of: Annotated[
        Path | None, typer.Option("--set", metavar="FOLDER", help="All cases of a set, or of an earlier class.")
    ] = None,
    key_file: MaybeKey = None,
    as_json: Json = False,
    overlay: Overlays = None,
    knowledge: KnowledgeFolder = None,
) -> None:
    """Hand a set of cases out to a class: a journal for every trainee and case; all meet the same vehicles. Without
    --case and --set, more trainees join the class that lies in the folder."""
    from diag.report import class_blocks, class_sheet
    from diag.training import begin_class, case_named, class_of, load_set, resume_class, seat_all

    known, secret = read_knowledge(knowledge, overlay), _maybe(key_file)
    if not cases and cases_of is None:
        seat_all(resume_class(folder, known), names, _now())
    else:
        _new(folder)
        made = list(load_set(cases_of, known)) if cases_of is not None else []
        made += [case_named(known, each, secret) for each in dict.fromkeys(cases or ())]
        begin_class(folder, made, _now(), names)
    show(class_sheet(known, class_of(known, folder)), class_blocks, as_json)


def _begin(path: Path, case: Made, name: str) -> None:
    from diag.training import Journal, save_journal, start

    save_journal(path, Journal(name, _now(), start(case.practice, case.hidden)), overwrite=False)


def _free(path: Path | None) -> None:
    """Before any work is done: a journal is never written over."""
    from diag.basics import UsageError, is_there

    if path is not None and is_there(path):
        raise UsageError(f"{path} is already there and was left as it is; choose another name")


def _new(folder: Path) -> None:
    """Before any work is done: a folder in use is left as it is."""
    from diag.basics import UsageError, is_there

    if is_there(folder) and any(folder.iterdir()):
        raise UsageError(f"{folder} is already there and was left as it is; choose another name")


def _maybe(path: Path | None) -> bytes | None:
    return _key(path) if path is not None else None


def _key(path: Path) -> bytes:
    from diag.basics import UsageError

    try:
        return path.read_bytes().strip()
    except OSError as error:
        raise UsageError(f"{path} cannot be read: {error.strerror}; 'diag practice key FILE' makes a key") from error


def _now() -> str:
    from datetime import datetime

    return datetime.now().astimezone().isoformat(timespec="seconds")
