"""The sheet of `diag advise`: three sheets in one. May import: sheets_checks, sheets_repair, sheets_weigh."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated, Literal

from diag.report.sheets_checks import NextSheet
from diag.report.sheets_repair import RepairSheet
from diag.report.sheets_weigh import WeighSheet

__all__ = ["AdviceSheet"]


@dataclass(frozen=True)
class AdviceSheet:
    """`diag advise`: the three sheets in one."""

    weigh: Annotated[WeighSheet, "the faults"]
    next: Annotated[NextSheet, "the next check"]
    repair: Annotated[RepairSheet, "the options and the plan"]
    decision: Annotated[Literal["check", "repair"], "whether a check comes first"]
    doubt: Annotated[str, "whether the advice stands when its numbers are drawn again; empty: not asked"] = ""
