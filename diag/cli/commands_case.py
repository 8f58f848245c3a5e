"""The commands about one case: weigh, next, repair, advise; and the list of demo cases.

May import: typer; the other rooms only inside functions, so that a command starts fast.
"""

from __future__ import annotations

import typer

from diag.cli.commands_doubt import WithDoubt, doubt_of
from diag.cli.inputs import read_case, read_knowledge, without
from diag.cli.options import Cannot, CaseName, Detail, Everything, Json, KnowledgeFolder, Overlays, SideName
from diag.cli.output import show
from diag.cli.pasting import WorkedWith

__all__ = ["add_to"]


def add_to(app: typer.Typer) -> None:
    """Add the commands of this module, in the order of the help."""
    for command in (advise, weigh, next_check, repair, cases):
        app.command(name="next" if command is next_check else None)(command)


def advise(
    case: CaseName,
    everything: Everything = False,
    with_doubt: WithDoubt = False,
    cannot: Cannot = None,
    as_json: Json = False,
    overlay: Overlays = None,
    knowledge: KnowledgeFolder = None,
) -> None:
    """All three in one: the faults, the next check, the repair."""
    from diag.cli.work import advice_sheet
    from diag.report import advice_blocks

    known = read_knowledge(knowledge, overlay)
    read = without(read_case(case, known), known, cannot or ())
    sheet = advice_sheet(known, read, doubted=doubt_of(known, read) if with_doubt else "")
    show(sheet, lambda each: advice_blocks(each, everything, WorkedWith(overlay, knowledge).on(case)), as_json)


def weigh(
    case: CaseName,
    everything: Everything = False,
    as_json: Json = False,
    overlay: Overlays = None,
    knowledge: KnowledgeFolder = None,
) -> None:
    """Weigh the faults: what is likely wrong, on which cylinder."""
    from diag.cli.work import weighed_sheet
    from diag.report import weigh_blocks

    known = read_knowledge(knowledge, overlay)
    sheet = weighed_sheet(known, read_case(case, known))
    show(sheet, lambda each: weigh_blocks(each, everything), as_json)


def next_check(
    case: CaseName,
    everything: Everything = False,
    detail: Detail = False,
    cannot: Cannot = None,
    as_json: Json = False,
    overlay: Overlays = None,
    knowledge: KnowledgeFolder = None,
) -> None:
    """Rank the checks: what to look at next, and what that is worth."""
    from diag.cli.work import ranked_sheet
    from diag.report import next_blocks

    known = read_knowledge(knowledge, overlay)
    sheet = ranked_sheet(known, without(read_case(case, known), known, cannot or ()))
    show(sheet, lambda each: next_blocks(each, everything, detail), as_json)


def repair(
    case: CaseName,
    side: SideName = "customer",
    as_json: Json = False,
    overlay: Overlays = None,
    knowledge: KnowledgeFolder = None,
) -> None:
    """Decide the repair: the options side by side, and the best plan in full."""
    from diag.cli.work import planned_sheet
    from diag.report import repair_blocks

    known = read_knowledge(knowledge, overlay)
    onward = WorkedWith(overlay, knowledge).on(case)
    sheet = planned_sheet(known, read_case(case, known), side)
    show(sheet, lambda each: repair_blocks(each, onward=onward), as_json)


def cases(as_json: Json = False) -> None:
    """List the demo cases."""
    from diag.casebook import demo_cases
    from diag.cli.work import demo_sheet
    from diag.report import cases_blocks

    show(demo_sheet(read_knowledge(None, None), demo_cases()), cases_blocks, as_json)
