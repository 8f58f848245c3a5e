"""Sheets made up for tests of the pages: an invented four-cylinder and an invented eight-cylinder case."""

from __future__ import annotations

from dataclasses import replace

from diag.report.figures import chance_words
from diag.report.sheets_advice import AdviceSheet
from diag.report.sheets_case import BankLine, CaseLine, EvidenceLine, ReasonLine
from diag.report.sheets_checks import CheckLine, NextSheet
from diag.report.sheets_repair import (
    AccessLine,
    AfterLine,
    AmountLine,
    JobLine,
    OptionLine,
    PartLine,
    PlanLine,
    RepairSheet,
    TorqueLine,
)
from diag.report.sheets_weigh import CombinationLine, CylinderLine, FaultLine, PlacedState, StateLine, WeighSheet

CAUTION = "Fuel under rail pressure cuts the skin and poisons what is below; never loosen a union on a running engine."


def case_line(cylinders: int = 4) -> CaseLine:
    numbers = tuple(range(1, cylinders + 1))
    half = cylinders // 2
    banks = (
        (BankLine("A", numbers[:half]), BankLine("B", numbers[half:])) if cylinders > 5 else (BankLine("A", numbers),)
    )
    return CaseLine(
        title="Chuffing when cold, from the front of the engine",
        engine="made_up",
        engine_name="Made-up engine",
        invented=True,
        injector="solenoid",
        banks=banks,
        firing_order=numbers,
        cylinder_one="at the timing end",
        distance_km=187_000.0,
        age_years=11.0,
    )


def fault(
    component: str, name: str, place: int | str | None, chance: float, state: str, real: bool = True
) -> FaultLine:
    return FaultLine(
        component=component,
        name=name,
        place=place,
        chance=chance,
        words=chance_words(chance),
        states=(StateLine("sound", "sound", 1 - chance), StateLine(state, state, chance)),
        fault=real,
        listed="unlisted" not in component,
        dangerous=state == "stuck open",
        judged=True,
    )


def weigh_sheet(cylinders: int = 4) -> WeighSheet:
    chances = {number: (0.934 if number == 2 else 0.004 * number) for number in range(1, cylinders + 1)}
    return WeighSheet(
        case=case_line(cylinders),
        cylinders=tuple(
            CylinderLine(number, "A", chance, chance_words(chance), "combustion seal: blown")
            for number, chance in chances.items()
        ),
        faults=(
            fault("seal", "combustion seal", 2, 0.934, "blown"),
            fault("seal_stress", "stress on the seals", None, 0.41, "harsh", real=False),
            fault("injector", "injector", 3, 0.12, "stuck open"),
            fault("unlisted", "something that this knowledge does not list", None, 0.05, "present"),
            fault("clamp", "clamp and bolt", 1, 0.002, "loose"),
        ),
        combinations=(
            CombinationLine((PlacedState("seal", "blown", 2, "combustion seal: blown, cylinder 2"),), 0.81),
            CombinationLine((), 0.05),
        ),
        evidence=(
            EvidenceLine("chuffing, engine cold", 2, "present", used=True, note=""),
            EvidenceLine("chuffing, engine cold", 1, "absent", used=True, note=""),
            EvidenceLine("chuffing, engine cold", 3, "absent", used=True, note=""),
            EvidenceLine("black tar", 4, "not looked at", used=False, note="tells nothing"),
        ),
        notes=("The distance was not told; a usual one was taken.",),
        log_evidence=-21.5,
        method="carrying",
        cancellation=0.0,
    )


def check_line(name: str = "look into the wells", net: float = 22.0, place: int | str | None = "A") -> CheckLine:
    return CheckLine(
        check=name.replace(" ", "_"),
        name=name,
        place=place,
        minutes=28.0,
        opens=("engine covers over the wells off",),
        worth=net + 45.0,
        cost=45.0,
        net=net,
        error=0.0,
        at_least=False,
        first_by_rule=False,
        how="Take the covers off and look with a lamp.",
        needs=("ignition off",),
        tools=("lamp",),
        answers=("black tar around the injector",),
        cautions=(CAUTION,),
        may_go_wrong=(),
        parts=(),
    )


def next_sheet(stop: bool = False) -> NextSheet:
    checks = tuple(check_line(f"check {number}", net=(-1.0 if stop else 40.0) - 9 * number) for number in range(9))
    return NextSheet(
        case=case_line(),
        currency="EUR",
        stop=stop,
        repairs=True,
        total_now=812.4,
        checks=checks,
        barred=(ReasonLine("road test", "not possible here"),),
        left_out=0.0004,
        laid_aside=0,
        off=0.0,
        cautions=(),
    )


def option_line(name: str, best: bool = False, barred: str = "") -> OptionLine:
    return OptionLine(name, (name,), best, barred, 214.6, 0.91, 0.06, 0.14, 0.22, 402.3)


def plan_line() -> PlanLine:
    amounts = (("opening and putting back", 57.6), ("work on it", 64.0), ("parts", 17.0), ("later seals", 3.9))
    return PlanLine(
        name="reseal the injector (2)",
        jobs=(
            JobLine(
                repair="reseal",
                name="reseal the injector",
                place=2,
                minutes=40.0,
                cautions=(CAUTION,),
                needs=("rail pressure read as gone",),
                tools=("puller",),
                steps=("Wait until the pressure has gone.", "Draw the injector gently."),
                must_follow=("write the trim code",),
                may_go_wrong=("injector stuck (6 % to 35 %)",),
            ),
        ),
        access=(AccessLine("injectors bare", None, 36.0),),
        parts=(PartLine("washer", "washer", 1, 4.0, 4.0, single_use=True),),
        torques=(TorqueLine("clamp bolt", None, None, "maker's value ____"),),
        notes=("After stopping, wait 5 min and read the pressure as gone.",),
        later="If a seal goes later: then only that one.",
        amounts=tuple(AmountLine(name, amount) for name, amount in amounts),
        total=sum(amount for _, amount in amounts),
        invoice=138.6,
        invoice_with_tax=166.3,
    )


def repair_sheet() -> RepairSheet:
    options = (option_line("only the seal of cylinder 2", best=True), option_line("all seals"))
    barred = option_line("nothing now, watch it", barred="exhaust gas in the cabin")
    return RepairSheet(
        case=case_line(),
        currency="EUR",
        options=(*options, barred),
        plan=plan_line(),
        barred=(ReasonLine(barred.name, barred.barred),),
        cautions=("Do not drive with people in it.",),
    )


def tested_sheet(same: bool = False) -> RepairSheet:
    """With an option of testing first; `same`: the work that follows is the same after each result."""
    fails = ("replace the injector, cylinder 2", "write the trim code, cylinder 2")
    passes = fails if same else ("reseal the injector, cylinder 2",)
    after = (
        AfterLine(("fails on the test bench, cylinder 2: yes",), 0.7, fails, 690.0, 1794.0),
        AfterLine(("fails on the test bench, cylinder 2: no",), 0.3, passes, 263.0, 1777.0),
    )
    sheet = repair_sheet()
    tested = replace(option_line("send the injectors to the test bench first (2), then decide"), after=after)
    return replace(sheet, options=(tested, *sheet.options))


def advice_sheet(first: str = "check") -> AdviceSheet:
    return AdviceSheet(weigh_sheet(), next_sheet(stop=first == "repair"), repair_sheet(), first)  # type: ignore[arg-type]
